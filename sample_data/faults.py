"""Planted faults: each with its place, time, what it does to the data, and whether a careful reader can undo it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from sample_data.exports import File, Shown
from sample_data.scenario import PlantScenario
from sample_data.simulate import Axis, Truth


@dataclass
class Fault:
    """One planted fault; `span` are minutes of the axis; `tag` the instrument, `file` the day of the export it hits."""

    plant: str
    line: str
    kind: str
    start_utc: datetime
    end_utc: datetime
    label: str
    effect: str
    handled: str
    span: slice
    tag: str = ""
    amount: float = 0.0

    def on_instruments(self, shown: list[Shown], ax: Axis) -> None:
        """Change what the instruments show."""
        n = ax.n
        for s in shown:
            if self.tag not in s.tag or not self.tag:
                continue
            values = s.values.copy()
            now = np.zeros(n, dtype=bool)
            now[self.span] = True
            if self.kind in ("flatline", "plugged tap"):
                values[self.span] = values[max(self.span.start - 1, 0)]
            elif self.kind == "out of range":
                values[self.span] = self.amount
            elif self.kind in ("valve throttled", "scaled"):
                values[self.span] = np.where(values[self.span] > 5, values[self.span] + self.amount, values[self.span])
            elif self.kind in ("dry run", "polymer outage", "run bit stuck off"):
                values[self.span] = 0.0
            elif self.kind == "no record":
                s.missing = now if s.missing is None else s.missing | now
            elif self.kind == "bad quality":
                s.bad = now if s.bad is None else s.bad | now
            elif self.kind == "totaliser reset":
                at = self.span.start
                values[at:] = np.mod(values[at:] - values[at], 1_000_000.0)
            s.values = values

    def on_files(self, files: list[File]) -> list[File]:
        """Change what is delivered."""
        at = f"{self.label.split(' ')[-1]}"
        if self.kind == "late file":
            return [replace(f, hours_late=f.hours_late + 24 * 9) if f.name == at else f for f in files]
        if self.kind == "duplicate file":
            return files + [replace(f, folder="again", hours_late=f.hours_late + 24) for f in files if f.name == at]
        if self.kind == "re-sent with changes":
            return files + [replace(f, folder="resent", hours_late=f.hours_late + 48, content=_changed(f.content)) for f in files if f.name == at]
        if self.kind == "unit row changed":
            return [replace(f, content=f.content.replace(b",PSI,", b",kPa,")) if f.name == at else f for f in files]
        if self.kind == "columns in another order":
            return [replace(f, content=_reversed_columns(f.content)) if f.name == at else f for f in files]
        if self.kind == "text in number":
            return [replace(f, content=_with_text(f.content)) if f.name == at else f for f in files]
        return files


def _changed(content: bytes) -> bytes:
    """Return the file with the feed flow of three rows typed over."""
    rows = content.split(b"\n")
    for i in range(600, 603):
        cells = rows[i].split(b",")
        cells[1] = b"123.4"
        rows[i] = b",".join(cells)
    return b"\n".join(rows)


def _reversed_columns(content: bytes) -> bytes:
    rows = content.split(b"\n")
    out = []
    for row in rows:
        cells = row.split(b",")
        out.append(b",".join([cells[0], *reversed(cells[1:])]) if len(cells) > 3 else row)
    return b"\n".join(out)


def _with_text(content: bytes) -> bytes:
    """Return the file with a logger's error word in one cell of twenty rows."""
    rows = content.split(b"\n")
    for i in range(200, 220):
        cells = rows[i].split(b",")
        cells[1] = b"I/O Timeout"
        rows[i] = b",".join(cells)
    return b"\n".join(rows)


def plan(plant: PlantScenario, ax: Axis, truths: list[Truth], rng: np.random.Generator) -> list[Fault]:
    """Return the faults planted in a plant, each on a day of its own where the plant runs."""
    del rng
    makers = {"alder-fork": _alder, "kestrel-mesa": _kestrel, "brenholm": _brenholm}
    return makers[plant.plant](plant, ax, truths)


def _busy(ax: Axis, t: Truth, day: int, first: int, minutes: int) -> slice | None:
    """Return minutes of a day, `first` minutes after processing begins there, or None where the plant does not run so long."""
    where = np.flatnonzero((ax.day_index == day) & t.processing)
    if len(where) < first + minutes or where[first + minutes - 1] - where[first] != minutes - 1:
        return None
    return slice(int(where[first]), int(where[first]) + minutes)


def _make(plant: PlantScenario, ax: Axis, t: Truth, kind: str, day: int, first: int, minutes: int, tag: str, effect: str, handled: str, amount: float = 0.0) -> list[Fault]:
    span = _busy(ax, t, day, first, minutes)
    if span is None:
        return []
    start, end = ax.utc[span.start], ax.utc[span.stop - 1] + timedelta(minutes=1)
    return [Fault(plant.plant, t.line, kind, start, end, f"{kind} of {tag}", effect, handled, span, tag, amount)]


