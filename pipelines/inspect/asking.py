"""Ask the open questions of a first plant file one by one and write the answers into it. What stays open stays marked."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pydantic import ValidationError

from pipelines.inspect.blocks import QUESTION
from pipelines.plant.model import PlantFile

_ASKED = (  # keys that a question can ask for; the others follow from the files
    "name", "operating_day_start", "units", "device", "startup", "polymer_meter", "dilution_counted", "kind", "line", "role", "point", "analyte", "unit", "range", "stamp", "interval",
    "product", "form", "density", "active_fraction", "solution_strength_pct", "price_neat", "since", "disposal_wet", "power",
)  # fmt: skip
_KEY = re.compile(r"^(# )?(\w+) = (.*)$")
_BLOCK = re.compile(r"^# \[\[[\w.]+\]\]$")
_UNKNOWN = '"?"'
STAYS_OPEN = "?"  # an answer that leaves a question in the file


@dataclass(frozen=True)
class Key:
    """One line `key = value` of the file that a question asks for, numbered from 0; `is_off`: it is commented out."""

    at: int
    name: str
    value: str  # as TOML
    is_off: bool


@dataclass(frozen=True)
class Question:
    """One open question and the keys it asks for; none: the answer is yes, or it stays open. `block`: lines that are commented out."""

    at: int
    text: str
    keys: tuple[Key, ...]
    block: range | None
    is_signal: bool
    shown: tuple[str, ...]  # rows of the file that help to answer: the evidence, tag and unit of a signal, the columns of a lab sheet


Ask = Callable[[Question, Key | None], str]  # the answer; "" keeps the value, and leaves out what is commented out
Tell = Callable[[str], None]


def answered(text: str, ask: Ask, tell: Tell) -> str:
    """Return the plant file with every question asked in its order; an answer that the plant file refuses is told, and asked again."""
    rows = text.split("\n")
    for question in questions(text):
        while True:
            tried = _with_answers(rows, question, ask)
            problem = _problem(tried)
            if problem is None:
                rows = tried
                break
            tell(problem)
    return "\n".join(row for row in rows if row != _GONE)


_GONE = "\0"  # in place of a question that is answered, so that the others keep their lines


def questions(text: str) -> list[Question]:
    """Return the open questions of a plant file in order."""
    rows = text.split("\n")
    starts = [n for n, row in enumerate(rows) if row.startswith(QUESTION)]
    is_several = sum(row == "[[lines]]" for row in rows) > 1
    return [_question(rows, range(a, b), is_several=is_several) for a, b in zip(starts, [*starts[1:], len(rows)], strict=True)]


def _question(rows: Sequence[str], reach: range, *, is_several: bool) -> Question:
    """Return the question at the beginning of a reach of rows, which ends before the next question."""
    body = range(reach.start + 1, next((n for n in reach[1:] if not rows[n].strip()), reach.stop))
    block = body if len(body) and _BLOCK.match(rows[body.start]) else None
    found = [(n, m) for n in body if (m := _KEY.match(rows[n])) is not None and m[2] in _ASKED]
    keys = [Key(n, m[2], m[3], bool(m[1])) for n, m in found]
    is_signal = any(k.name in ("role", "point", "analyte") for k in keys)
    is_layout = any(rows[n] == "[[layouts]]" for n in body)
    if is_layout:
        keys = [k for k in keys if k.name in ("stamp", "interval") and "instants, or averages" in rows[reach.start]]
    keys = [k for k in keys if k.name != "line" or (is_signal and is_several)]
    keys = [k for k in keys if k.name != "unit" or k.value == _UNKNOWN]
    above = rows[reach.start - 1]
    shown = [above[2:]] if above.startswith("# ") and not above.startswith(QUESTION) and not _KEY.match(above) else []
    shown += [rows[n].removeprefix("# ") for n in body if is_signal and re.match(r"(# )?(tag|unit|on_words|off_words) = ", rows[n])]
    shown += [rows[n] for n in body if rows[n].startswith("  {")]
    return Question(reach.start, rows[reach.start].removeprefix(QUESTION).strip(), tuple(keys), block, is_signal, tuple(shown))


def _with_answers(rows: Sequence[str], question: Question, ask: Ask) -> list[str]:
    """Return the rows with the answers to one question; its own row goes unless it stays open."""
    out = list(rows)
    if not question.keys:
        out[question.at] = out[question.at] if ask(question, None) else _GONE
        return out
    for number, key in enumerate(question.keys):
        answer = ask(question, key).strip()
        if question.block is not None and number == 0 and not answer:
            out[question.at] = _GONE if question.is_signal else rows[question.at]
            return out
        if answer == STAYS_OPEN:
            return list(rows)
        if answer:
            out[key.at] = f"{key.name} = {_toml(answer, key.value)}"
    if question.block is not None:
        for n in question.block:
            out[n] = out[n].removeprefix("# ")
    out[question.at] = _GONE
    return out


def _toml(answer: str, before: str) -> str:
    """Return an answer as TOML: quoted where the value before is."""
    return json.dumps(answer.strip('"'), ensure_ascii=False) if before.startswith('"') else answer


def _problem(rows: Sequence[str]) -> str | None:
    """Return why the plant file refuses the rows, in a sentence; None when it takes them."""
    try:
        PlantFile.model_validate(tomllib.loads("\n".join(row for row in rows if row != _GONE)))
    except tomllib.TOMLDecodeError as error:
        return f"this cannot be read: {error}"
    except ValidationError as error:
        first = error.errors()[0]
        return f"{'.'.join(map(str, first['loc']))}: {first['msg'].removeprefix('Value error, ')}"
    return None
