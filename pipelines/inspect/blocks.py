"""Write the proposal as TOML blocks of a plant file; what is only guessed is marked with an open question."""

from __future__ import annotations

import fnmatch
import glob
import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from pipelines.inspect import cells, words
from pipelines.inspect.layout import Proposal
from pipelines.inspect.survey import TagSurvey
from pipelines.inspect.text import Look

QUESTION = "# OPEN QUESTION:"
_SHORTEST_HOLD_S, _LONGEST_SILENCE_S = 600.0, 7_200.0  # silence of a tag that logs by change: up to two hours (common practice, no source)
_ID_LETTERS = 41  # of a layout's id in the plant file


def text(value: object) -> str:
    """Return a TOML string, boolean, number or array of strings."""
    return json.dumps(value, ensure_ascii=False)


@dataclass(frozen=True)
class Named:
    """What a layout is called and which files it is for."""

    layout_id: str
    files: str


def glob_for(path: Path) -> str:
    """Return a glob for files named like this one: every run of digits becomes a star."""
    return re.sub(r"\*+", "*", "*".join(glob.escape(part) for part in re.split(r"\d+", path.name)))


def layout_id(path: Path) -> str:
    """Return an id for the layout made of the letters of the file name."""
    return re.sub(r"[^a-z]+", "-", path.name.split(".")[0].lower())[:_ID_LETTERS].strip("-") or "export"


def names_for(paths: Sequence[Path]) -> dict[Path, Named]:
    """Return what the layout of each file is called; files that differ in digits only share one.

    Where a glob fits files of another layout too, its stars become digits, as many as the names have.
    """
    groups: dict[str, list[Path]] = {}
    for path in paths:
        groups.setdefault(glob_for(path), []).append(path)
    named: dict[Path, Named] = {}
    ids: set[str] = set()
    for files, alike in groups.items():
        others = [p.name.lower() for p in paths if p not in alike]
        is_wide = not re.search(r"[^\W\d_]", files.rpartition(".")[0] or files) or any(
            fnmatch.fnmatchcase(n, files.lower()) for n in others
        )
        one = Named(_unused(layout_id(alike[0]), ids), _digits(alike) if is_wide else files)
        ids.add(one.layout_id)
        named |= dict.fromkeys(alike, one)
    return named


def _digits(alike: Sequence[Path]) -> str:
    """Return a glob of digits alone for names that differ in them; a run of unequal length is one digit and more of anything."""
    runs = zip(*(re.findall(r"\d+", p.name) for p in alike), strict=True)
    said = ["[0-9]" * len(run[0]) if len({len(r) for r in run}) == 1 else "[0-9]*" for run in runs]
    parts = [glob.escape(part) for part in re.split(r"\d+", alike[0].name)]
    return parts[0] + "".join(digits + part for digits, part in zip(said, parts[1:], strict=True))


def _unused(wanted: str, ids: set[str]) -> str:
    numbered = (f"{wanted[: _ID_LETTERS - 3].rstrip('-')}-{n}" for n in count(2))
    return wanted if wanted not in ids else next(one for one in numbered if one not in ids)


