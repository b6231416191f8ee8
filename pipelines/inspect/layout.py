"""Propose a layout block for an unseen file: header, kind, columns, units, footers, quality and state words."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

from pipelines.base import units
from pipelines.files.original import FileRefusedError
from pipelines.inspect import cells, headers, lab_long, long_shape, words
from pipelines.inspect.stamps import ZONE_QUESTION, StampGuess, guess, parse
from pipelines.inspect.text import Look

_NUMBER = cells.NUMBER
_MOST_CELLS, _FEW_ROWS = 60_000, 20  # cells that say how numbers and fills are written, and rows looked at in however wide a file
_MOST_OF_ONE_VALUE = 100  # columns of a file with one value a row: public results have some eighty (common practice, no source)
_LOOKED_AT = 2_000  # records that say what a column is


@dataclass
class Proposal:
    """Proposed layout block of a file, with open questions."""

    kind: str
    header_line: int
    columns: tuple[str, ...]
    time: StampGuess
    time_column: str
    date_column: str | None = None
    header_rows: int = 1  # 0: the file has no header, `columns` are names to be given
    zone_column: str | None = None
    zone_words: dict[str, str] = field(default_factory=dict)
    entity_column: str | None = None
    entity_words: list[str] = field(default_factory=list)
    tag_column: str | None = None
    point_column: str | None = None
    value_column: str | None = None
    reported_column: str | None = None
    lot_column: str | None = None
    line_column: str | None = None
    line_words: list[str] = field(default_factory=list)
    result_columns: list[str] = field(default_factory=list)
    quality_column: str | None = None
    quality_name: str | None = None
    thousands: str | None = None
    ignore_columns: list[str] = field(default_factory=list)
    fill_values: list[str] = field(default_factory=list)
    quality_words: dict[str, list[str]] = field(default_factory=dict)
    qualifier_column: str | None = None
    points: dict[str, str | None] = field(default_factory=dict)  # words of a long lab file -> what they likely mean
    analytes: dict[str, str | None] = field(default_factory=dict)
    unit_row: int | None = None
    unit_column: str | None = None
    units: dict[str, str] = field(default_factory=dict)
    decimal: str = "."
    footer_words: list[str] = field(default_factory=list)
    stamp: str = "instant"
    interval_min: float | None = None
    data: list[tuple[int, tuple[str, ...]]] = field(default_factory=list)
    open_questions: list[str] = field(default_factory=list)


def propose(look: Look) -> Proposal:
    """Return the proposal for the first row that can be a header above rows with readable times.

    FileRefusedError when there is none; it says so where the only fault of a row is that names stand in it more than once.
    """
    doubled: list[str] = []
    columns = headers.ColumnTimes(look.records)
    for index in range(min(len(look.records), headers.SEARCHED)):
        for depth in headers.depths(look.records, index):
            names = headers.names_of(look.records, index, depth)
            if sum(bool(n) and not _NUMBER.match(n) for n in names) < 2:
                continue
            body = [r for r in look.records[index + depth :] if any(r[1])]
            found = _time_column(names, body, columns.below(index + depth))
            if not found or not _alike(names, body) or _is_data(*found):
                continue
            twice = _twice(names, body[:_LOOKED_AT])
            if not twice:
                return _filled(look, index, depth, names, body, *found)
            doubled = doubled or twice
    if doubled:
        told = ", ".join(map(repr, doubled[:5]))
        raise FileRefusedError("unknown layout", f"a header names columns more than once, so that they cannot be told apart: {told}")
    return _without_header(look, columns)


def _without_header(look: Look, columns: headers.ColumnTimes) -> Proposal:
    """Return the proposal for a file whose first record is data already; FileRefusedError where no column reads as a time."""
    body = [r for r in look.records if any(r[1])]
    width = Counter(len(fields) for _, fields in body).most_common(1)[0][0] if body else 0
    names = tuple(f"column {n}" for n in range(1, width + 1))
    found = _time_column(names, body, columns.below(0)) if width > 1 else None
    if found is None or not body or not _alike(names, body):
        raise FileRefusedError("unknown layout", "no row was found that names columns above rows with readable times")
    proposal = _filled(look, 0, 0, names, body, *found)
    proposal.open_questions.insert(0, "the file has no header row: what does each column hold? (name them in column_names, in their order)")
    return proposal


def _is_data(time_column: str, date_column: str | None, stamp: StampGuess) -> bool:
    """Return whether the names of the time columns read as a time themselves: a row of data is no header."""
    return parse(" ".join(n for n in (date_column, time_column) if n), stamp.time_format) is not None


def _twice(names: tuple[str, ...], body: list[tuple[int, tuple[str, ...]]]) -> list[str]:
    """Return the names that stand in a header more than once and are not those of qualities beside the values."""
    rows = [fields for _, fields in body]
    return [n for n, often in Counter(n for n in names if n).items() if often > 1 and not cells.is_beside(n, names, rows)]


def _alike(names: tuple[str, ...], body: list[tuple[int, tuple[str, ...]]]) -> bool:
    width = len([n for n in names if n])
    fitting = sum(1 for _, fields in body[:200] if width <= len(fields) <= len(names) + 1)
    return fitting >= 0.5 * max(1, min(len(body), 200))


def _time_column(
    names: tuple[str, ...], body: list[tuple[int, tuple[str, ...]]], times: Callable[[int], StampGuess | None]
) -> tuple[str, str | None, StampGuess] | None:
    """Return (time column, date column when in two, guess) for the column that reads best as a time: bare numbers come last."""
    guesses = [(name, times(at)) for at, name in enumerate(names)]
    stamped = [(name, stamp) for name, stamp in guesses if name and stamp]
    if not stamped:
        return None
    name, best = max(stamped, key=lambda one: (not one[1].is_bare, _when(one[0]), one[1].share))
    return (best.date_only and _clock_beside(name, names, body)) or (name, None, best)


def _when(name: str) -> int:
    """Return 1 for the name of a sample's time, -1 for that of its report, else 0."""
    told = name.lower()
    return any(w in told for w in words.SAMPLED) or -any(w in told for w in words.REPORTED)


