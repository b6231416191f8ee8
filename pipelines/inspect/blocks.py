"""Write the proposal as TOML blocks of a plant file; what is only guessed is marked with an open question."""

from __future__ import annotations

import json
import re
from pathlib import Path

from pipelines.inspect import words
from pipelines.inspect.layout import Proposal
from pipelines.inspect.survey import TagSurvey
from pipelines.inspect.text import Look

QUESTION = "# OPEN QUESTION:"


def text(value: object) -> str:
    """Return a TOML string, boolean, number or array of strings."""
    return json.dumps(value, ensure_ascii=False)


def glob_for(path: Path) -> str:
    """Return a glob for files named like this one: every run of digits becomes a star."""
    return re.sub(r"\*+", "*", re.sub(r"\d+", "*", path.name))


def layout_id(path: Path) -> str:
    """Return an id for the layout made of the letters of the file name."""
    return re.sub(r"[^a-z]+", "-", path.name.split(".")[0].lower()).strip("-") or "export"


def layout_block(path: Path, look: Look, proposal: Proposal, time_zone: str) -> str:
    """Return the [[layouts]] block."""
    p = proposal
    pairs: list[tuple[str, object]] = [
        ("id", layout_id(path)),
        ("kind", p.kind),
        ("files", glob_for(path)),
        ("sheet", look.sheet),
        ("encoding", None if look.is_workbook else look.encoding),
        ("delimiter", None if look.is_workbook else look.delimiter),
        ("quote", look.quote if look.quote != '"' and not look.is_workbook else None),
        ("escape", None if look.is_workbook else look.escape),
        ("decimal", p.decimal),
        ("thousands", p.thousands),
        ("time_column", p.time_column),
        ("date_column", p.date_column),
        ("time_format", p.time.time_format),
        ("time_zone", "UTC" if p.time.has_zone else time_zone),
        ("stamp", p.stamp),
        ("interval", f"{p.interval_min:g} min" if p.stamp != "instant" else None),
        ("tag_column", p.tag_column if p.kind == "long" else None),
        ("value_column", p.value_column if p.kind == "long" else None),
        ("point_column", p.point_column if p.kind == "lab long" else None),
        ("analyte_column", p.tag_column if p.kind == "lab long" else None),
        ("result_column", p.value_column if p.kind == "lab long" else None),
        ("reported_column", p.reported_column),
        ("lot_column", p.lot_column),
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
    if p.quality_words:
        inner = ", ".join(f"{k} = {text(v)}" for k, v in p.quality_words.items())
        lines.append(f"quality_words = {{ {inner} }}")
    if p.kind == "lab wide":
        lines.append(f"{QUESTION} which column holds which sample point and analyte? One entry a column:")
        lines.append("results = [")
        lines += [f'  {{ column = {text(c)}, line = "line-1", {_lab_words(c)} }},' for c in p.result_columns]
        lines.append("]")
    return "\n".join(lines) + "\n"


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
    analyte = next((a for said, a in analytes if any(w in folded for w in said)), "ts")
    unit = "mg/L" if "mg/l" in folded else "g/L" if "g/l" in folded else "%"
    return f'point = "{point}", analyte = "{analyte}", unit = "{unit}"'


def signal_block(tag: TagSurvey, line: str) -> str:
    """Return the [[signals]] block of one tag, with its guesses marked; commented out when no word of it spoke for a role."""
    span = (
        f"range = [{_round_down(tag.low)}, {_round_up(tag.high)}]"
        if not tag.is_state and tag.low is not None and tag.high is not None
        else ""
    )
    said = ""
    if tag.is_state and tag.text_words:
        on = [w for w in tag.text_words if w.lower().strip() in _ON]
        off = [w for w in tag.text_words if w not in on]
        said = f"on_words = {text(on)}\noff_words = {text(off)}\n"
    rows = [f"line = {text(line)}", f"role = {text(tag.role or '?')}", f"tag = {text(tag.tag)}", f"unit = {text(tag.unit or '?')}"]
    body = "\n".join(["[[signals]]", *rows, *([span] if span else [])]) + "\n" + said
    note = f"{QUESTION} {tag.question}\n"
    if not tag.has_word or tag.unit is None:
        body = "".join(f"# {row}\n" for row in body.splitlines())
    return note + body


_ON = ("1", "true", "on", "run", "running", "open", "drift", "ein", "marche", "auto")


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