def layout_block(named: Named, look: Look, proposal: Proposal, time_zone: str) -> str:
    """Return the [[layouts]] block."""
    p = proposal
    pairs: list[tuple[str, object]] = [
        ("id", named.layout_id),
        ("kind", p.kind),
        ("files", named.files),
        ("sheet", look.sheet),
        ("encoding", None if look.is_workbook else look.encoding),
        ("delimiter", None if look.is_workbook else look.delimiter),
        ("quote", look.quote if look.quote != '"' and not look.is_workbook else None),
        ("escape", None if look.is_workbook else look.escape),
        ("decimal", p.decimal),
        ("thousands", p.thousands),
        ("header_rows", p.header_rows if p.header_rows > 1 else None),
        ("column_names", p.columns if p.header_rows == 0 else None),
        ("time_column", p.time_column),
        ("date_column", p.date_column),
        ("time_format", p.time.time_format),
        ("time_zone", "UTC" if p.time.has_zone else time_zone),
        ("zone_column", p.zone_column),
        ("stamp", p.stamp),
        ("interval", f"{p.interval_min:g} min" if p.stamp != "instant" else None),
        ("tag_column", p.tag_column if p.kind == "long" else None),
        ("value_column", p.value_column if p.kind == "long" else None),
        ("point_column", p.point_column if p.kind == "lab long" else None),
        ("analyte_column", p.tag_column if p.kind == "lab long" else None),
        ("result_column", p.value_column if p.kind == "lab long" else None),
        ("reported_column", p.reported_column),
        ("lot_column", p.lot_column),
        ("line_column", p.line_column),
        ("entity_column", p.entity_column),
        ("unit_column", p.unit_column),
        ("qualifier_column", p.qualifier_column),
        ("quality_column", p.quality_column),
        ("quality_name", p.quality_name),
        ("unit_row", p.unit_row),
        ("footer_words", p.footer_words or None),
        ("ignore_columns", p.ignore_columns or None),
        ("fill_values", p.fill_values or None),
    ]
    lines = [f"{QUESTION} {q}" for q in p.open_questions]
    if p.kind != "lab wide" and p.kind != "lab long":
        seen = f"; rows are {p.interval_min:g} min apart" if p.interval_min else ""
        lines.append(f"{QUESTION} are the values instants, or averages stamped at the start or end of an interval{seen}?")
    lines.append("[[layouts]]")
    lines += [f"{key} = {text(value)}" for key, value in pairs if value is not None]
    if not p.kind.startswith("lab") and p.stamp == "instant":
        lines.append(f'# interval = "{p.interval_min or 15:g} min"')
    if p.zone_words:
        lines.append("zone_words = { " + ", ".join(f"{word} = {text(offset)}" for word, offset in p.zone_words.items()) + " }")
    if p.quality_words:
        inner = ", ".join(f"{k} = {text(v)}" for k, v in p.quality_words.items())
        lines.append(f"quality_words = {{ {inner} }}")
    if p.line_words:
        inner = ", ".join(f'{text(word)} = "line-{n}"' for n, word in enumerate(p.line_words, 1))
        lines += [f"{QUESTION} which line is which?", f"line_words = {{ {inner} }}"]
    if p.kind == "lab wide":
        lines.append(f"{QUESTION} which column holds which sample point and analyte? One entry a column:")
        lines.append("results = [")
        line = "" if p.line_column else 'line = "line-1", '
        lines += [f"  {{ column = {text(c)}, {line}{_lab_words(c)} }}," for c in p.result_columns]
        lines.append("]")
    return "\n".join(lines) + "\n"


def lab_words(proposal: Proposal) -> str:
    """Return the [[lab.sample_points]] and [[lab.analytes]] blocks of a long lab file; words of no known meaning are commented out."""
    out = []
    for kind, key, found in (("sample_points", "point", proposal.points), ("analytes", "analyte", proposal.analytes)):
        for meaning in sorted({m or "?" for m in found.values()}):
            said = [word for word, m in found.items() if (m or "?") == meaning]
            rows = [
                f"[[lab.{kind}]]",
                f"names = {text(said)}",
                *(['line = "line-1"'] if key == "point" else []),
                f"{key} = {text(meaning)}",
            ]
            off = "# " if meaning == "?" else ""
            asked = f"what is {', '.join(map(repr, said[:8]))}?" if off else f"is {', '.join(map(repr, said[:8]))} {meaning}?"
            out.append("\n".join([f"{QUESTION} {asked}", *(off + row for row in rows)]) + "\n")
    return "\n".join(out)


def _lab_words(column: str) -> str:
    folded = column.lower()
    points = ((words.CAKE, "cake"), (words.FILTRATE, "filtrate"), (("polymer", "polím", "polim"), "polymer solution"))
    analytes = (
        (("moisture", "vandindhold"), "moisture"),
        (words.TSS, "tss"),
        (("vs", "volatile"), "vs"),
        (("strength",), "strength"),
    )
    point = next((p for said, p in points if any(w in folded for w in said)), "feed")
    if cells.ticket_columns([column, "ticket"]):
        unit = "short_ton" if "ton" in folded else "lb" if "lb" in folded else "kg" if "kg" in folded else "t"
        return f'point = "cake haul", analyte = "wet_mass", unit = "{unit}"'
    analyte = next((a for said, a in analytes if any(w in folded for w in said)), "ts")
    unit = "mg/L" if "mg/l" in folded else "g/L" if "g/l" in folded else "%"
    return f'point = "{point}", analyte = "{analyte}", unit = "{unit}"'


