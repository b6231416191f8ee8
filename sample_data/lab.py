"""The plants' laboratories: what they sampled, how they erred, and the sheets they send.

A result is a `Result`; faults change results before they are written. Quiet results equal the truth of the day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

import numpy as np

from sample_data.axis import Axis
from sample_data.exports import File
from sample_data.process import Truth
from sample_data.scenario import PlantScenario

Days = dict[str, list[dict[str, Any]]]  # line -> truth rows, one per operating day
TS_SD, CAKE_SD, TSS_SD, VS_SD = 0.05, 0.56, 0.15, 0.6  # lognormal, points, lognormal, points: sampling and analysis together
DUPLICATES, REVISIONS, ESTIMATED = 0.10, 0.03, 0.03  # shares of results
LAB_POINTS = {
    "feed": ("CF1 feed", "centrifuge feed", "digester to CF1"),
    "cake": ("CF1 cake", "cake"),
    "filtrate": ("centrate", "CF1 centrate"),
}
_WORDS = {"ts": ("TS", "total solids"), "vs": ("VS", "volatile solids"), "tss": ("TSS", "suspended solids")}
_SUFFIX = {"feed": "F", "cake": "C", "filtrate": "X"}
_METHODS = {"ts": "2540 G", "vs": "2540 G", "tss": "2540 D"}
_DIGITS = {("feed", "ts"): 2, ("cake", "ts"): 1, ("filtrate", "tss"): 0, ("feed", "vs"): 1}
ALDER_HEAD = "Date,Crew," + ",".join(f"BFP {n} {what}" for n in (1, 2) for what in ("Feed TS %", "Cake TS %", "Filtrate TSS mg/L"))


@dataclass(frozen=True)
class Result:
    """One result as the lab writes it; `known_days` after the operating day it is on a sheet."""

    line: str
    day: int  # operating day
    point: str  # feed, cake, filtrate
    analyte: str  # ts, vs, tss
    value: float
    unit: str
    known_days: int = 1
    at: datetime | None = None  # wall clock, where the lab notes it
    sample: str = ""
    flag: str = ""
    place: str = ""
    word: str = ""


def results(plant: PlantScenario, ax: Axis, truths: list[Truth], days: Days, rng: np.random.Generator, quiet: bool) -> list[Result]:
    """Return all results of a plant in the order of sampling, as the lab would report them if nothing odd happened."""
    make = _timed if plant.plant == "sorrel-draw" else _daily
    return make(plant, ax, truths, days, rng, quiet)


def _seen(point: str, analyte: str, true: float, rng: np.random.Generator, quiet: bool) -> float:
    if quiet:
        return true
    shock = float(rng.standard_normal())
    if analyte == "vs":
        return true + VS_SD * shock
    return true + CAKE_SD * shock if point == "cake" else true * float(np.exp((TS_SD if analyte == "ts" else TSS_SD) * shock))


_TRUE = {("feed", "ts"): "feed_ts_pct", ("cake", "ts"): "cake_ts_pct", ("filtrate", "tss"): "filtrate_tss_mg_l", ("feed", "vs"): "vs_pct"}


def _daily(plant: PlantScenario, ax: Axis, truths: list[Truth], days: Days, rng: np.random.Generator, quiet: bool) -> list[Result]:
    """One composite a day and line: feed TS, cake TS, filtrate TSS; at the third plant on weekends only during the trial, unless quiet."""
    out, weekends = [], rng.spawn(1)[0]
    for i, day in enumerate(ax.days):
        for t in truths:
            row = days[t.line][i]
            is_weekend = plant.plant == "brenholm" and day.isoweekday() > 5 and not quiet
            if row["processing_h"] < 2.0 or (is_weekend and row["rung"] == 0.0):
                continue
            draw = weekends if is_weekend else rng
            for (point, analyte), name in list(_TRUE.items())[:3]:
                known = 1 if quiet else int(draw.choice((1, 2, 3), p=(0.6, 0.3, 0.1)))
                unit = "mg/L" if analyte == "tss" or (plant.plant == "brenholm" and point == "feed") else "%"
                value = _seen(point, analyte, row[name], draw, quiet) * (1e4 if unit == "mg/L" and analyte == "ts" else 1.0)
                out.append(Result(t.line, i, point, analyte, value, unit, known))
    return out


def _timed(plant: PlantScenario, ax: Axis, truths: list[Truth], days: Days, rng: np.random.Generator, quiet: bool) -> list[Result]:
    """Three feed samples a day, two of cake and centrate, one VS, each with its time; grabs see the minute, quiet ones the day."""
    del plant
    t, out = truths[0], []
    for i in range(len(ax.days)):
        minutes = np.flatnonzero((ax.day == i) & t.processing)
        if len(minutes) < 120:
            continue
        for k, share in enumerate((1, 3, 5)):
            m = int(minutes[len(minutes) * share // 6])
            row = days[t.line][i] if quiet else _grab(t, m)
            for (point, analyte), key in _TRUE.items():
                if (analyte == "vs" and k > 0) or (point != "feed" and k == 2):
                    continue
                first = _numbered(
                    ax, i, m, k, Result(t.line, i, point, analyte, _seen(point, analyte, float(row[key]), rng, quiet), ""), rng, quiet
                )
                out += [first] if quiet else [first, *_again(first, rng)]
    return out


def _grab(t: Truth, m: int) -> dict[str, Any]:
    """Return what a bottle holds that was filled in a minute."""
    return {
        "feed_ts_pct": t.sludge.ts_pct[m], "cake_ts_pct": t.cake_ts_pct[m], "filtrate_tss_mg_l": t.filtrate_tss_mg_l[m],
        "vs_pct": t.sludge.vs_pct[m],
    }  # fmt: skip


def _numbered(ax: Axis, day: int, minute: int, k: int, r: Result, rng: np.random.Generator, quiet: bool) -> Result:
    """Return a result with sample number, time, unit, words and the day it is reported."""
    pick, known, flag = (day + k) % 2, 1, ""
    if not quiet:
        pick, known = int(rng.integers(0, 6)), int(rng.choice((1, 2, 3), p=(0.6, 0.3, 0.1)))
        flag = "J" if rng.random() < ESTIMATED else ""
    places = LAB_POINTS[r.point]
    return replace(
        r, unit={"ts": "%", "vs": "% of TS", "tss": "mg/L"}[r.analyte], known_days=known, at=ax.local[minute], flag=flag,
        sample=f"K{ax.days[day]:%y%m%d}-{k + 1}{_SUFFIX[r.point]}", place=places[pick % len(places)], word=_WORDS[r.analyte][pick % 2],
    )  # fmt: skip


def _again(first: Result, rng: np.random.Generator) -> list[Result]:
    """Return a duplicate of a sample, or a revision some days later, now and then."""
    near = float(np.exp(rng.standard_normal() * 0.02))
    chance = rng.random()
    if chance < DUPLICATES:
        return [replace(first, value=first.value * near)]
    if chance < DUPLICATES + REVISIONS:
        return [replace(first, value=first.value * near, known_days=first.known_days + 3)]
    return []


def _text(r: Result, quiet: bool) -> str:
    if quiet:
        return f"{r.value:.9g}"
    return f"{r.value:.0f}" if r.unit == "mg/L" else f"{r.value:.{_DIGITS[r.point, r.analyte]}f}"


def sheets(plant: PlantScenario, ax: Axis, found: list[Result], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Return the lab's files."""
    write: Callable[[Axis, list[Result], np.random.Generator, bool], list[File]]
    write = {"alder-fork": _alder, "sorrel-draw": _sorrel, "brenholm": _brenholm}[plant.plant]
    return write(ax, found, rng, quiet)