def _file(plant: PlantScenario, ax: Axis, kind: str, day: int, name: str, effect: str, handled: str) -> list[Fault]:
    if day >= len(ax.days):
        return []
    zone = ZoneInfo(plant.zone)
    begin = datetime.combine(ax.days[day], datetime.min.time(), zone)
    file = name.format(day=ax.days[day])
    return [Fault(plant.plant, "", kind, begin, begin + timedelta(days=1), f"{kind} {file}", effect, handled, slice(0, 0))]


def _alder(plant: PlantScenario, ax: Axis, truths: list[Truth]) -> list[Fault]:
    one, scada = truths[0], "AF_SCADA_{day:%Y%m%d}.csv"
    out: list[Fault] = []
    out += _make(plant, ax, one, "flatline", 8, 60, 180, "FIT-110", "feed flow frozen for three hours", "no")
    out += _make(plant, ax, one, "out of range", 10, 90, 5, "FIT-110", "feed flow reads 9999", "yes", 9999.0)
    out += _make(plant, ax, one, "polymer outage", 15, 120, 25, "FIT-120", "neat polymer meter reads zero while feeding", "no")
    for first in (100, 160, 220):
        out += _make(plant, ax, one, "dry run", 17, first, 4, "FIT-110", "no flow while the pump turns", "no")
    for day in (22, 23, 24):
        out += _make(plant, ax, truths[1], "valve throttled", day, 0, 400, "PIT-213", "12 psi more before the mixing point", "no", 12.0)
    out += _make(plant, ax, one, "no record", 29, 60, 40, "FIT-110", "forty minutes without a record", "yes")
    out += _file(plant, ax, "late file", 9, scada, "a day's file nine days late", "yes")
    out += _file(plant, ax, "re-sent with changes", 4, scada, "the same name again with three rows changed", "no")
    out += _file(plant, ax, "duplicate file", 3, scada, "the same file twice", "yes")
    out += _file(plant, ax, "unit row changed", 11, scada, "the unit row says kPa: refused whole", "no")
    out += _file(plant, ax, "columns in another order", 2, scada, "columns reversed", "yes")
    out += _file(plant, ax, "text in number", 1, scada, "twenty cells hold a logger's error word", "yes")
    return out


def _kestrel(plant: PlantScenario, ax: Axis, truths: list[Truth]) -> list[Fault]:
    one, hist = truths[0], "km_hist_{day:%Y%m%d}.csv"
    out: list[Fault] = []
    for day, first in ((1, 200), (9, 400), (18, 300), (36, 500), (52, 250)):
        out += _make(plant, ax, one, "bad quality", day, first, 35, "FT510", "a burst of bad quality", "yes")
    out += _make(plant, ax, one, "polymer outage", 8, 300, 25, "FT520", "polymer meter reads zero while feeding", "no")
    out += _make(plant, ax, one, "plugged tap", 22, 100, 700, "PT512", "discharge pressure frozen", "no")
    out += _make(plant, ax, one, "totaliser reset", 30, 200, 1, "FQ510", "register set to zero", "yes")
    out += _file(plant, ax, "late file", 4, hist, "a day's file nine days late", "yes")
    out += _file(plant, ax, "duplicate file", 6, hist, "the same file twice", "yes")
    return out


def _brenholm(plant: PlantScenario, ax: Axis, truths: list[Truth]) -> list[Fault]:
    one, quarter = truths[0], "brenholm_15min_{day:%Y%m%d}.csv"
    out: list[Fault] = []
    out += _make(plant, ax, one, "out of range", 5, 300, 15, "FT31", "feed flow reads 99", "yes", 99.0)
    out += _make(plant, ax, one, "no record", 12, 300, 90, "FT31", "an hour and a half without a record", "yes")
    out += _file(plant, ax, "late file", 8, quarter, "a day's file nine days late", "yes")
    out += _file(plant, ax, "duplicate file", 3, quarter, "the same file twice", "yes")
    return out


def touched_days(made: list[Fault], plant: PlantScenario) -> dict[tuple[str, Any], bool]:
    """Return (line, operating day) of every day a fault can change -> whether a careful reader can undo all of them.

    Faults of whole files touch every line, on the operating days at both ends of the file.
    """
    zone = ZoneInfo(plant.zone)
    out: dict[tuple[str, Any], bool] = {}
    for f in made:
        for at in (f.start_utc, f.end_utc - timedelta(minutes=1)):
            local = (at.astimezone(zone) - timedelta(hours=plant.day_start_h)).date()
            for line in plant.lines:
                if not f.line or f.line == line.line:
                    key = (line.line, local)
                    out[key] = out.get(key, True) and f.handled == "yes"
    return out