def hold_limits(tag: TagSurvey) -> dict[str, str]:
    """Return how long a value of a tag that comes seldom may stand: half as long again as its step, or as its usual longest silence.

    Where a meter is silent for long at rest alone, that limit is of its readings at rest.
    """
    step, gap, running = tag.median_step_s or 0.0, tag.longest_gap_s or 0.0, tag.running_gap_s
    reach_s = max(1.5 * step, 1.1 * gap if gap <= _LONGEST_SILENCE_S else 0.0)
    if reach_s <= _SHORTEST_HOLD_S:
        return {}
    is_meter = not tag.is_state and not (tag.role or "").endswith("_total")
    is_at_rest = is_meter and running is not None and max(1.5 * step, 1.1 * running) <= _SHORTEST_HOLD_S
    return {"hold_limit_at_rest" if is_at_rest else "hold_limit": f"{math.ceil(reach_s / 60.0):d} min"}


def signal_block(tag: TagSurvey, line: str, *, is_live: bool) -> str:
    """Return the [[signals]] block of one tag, its guess rated by its evidence; commented out unless it `is_live`."""
    span = (
        f"range = [{_round_down(tag.low)}, {_round_up(tag.high)}]"
        if not tag.is_state and not (tag.role or "").endswith("_total") and tag.low is not None and tag.high is not None
        else ""
    )
    said, question = "", tag.question
    if tag.is_state and tag.text_words:
        on, off, unsure = _on_off(tag.text_words)
        said = f"on_words = {text(on)}\noff_words = {text(off)}\n"
        question += f"; do {', '.join(map(repr, unsure))} mean off? (proposed)" if unsure else ""
    is_drive = tag.unit == "Hz" and (tag.role or "").endswith("speed")
    question = "at how many rpm does it turn at 50 Hz? Write it for the ? and take the # away" if is_drive else question
    unit = "rpm" if is_drive else tag.unit or "?"
    rows = [f"line = {text(line)}", f"role = {text(tag.role or '?')}", f"tag = {text(tag.tag)}", f"unit = {text(unit)}"]
    rows += ['scaling = { raw = [0, 50], reads = [0, "?"] }'] if is_drive else []
    held = [f"{key} = {text(limit)}" for key, limit in hold_limits(tag).items()]
    body = "\n".join(["[[signals]]", *rows, *([span] if span else []), *held]) + "\n" + said
    note = f"# {tag.evidence}\n{QUESTION} {question}\n"
    if not is_live:
        body = "".join(f"# {row}\n" for row in body.splitlines())
    return note + body


def _on_off(told: Sequence[str]) -> tuple[list[str], list[str], list[str]]:
    """Return words that mean on, words that mean off, and those of the latter that nothing is known of."""
    on = [w for w in told if w.lower().strip() in words.ON]
    off = [w for w in told if w not in on]
    unsure = [w for w in off if w.lower().strip() not in words.OFF]
    if not on and len(told) == 2 and len(unsure) == 1:  # beside a word for off
        return unsure, [w for w in off if w not in unsure], []
    return on, off, [] if on and len(told) == 2 else unsure


def _round_down(value: float | None) -> float:
    return float(min(0.0, -_nice(-(value or 0.0)) if (value or 0.0) < 0 else 0.0))


def _round_up(value: float | None) -> float:
    return _nice(1.25 * max(value or 0.0, 1e-6))


def _nice(value: float) -> float:
    """Return the next 1, 2, 2.5, 5 x 10^n at or above a positive value."""
    from math import floor, log10

    if value <= 0:
        return 0.0
    base = 10.0 ** floor(log10(value))
    return float(next(step * base for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * base >= value - 1e-12))