def _lands(day: date, rng: np.random.Generator, quiet: bool) -> datetime:
    """Return when a sheet made on a day lands: that afternoon, or one day later."""
    late = 0 if quiet else int(rng.random() < 0.3)
    return datetime.combine(day + timedelta(days=late), time(14)) + timedelta(minutes=0 if quiet else int(rng.integers(0, 120)))


def _alder(ax: Axis, found: list[Result], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Cumulative sheet of the last three weeks on Tuesdays, Fridays and at the end: one row a day, crew letter, no times."""
    columns = [(line, point) for line in ("line-1", "line-2") for point in ("feed", "cake", "filtrate")]
    by_day: dict[int, dict[tuple[str, str], Result]] = {}
    for r in found:
        by_day.setdefault(r.day, {})[r.line, r.point] = r
    files = []
    for i, made in enumerate([*ax.days[1:], ax.days[-1] + timedelta(days=1)], 1):
        last = i == len(ax.days)
        if made.isoweekday() not in (2, 5) and not last:
            continue
        rows, totals = [], [[] for _ in columns]
        for d in range(max(0, i - 21), i):
            known = {k: r for k, r in by_day.get(d, {}).items() if d + r.known_days <= i or last}
            if known:
                rows.append(
                    ",".join([f"{ax.days[d]:%m/%d/%Y}", "AB"[d // 7 % 2], *(_text(known[c], quiet) if c in known else "" for c in columns)])
                )
                for c, values in zip(columns, totals, strict=True):
                    values += [known[c].value] if c in known else []
        mean = ",".join(["Mean", "", *(f"{np.mean(v):.2f}" if v else "" for v in totals)])
        text = "\n".join(["Alder Fork dewatering laboratory (invented)", ALDER_HEAD, *rows, mean]) + "\n"
        files.append(File(f"ALDER_LAB_{made:%Y%m%d}.csv", text.encode(), _lands(made, rng, quiet)))
    return files


def _brenholm(ax: Axis, found: list[Result], rng: np.random.Generator, quiet: bool) -> list[File]:
    """One sheet a week, made on Tuesday; sheets of weeks that begin in February give the cake as moisture."""
    by_day: dict[int, dict[str, Result]] = {}
    for r in found:
        by_day.setdefault(r.day, {})[r.point] = r
    files = []
    for first in range(0, len(ax.days), 7):
        wet = ax.days[first].month == 2
        rows = []
        for d in range(first, min(first + 7, len(ax.days))):
            if d in by_day:
                cake = by_day[d].get("cake")
                shown = {**by_day[d], **({"cake": replace(cake, value=100.0 - cake.value)} if wet and cake else {})}
                cells = [_text(shown[p], quiet).replace(".", ",") if p in shown else "" for p in ("feed", "cake", "filtrate")]
                rows.append(";".join([f"{ax.days[d]:%d-%m-%Y}", *cells]))
        head = f"Dato;Slam TS mg/L;{'Kage vandindhold %' if wet else 'Kage TS %'};Filtrat SS mg/L"
        made = ax.days[first] + timedelta(days=8)
        files.append(File(f"brenholm_lab_{made:%Y%m%d}.csv", ("\n".join([head, *rows]) + "\n").encode("latin-1"), _lands(made, rng, quiet)))
    return files


def _sorrel(ax: Axis, found: list[Result], rng: np.random.Generator, quiet: bool) -> list[File]:
    """One long sheet a day of what became known, each result with sample number, time, place, unit, flag, report time."""
    head = "sample_id,collected,location,parameter,result,units,flag,reported,method"
    by_known: dict[int, list[Result]] = {}
    for r in found:
        by_known.setdefault(r.day + r.known_days, []).append(r)
    files = []
    for i in sorted(by_known):
        made = ax.days[0] + timedelta(days=i)
        reported = f"{made:%Y-%m-%d} 11:30"
        rows = [
            f"{r.sample},{r.at:%Y-%m-%d %H:%M},{r.place},{r.word},{_text(r, quiet)},{r.unit},{r.flag},{reported},{_METHODS[r.analyte]}"
            for r in by_known[i]
        ]
        files.append(File(f"sorrel_lab_{made:%Y%m%d}.csv", ("\n".join([head, *rows]) + "\n").encode(), _lands(made, rng, quiet)))
    return files