def _clock_beside(date: str, names: tuple[str, ...], body: list[tuple[int, tuple[str, ...]]]) -> tuple[str, str, StampGuess] | None:
    """Return (clock column, date column, guess) where a column tells the time of day; bare numbers only where its name says so."""
    at = names.index(date)
    for other, name in enumerate(names):
        if other == at:
            continue
        pair = [(f[at], f[other]) for _, f in body[:_LOOKED_AT] if len(f) > max(at, other)]
        is_number = any(_NUMBER.match(clock) for _, clock in pair) and not any(w in name.lower() for w in words.CLOCK)
        if is_number:
            continue
        both = guess([" ".join(texts) for texts in pair])
        if both and not both.date_only and both.share >= 0.8:
            return name, date, both
    return None


def _filled(
    look: Look,
    index: int,
    depth: int,
    names: tuple[str, ...],
    body: list[tuple[int, tuple[str, ...]]],
    time_column: str,
    date_column: str | None,
    stamp: StampGuess,
) -> Proposal:
    head_line = look.records[index][0] if depth else 0
    proposal = Proposal("wide", head_line, names, stamp, time_column, date_column, header_rows=depth)
    at = names.index(date_column or time_column)
    readable = [(line, f) for line, f in body if len(f) > at and _reads(f, names, proposal)]
    proposal.data = readable
    looked_at = readable[: max(_FEW_ROWS, _MOST_CELLS // len(names))]
    proposal.open_questions += stamp.open_questions
    _zones(proposal, names, readable)
    _unit_row(proposal, names, body)
    proposal.footer_words = _footers(body, readable)
    _numbers(proposal, names, looked_at)
    _kind(proposal, names, readable)
    _entity(proposal, names, readable)
    if proposal.kind == "wide":
        _columns_beside(proposal, names, looked_at)
    elif proposal.kind in ("lab wide", "lab long"):
        _lab_columns(proposal, names, [f for _, f in readable])
    _fills(proposal, names, looked_at)
    _interval(proposal, names, readable)
    if depth > 1:
        proposal.open_questions.append(f"are the first {depth} rows from line {head_line} on the names of the columns, joined? (proposed)")
    return proposal


def _zones(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    """Propose the column that says the zone of each row: all its texts are abbreviations of zones."""
    if proposal.time.has_zone or proposal.time.date_only:
        return
    for at in _values_at(proposal, names):
        if readable and all(f[at].upper() in words.ZONES for _, f in readable if at < len(f)):
            said = {f[at].upper() for _, f in readable if at < len(f)}
            proposal.zone_column, proposal.zone_words = names[at], {word: words.ZONES[word] for word in sorted(said)}
            shown = ", ".join(f"{word} {offset}" for word, offset in proposal.zone_words.items())
            proposal.open_questions.append(f"does {names[at]!r} say the zone of each row: {shown}? (proposed)")
            proposal.open_questions.remove(ZONE_QUESTION)
            return


def _reads(fields: tuple[str, ...], names: tuple[str, ...], proposal: Proposal) -> bool:
    return parse(stamp_text(fields, names, proposal), proposal.time.time_format) is not None


def stamp_text(fields: tuple[str, ...], names: tuple[str, ...], proposal: Proposal) -> str:
    """Return the text of a row's time stamp; date and time joined by a blank when in two columns."""
    parts = [proposal.date_column, proposal.time_column] if proposal.date_column else [proposal.time_column]
    return " ".join(fields[names.index(p)] for p in parts if p and names.index(p) < len(fields))


def _unit_row(proposal: Proposal, names: tuple[str, ...], body: list[tuple[int, tuple[str, ...]]]) -> None:
    for depth, (_, fields) in enumerate(body[:3], start=1):
        known = {}
        for name, word in zip(names, fields, strict=False):
            try:
                if word and name not in (proposal.time_column, proposal.date_column):
                    known[name] = units.unit(word).name
            except KeyError:
                continue
        others = [w for n, w in zip(names, fields, strict=False) if w and n not in (proposal.time_column, proposal.date_column)]
        if known and len(known) >= 0.5 * len(others) and not any(_NUMBER.match(w) for w in others):
            proposal.unit_row, proposal.units = depth, known
            return


def _footers(body: list[tuple[int, tuple[str, ...]]], readable: list[tuple[int, tuple[str, ...]]]) -> list[str]:
    last = readable[-1][0] if readable else 0
    tails = [next((x for x in fields if x), "") for line, fields in body if line > last]
    told = (re.sub(r"[\s:=]*[\d.,]+$", "", t) for t in tails if t and not _NUMBER.match(t))
    return list(dict.fromkeys(w for w in told if w))[:8]


def _values_at(proposal: Proposal, names: tuple[str, ...]) -> list[int]:
    """Return the positions of columns that may hold values."""
    skip = (proposal.time_column, proposal.date_column, proposal.entity_column, proposal.zone_column)
    return [i for i, n in enumerate(names) if n and n not in skip]


def _numbers(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    at = _values_at(proposal, names)
    told = cells.signs(f[i] for _, f in readable[:2000] for i in at if i < len(f))
    proposal.decimal, proposal.thousands = told.decimal, told.thousands
    if told.question:
        proposal.open_questions.append(told.question)


def _columns_beside(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    """Tell the columns of a wide file that hold qualities and remarks."""
    rows = [f for _, f in readable]
    proposal.quality_name, proposal.quality_column, at = cells.quality_columns(names, rows)
    if at:
        _words(proposal, at, readable)
    skip = set(range(len(names))) - set(_values_at(proposal, names)) | at
    proposal.ignore_columns = cells.remark_columns(names, rows, skip)
    if proposal.ignore_columns:
        proposal.open_questions.append(f"are {', '.join(map(repr, proposal.ignore_columns))} remarks? (proposed: not read)")
    if lots := [n for n in names if cells.is_lot(n) and n not in proposal.ignore_columns]:
        proposal.ignore_columns += lots
        proposal.open_questions.append(f"are {', '.join(map(repr, lots))} lots? (proposed: not read; in a lab layout lot_column)")


def _lab_columns(proposal: Proposal, names: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
    """Tell the columns of a lab sheet that hold report times, lots and, of a wide one, results."""
    others = [names[i] for i in _values_at(proposal, names)]
    proposal.reported_column = next((n for n in others if _when(n) < 0), None)
    proposal.lot_column = next((n for n in others if cells.is_lot(n)), None)
    line = next((i for i in _values_at(proposal, names) if names[i].lower() in words.LINE), None) if proposal.kind == "lab wide" else None
    if line is not None and (said := sorted({row[line] for row in rows if line < len(row) and row[line]})):
        proposal.line_column, proposal.line_words = names[line], said
    if proposal.kind == "lab wide" and (weights := cells.ticket_columns(names)):
        proposal.result_columns = weights
        return
    for i in _values_at(proposal, names):
        texts = [row[i] for row in rows if i < len(row) and row[i]]
        is_other = names[i] in (proposal.reported_column, proposal.lot_column, proposal.line_column) or cells.is_remark(names[i])
        if not is_other and (not texts or cells.holds_numbers(texts)):
            proposal.result_columns.append(names[i])
    if proposal.kind == "lab wide":
        _keep_analytes(proposal)


def _keep_analytes(proposal: Proposal) -> None:
    """Keep the columns whose names say an analyte, where any does; ask for the others."""
    said = [name for name in proposal.result_columns if cells.is_analyte(name)]
    silent = [name for name in proposal.result_columns if name not in said]
    if said and silent:
        proposal.result_columns = said
        shown = ", ".join(map(repr, silent[:8])) + (f" and {len(silent) - 8} more" if len(silent) > 8 else "")
        proposal.open_questions.append(f"are {shown} results too? (proposed: not read)")


def _words(proposal: Proposal, at: set[int], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    """Sort the quality words of the columns."""
    proposal.quality_words = cells.sorted_words(f[i] for _, f in readable for i in at if i < len(f))
    unsure = proposal.quality_words["uncertain"]
    if unsure:
        proposal.open_questions.append(f"what do the quality words {', '.join(map(repr, unsure))} mean? (proposed: uncertain)")


def _fills(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    """Propose texts that mean no value."""
    if proposal.kind == "long":
        at, tag_at = names.index(proposal.value_column or ""), names.index(proposal.tag_column or "")
        per_tag: dict[str, list[str]] = {}
        for _, f in readable:
            if len(f) > max(at, tag_at):
                per_tag.setdefault(f[tag_at], []).append(f[at])
        proposal.fill_values = cells.fill_values(per_tag.values())
    elif proposal.kind == "wide":
        columns = [i for i in _values_at(proposal, names) if names[i] not in proposal.ignore_columns]
        proposal.fill_values = cells.fill_values([f[i] for _, f in readable if i < len(f)] for i in columns)
    if proposal.fill_values:
        proposal.open_questions.append(f"do {', '.join(map(repr, proposal.fill_values))} mean that there is no value? (proposed)")


def _kind(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    folded = {n.lower(): n for n in names if n}
    rows, at = [f for _, f in readable], _values_at(proposal, names)
    tag = next((folded[n] for n in words.TAG if n in folded), None)
    value = next((folded[n] for n in words.VALUE if n in folded), None)
    quality = next((folded[n] for n in words.QUALITY if n in folded), None)
    lab = sum(any(re.search(rf"(?<![a-z]){w}(?![a-z])", n) for w in words.LAB) for n in folded)
    is_narrow = len(at) <= _MOST_OF_ONE_VALUE
    shape = None if lab >= 2 or proposal.time.date_only or not is_narrow else long_shape.told(names, rows, at)
    if is_narrow and (one := lab_long.told(names, rows, at)) is not None:
        proposal.kind, proposal.point_column, tag, value = "lab long", one.point, one.analyte, one.result
        proposal.unit_column, proposal.qualifier_column = one.unit, one.qualifier
        proposal.points, proposal.analytes = one.points, one.analytes
    elif tag and value and lab >= 2:
        proposal.kind = "lab long"
    elif tag and value:
        shape = long_shape.named(names, rows, at, tag, value)
        proposal.kind, proposal.units, proposal.unit_column, quality = "long", shape.units, shape.unit, quality or shape.quality
    elif shape:
        proposal.kind, proposal.units, proposal.unit_column = "long", shape.units, shape.unit
        tag, value, quality = shape.tag, shape.value, shape.quality
        proposal.open_questions.append(f"is each row one reading, with its tag in {tag!r} and its value in {value!r}? (proposed)")
    elif cells.ticket_columns(names) or proposal.time.date_only or (lab >= 2 and len(readable) < 500):
        proposal.kind = "lab wide"
    if proposal.kind == "lab long" and proposal.point_column is None:
        proposal.point_column = (
            next((n for f, n in folded.items() if re.search("location|point|place|sted|sample ?point", f) and n != tag), None) or tag
        )
    if proposal.kind in ("long", "lab long"):
        proposal.tag_column, proposal.value_column = tag, value
    if proposal.kind == "long":
        proposal.quality_column = quality
        if quality:
            _words(proposal, {names.index(quality)}, readable)


def _entity(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    """Propose the column that says which unit a row is of, where a stamp (of a tag) stands in several rows that differ."""
    if proposal.kind not in ("long", "wide"):
        return
    rows = [(stamp_text(f, names, proposal), f) for _, f in readable if len(f) >= len(names)]
    tag = names.index(proposal.tag_column) if proposal.kind == "long" and proposal.tag_column else None
    others = [i for i in _values_at(proposal, names) if i != tag and names[i] != proposal.value_column]
    found = headers.entity(rows, tag, others)
    if found is None:
        return
    if found < 0:
        proposal.open_questions.append(
            "most stamps stand in several rows with different values: which column says the unit or station of a row?"
        )
        return
    proposal.entity_column = names[found]
    proposal.entity_words = sorted({fields[found] for _, fields in rows})
    proposal.open_questions.append(f"does {names[found]!r} say which unit, station or press a row is of? (proposed)")


def _interval(proposal: Proposal, names: tuple[str, ...], readable: list[tuple[int, tuple[str, ...]]]) -> None:
    """Propose interval-end stamps when an evenly spaced day ends with the next day's midnight and begins one step after it."""
    if proposal.kind != "wide" or proposal.time.date_only or len(readable) < 20:
        return
    times = [parse(stamp_text(f, names, proposal), proposal.time.time_format) for _, f in readable]
    known = [t for t in times if t is not None]
    steps = Counter(b - a for a, b in pairwise(known))
    if not steps:  # stamps that are numbers
        return
    step, often = steps.most_common(1)[0]
    minutes = step.total_seconds() / 60.0
    ends = known[-1].hour == 0 and known[-1].minute == 0 and known[0].hour * 60 + known[0].minute == minutes
    if often > 0.9 * len(known) and minutes >= 5:
        proposal.interval_min = minutes
        if ends:
            proposal.stamp = "interval end"
