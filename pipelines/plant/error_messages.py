"""Error messages for plant files: line, key, value, problem, remedy.

Turns the errors of the TOML reader and of the models into `PlantFileError`. The first problem of the file is told in
full, the others by line and key.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args
from zoneinfo import available_timezones

from pipelines.base import units
from pipelines.base.errors import PlantFileError
from pipelines.plant import toml_lines
from pipelines.plant.quantities import ContradictionError
from pipelines.plant.toml_lines import Location
from schemas.roles import ROLES

if TYPE_CHECKING:
    import tomllib

    from pydantic import BaseModel, ValidationError
    from pydantic_core import ErrorDetails

_MOST_OTHERS = 5  # further problems named by line and key
_NO_LINE = 10**9  # sorts problems without a line last
_AGAIN = "correct it, then run `flocledger check-plant` on the file again"
# How a required key may look; shown when it is missing.
_EXAMPLES = {
    "id": '"line-1"', "name": '"Belt press 1"', "time_zone": '"America/New_York"', "units": '"US"', "device": '"belt press"',
    "kind": '"rotodynamic" for a pump, "wide" for a layout', "feed_cutoff": '"20 gpm"', "polymer_cutoff": '"0.5 gph"',
    "polymer_meter": '"neat"', "reference_flow": '"400 gpm"', "dilution_counted": '"polymer"', "line": '"line-1"',
    "role": '"sludge_flow"', "tag": '"FIT-110"', "unit": '"gpm"', "range": "[0, 600]", "files": '"ALDER_*.csv"', "lines": '["line-1"]',
    "product": '"cationic emulsion"', "form": '"emulsion"', "density": '"1.03 kg/L"', "active_fraction": "0.41", "since": "2025-01-01",
    "start": "07:00:00", "end": "15:00:00", "kpi": '"cake_ts_pct"', "at": "2026-03-03", "what": '"new belts"', "time_column": '"Date"',
    "tag_column": '"point"', "value_column": '"value"', "interval": '"15 min"', "point_column": '"location"', "column": '"Cake TS %"',
    "analyte_column": '"parameter"', "result_column": '"result"', "point": '"cake"', "analyte": '"ts"', "names": '["cake"]',
    "raw": "[4, 20]", "reads": "[0, 600]", "action": '"drop"', "reason": '"magnet of the meter was loose"', "who": '"process engineer"',
    "entered": "2026-03-03", "from": "2026-03-03",
}  # fmt: skip
_KINDS = {  # pydantic error type -> what the key needs
    "string_type": 'text in quotes, such as "P-110"',
    "float_type": "a number without quotes",
    "float_parsing": "a number without quotes",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list in square brackets",
    "model_type": "a table of keys, not a single value",
    "dict_type": "a table of keys, not a single value",
    "time_parsing": "a time such as 06:00:00",
    "time_type": "a time such as 06:00:00",
    "date_type": "a date such as 2026-03-31",
    "datetime_type": "a date such as 2026-03-31",
    "date_parsing": "a date such as 2026-03-31",
    "datetime_parsing": "a date such as 2026-03-31",
    "date_from_datetime_parsing": "a date such as 2026-03-31",
    "datetime_from_date_parsing": "a date such as 2026-03-31",
}
_PATTERNS = {
    "id": "lower-case letters, digits and dashes, at most 41, such as line-1",
    "currency": "three capital letters of ISO 4217, such as USD",
}


class _Nothing:
    """Stands for a value that is not there; TOML has no word for it."""

    def __repr__(self) -> str:
        return "nothing"


NOTHING = _Nothing()


@dataclass(frozen=True)
class Problem:
    """One problem of a plant file."""

    line: int | None
    key: str
    value: object
    problem: str
    remedy: str


def unreadable(path: Path, error: OSError | UnicodeDecodeError) -> PlantFileError:
    """Return the error for a plant file that cannot be read at all."""
    if isinstance(error, UnicodeDecodeError):
        line = error.object[: error.start].count(b"\n") + 1
        byte = f"byte 0x{error.object[error.start]:02x}"
        return PlantFileError(
            path=str(path), line=line, key="text", value=byte, problem="is not UTF-8", remedy="save the file with the encoding UTF-8"
        )
    problems = {
        FileNotFoundError: ("there is no such file", "check the name; plant files lie in <home>/plants/<plant>.toml"),
        IsADirectoryError: ("is a folder", "name the .toml file in it"),
        PermissionError: ("may not be read by this user", "give this user the right to read it"),
    }
    problem, remedy = problems.get(type(error), (f"cannot be read: {error.strerror}", "make the file readable"))
    return PlantFileError(path=str(path), line=None, key="file", value=path.name, problem=problem, remedy=remedy)


def not_toml(path: Path, text: str, error: tomllib.TOMLDecodeError) -> PlantFileError:
    """Return the error for a text that is not TOML, with the line where reading stopped."""
    rows = text.splitlines() or [""]
    stated = re.search(r"^(.*?) \(at (?:line (\d+)|end of document)", str(error))
    line = int(stated[2]) if stated and stated[2] else len(rows)
    message = stated[1] if stated else str(error)
    key, equals, value = rows[min(line, len(rows)) - 1].strip().partition("=")
    remedy = "texts stand in quotes, lists in [ ], one key = value a line, # begins a comment"
    if "twice" in message or "overwrite" in message:
        remedy = "keep one of the two; several blocks of one kind have double brackets, such as [[lines]]"
    return PlantFileError(
        path=str(path),
        line=line,
        key=key.strip() or "text",
        value=value.strip() if equals else NOTHING,
        problem=f"is not TOML: {message[:1].lower()}{message[1:]}",
        remedy=remedy,
    )


def explained(path: Path, text: str, error: ValidationError) -> PlantFileError:
    """Return the first problem of the file in full, and the others by line and key."""
    found = problems(text, error)
    first, others = found[0], found[1:]
    remedy = first.remedy
    if others:
        named = ", ".join(_named(p) for p in others[:_MOST_OTHERS])
        more = f" and {len(others) - _MOST_OTHERS} more" if len(others) > _MOST_OTHERS else ""
        remedy += f"\n  also wrong: {named}{more}"
    return PlantFileError(path=str(path), line=first.line, key=first.key, value=first.value, problem=first.problem, remedy=remedy)


def _named(problem: Problem) -> str:
    """Return a further problem by key, and line or that it is missing."""
    where = f" (line {problem.line})" if problem.line else ""
    return f"{problem.key} is missing{where}" if problem.value is NOTHING else f"{problem.key}{where}"


def problems(text: str, error: ValidationError) -> list[Problem]:
    """Return all problems of a plant file in order of line, one a key."""
    places = toml_lines.lines(text)
    found: dict[str, Problem] = {}
    given = error.errors()
    broken = {details["loc"][:size] for details in given for size in range(len(details["loc"]))}
    for details in given:
        if details["type"] == "too_short" and details["loc"] in broken:
            continue  # short only because its broken elements were not counted
        problem = _problem(places, details)
        found.setdefault(problem.key, problem)
    for details in given:
        if details["type"] == "extra_forbidden" and (meant := _meant(details["loc"])):
            found.pop(dotted((*details["loc"][:-1], meant)), None)  # missing only because it is misspelt
    return sorted(found.values(), key=lambda p: p.line or _NO_LINE)


def _problem(places: dict[Location, int], details: ErrorDetails) -> Problem:
    location, value, message = _pinpointed(details)
    known, line = toml_lines.nearest(places, location)
    if details["type"] == "missing" or value is NOTHING:
        return Problem(line, dotted(location), NOTHING, *_missing(location, message))
    if details["type"] == "extra_forbidden":
        return Problem(line, dotted(location), value, *_unknown_key(location))
    location = known or location  # what follows names a member of a union, not a key
    return Problem(line, dotted(location), value, *_told(details, str(location[-1]) if location else "", value, message))


def _pinpointed(details: ErrorDetails) -> tuple[Location, Any, str]:
    """Return location, value and message; an error of a whole block is laid on the key its message names."""
    location, value, message = tuple(details["loc"]), details["input"], str(details.get("ctx", {}).get("error", details["msg"]))
    stated = re.match(r"([\w.]+)\[(\d+)\]\.(\w+): (.*)", message, re.DOTALL)
    if stated:
        location = (*stated[1].split("."), int(stated[2]), stated[3])
        return location, _at(value, location), stated[4]
    if details["type"] == "value_error" and isinstance(value, dict):
        block = _block(location)
        fields = _names(block)
        named = next((word for word in re.findall(r"\w+", message) if word in fields), None)
        if named is None and not location:
            named = next((word for word in re.findall(r"\w+", message) if word in value), None)
        if named is not None:
            return (*location, named), value.get(named, NOTHING), message
    return location, value, message


def _at(value: Any, location: Location) -> Any:
    for part in location:
        try:
            value = value[part]
        except (KeyError, IndexError, TypeError):
            return NOTHING
    return value


def dotted(location: Location) -> str:
    """Return ("signals", 3, "unit") as "signals[3].unit"."""
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text or "the file"


def _block(location: Location) -> type[BaseModel] | None:
    """Return the model of the block a location leads to; None when it leads to something else."""
    from pydantic import BaseModel

    from pipelines.plant.blocks import PlantBlocks

    here: Any = PlantBlocks
    for part in location:
        if isinstance(part, int):
            continue
        if not (isinstance(here, type) and issubclass(here, BaseModel)) or part not in here.model_fields:
            return None
        annotation = here.model_fields[part].annotation
        models = [a for a in (annotation, *get_args(annotation)) if isinstance(a, type) and issubclass(a, BaseModel)]
        here = models[0] if models else None
    return here if isinstance(here, type) and issubclass(here, BaseModel) else None


def _missing(location: Location, message: str) -> tuple[str, str]:
    key = location[-1] if location else ""
    if isinstance(key, int):
        return "has too few values", f"write as many as the key needs, such as {_EXAMPLES.get(str(location[-2]), '[0, 600]')}"
    problem = "is missing" if message == "Field required" else f"is missing: {message}"
    nested = _block(location)
    if nested is not None:
        required = ", ".join(field.alias or name for name, field in nested.model_fields.items() if field.is_required())
        return problem, f"add a block {_header(location)} with {required}"
    example = f", such as {key} = {_EXAMPLES[key]}" if key in _EXAMPLES else ""
    return problem, f"add {key} to {_header(location[:-1])}{example}"


def _header(location: Location) -> str:
    names = ".".join(str(part) for part in location if isinstance(part, str))
    if not names:
        return "the file"
    many = names in ("lines", "signals", "layouts", "arrangements", "pumps") or isinstance(location[-1], int)
    return f"[[{names}]]" if many else f"[{names}]"


def _unknown_key(location: Location) -> tuple[str, str]:
    where, meant = _header(location[:-1]), _meant(location)
    remedy = f"did you mean {meant}?" if meant else f"take it out; {where} knows: {', '.join(_keys(location[:-1]))}"
    return f"is not a key of {where}", remedy


def _keys(location: Location) -> list[str]:
    return sorted(_names(_block(location)))


def _names(block: type[BaseModel] | None) -> list[str]:
    """Return the keys of a block as the plant file writes them."""
    return [field.alias or name for name, field in block.model_fields.items()] if block else []


def _meant(location: Location) -> str | None:
    """Return the key that an unknown one was probably meant to be."""
    return closest(str(location[-1]), _keys(location[:-1]))


def _told(details: ErrorDetails, key: str, value: Any, message: str) -> tuple[str, str]:
    """Return problem and remedy of a value that is there but wrong."""
    kind, context = details["type"], details.get("ctx", {})
    if isinstance(error := context.get("error"), ContradictionError):
        return message, error.remedy
    if kind == "value_error":
        return _wrong_value(value, message)
    if kind == "literal_error":
        words = re.findall(r"'([^']*)'", str(context.get("expected", "")))
        close = closest(str(value), words)
        return "is not a word used here", (f"did you mean {close!r}? " if close else "") + f"one of: {', '.join(words)}"
    if kind == "string_pattern_mismatch":
        return "is not written as needed", f"use {_PATTERNS.get(key, 'the form ' + str(context.get('pattern')))}"
    if kind in _KINDS:
        example = f"; for {key}: {_EXAMPLES[key]}" if key in _EXAMPLES else ""
        return "is of the wrong kind", f"write {_KINDS[kind]}{example}"
    if kind in ("too_short", "too_long"):
        need = context.get("min_length") if kind == "too_short" else context.get("max_length")
        word = "few" if kind == "too_short" else "many"
        return f"has too {word} values", f"write at {'least' if kind == 'too_short' else 'most'} {need}"
    plain = message[:1].lower() + message[1:]
    return plain.replace("input should be", "must be").replace("string should", "must"), _AGAIN


def _wrong_value(value: Any, message: str) -> tuple[str, str]:
    """Return problem and remedy of a rule of our own; its message says what is wrong."""
    if unknown := re.search(r"un(?:known unit|it) '([^']*)'(?: is not known)?$", message):
        close = closest(unknown[1], list(units.UNITS))
        return message, (f"did you mean {close!r}? " if close else "") + f"units known: {', '.join(units.UNITS)}"
    if needed := re.search(r"(?:here|needs) an? (\w+)(?: is needed)?$", message):
        return message, "use one of: " + ", ".join(u.name for u in units.UNITS.values() if u.dimension == needed[1])
    if message.startswith("role "):
        close = closest(str(value), list(ROLES))
        return "is not a role", (f"did you mean {close!r}? " if close else "") + f"roles: {', '.join(sorted(ROLES))}"
    if message.startswith("no text encoding"):
        from encodings.aliases import aliases

        close = closest(str(value), sorted({*aliases, *aliases.values()}))
        return message, f"did you mean {close!r}?" if close else "use a name such as utf-8, utf-16, cp1252 or latin-1"
    if "IANA" in message:
        close = closest(str(value), sorted(available_timezones()))
        return message, f"did you mean {close!r}?" if close else "use a name such as America/New_York or Europe/Copenhagen"
    if message.startswith("not a number with a unit"):
        return "has no unit", 'write number, blank and unit in quotes, such as "20 gpm"'
    if message.startswith("write it as text"):
        return "has no unit" if isinstance(value, int | float) else "is not an amount with its unit", message
    if choice := re.match(r"no (line|pump) '([^']*)'; \w+ are (.*)", message):
        close = closest(choice[2], choice[3].split(", "))
        return f"there is no {choice[1]} {choice[2]!r}", (f"did you mean {close!r}? " if close else "") + f"{choice[1]}s are: {choice[3]}"
    return message, _AGAIN


def closest(word: str, known: list[str]) -> str | None:
    """Return the known word nearest to a mistyped one, or None when none is near."""
    import difflib

    folded = {k.lower(): k for k in known}
    found = difflib.get_close_matches(word.lower(), list(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None
