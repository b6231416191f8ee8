"""The plants' laboratories: what they sampled, how they erred, and the sheets they send."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from sample_data.exports import File
from sample_data.scenario import PlantScenario
from sample_data.simulate import Axis, Truth

_Rows = list[dict[str, Any]]


def sheets(plant: PlantScenario, ax: Axis, truths: list[Truth], days: dict[str, _Rows], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Return all lab files of a plant; `days` are the truth rows per line."""
    if plant.plant == "alder-fork":
        return _alder(ax, days, rng, quiet)
    if plant.plant == "brenholm":
        return _brenholm(ax, days, rng, quiet)
    return _kestrel(ax, truths[0], days["line-1"], rng, quiet)


def _seen(row: dict[str, Any], rng: np.random.Generator, quiet: bool) -> dict[str, float]:
    """Return feed TS, cake TS and filtrate TSS as one day's composite shows them."""
    if quiet:
        return {k: row[k] for k in ("feed_ts_pct", "cake_ts_pct", "filtrate_tss_mg_l")}
    return {
        "feed_ts_pct": row["feed_ts_pct"] * float(np.exp(rng.standard_normal() * 0.05)),
        "cake_ts_pct": row["cake_ts_pct"] + float(rng.standard_normal()) * 0.4,
        "filtrate_tss_mg_l": row["filtrate_tss_mg_l"] * float(np.exp(rng.standard_normal() * 0.15)),
    }


def _number(value: float, digits: int, quiet: bool) -> str:
    return repr(round(float(value), 9)) if quiet else f"{value:.{digits}f}"


def _alder(ax: Axis, days: dict[str, _Rows], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Cumulative sheet of the month so far, sent on Tuesdays and Fridays."""
    head = "Date,Crew," + ",".join(f"BFP {n} {what}" for n in (1, 2) for what in ("Feed TS %", "Cake TS %", "Filtrate TSS mg/L"))
    lines: dict[date, str] = {}
    for i, day in enumerate(ax.days):
        cells = []
        for line in ("line-1", "line-2"):
            row = days[line][i]
            if "dry_solids_t" not in row:
                cells += ["", "", ""]
                continue
            s = _seen(row, rng, quiet)
            cells += [_number(s["feed_ts_pct"], 2, quiet), _number(s["cake_ts_pct"], 1, quiet), _number(s["filtrate_tss_mg_l"], 0, quiet)]
        if any(cells):
            lines[day] = f"{day:%m/%d/%Y},{'AB'[(i // 7) % 2]}," + ",".join(cells)
    files = []
    for i, day in enumerate(ax.days):
        if day.isoweekday() in (2, 5) or i == len(ax.days) - 1:
            month = [lines[d] for d in ax.days[: i + 1] if d in lines and d >= day - timedelta(days=20)]
            text = "Alder Fork dewatering lab (invented)\n" + head + "\n" + "\n".join(month) + "\nMean,,,,,,,\n"
            files.append(File(f"AF_LAB_{day:%Y%m%d}.csv", text.encode(), day, 40.0))
    return files


def _brenholm(ax: Axis, days: dict[str, _Rows], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Weekly sheet; in February the laboratory reports moisture of the cake instead of solids."""
    files = []
    for week in range(len(ax.days) // 7):
        span = range(week * 7, week * 7 + 7)
        wet = ax.days[week * 7].month == 2
        rows = []
        for i in span:
            row = days["line-1"][i]
            if "dry_solids_t" not in row:
                continue
            s = _seen(row, rng, quiet)
            cake = 100.0 - s["cake_ts_pct"] if wet else s["cake_ts_pct"]
            cells = [_number(s["feed_ts_pct"] * 1e4, 0, quiet), _number(cake, 1, quiet), _number(s["filtrate_tss_mg_l"], 0, quiet)]
            rows.append(f"{ax.days[i]:%d-%m-%Y};" + ";".join(c.replace(".", ",") for c in cells))
        head = f"Dato;Slam TS mg/L;{'Kage vandindhold %' if wet else 'Kage TS %'};Filtrat SS mg/L"
        day = ax.days[span[-1]]
        files.append(File(f"brenholm_lab_{day:%Y%m%d}.csv", (head + "\n" + "\n".join(rows) + "\n").encode("latin-1"), day, 30.0))
    return files


def _kestrel(ax: Axis, t: Truth, days: _Rows, rng: np.random.Generator, quiet: bool) -> list[File]:
    """One long sheet a day, one or two days late; duplicates, a non-detect now and then, revisions in later files."""
    files = []
    pending: _Rows = []
    for i, day in enumerate(ax.days):
        rows = _samples(ax, t, days[i], i, rng, quiet) if "dry_solids_t" in days[i] else []
        revised = [r for r in pending if r["due"] == i]
        pending += [{**r, "due": i + 3, "result": f"{float(r['result']) * 1.03:.3f}", "flag": ""} for r in rows if not quiet and not r["flag"] and rng.random() < 0.03]
        every = rows + revised
        if not every:
            continue
        reported = datetime.combine(day + timedelta(days=1), datetime.min.time()) + timedelta(hours=15)
        head = "sample_id,collected,location,parameter,result,units,flag,reported,method\n"
        body = "".join(
            f"{r['sample']},{r['at']:%Y-%m-%d %H:%M},{r['location']},{r['parameter']},{r['result']},{r['units']},{r['flag']},{reported:%Y-%m-%d %H:%M},{r['method']}\n" for r in every
        )
        files.append(File(f"km_lab_{day:%Y%m%d}.csv", (head + body).encode(), day, 34.0))
    return files


def _samples(ax: Axis, t: Truth, truth: dict[str, Any], i: int, rng: np.random.Generator, quiet: bool) -> _Rows:
    where = np.flatnonzero((ax.day_index == i) & t.processing)
    out: _Rows = []
    for k, at in enumerate(where[(len(where) * np.array([1, 3, 5])) // 6]):
        clock: datetime = ax.local[int(at)]
        base = {"at": clock, "method": "2540B", "flag": "", "units": "%"}
        ts = float(t.ts[at]) * (1.0 if quiet else float(np.exp(rng.standard_normal() * 0.05)))
        sample = f"K{ax.days[i]:%y%m%d}-{k + 1}"
        out.append({**base, "sample": f"{sample}F", "location": "CF1 feed", "parameter": "TS", "result": _number(ts, 2, quiet)})
        if not quiet and rng.random() < 0.1:
            out.append({**out[-1], "result": _number(ts * float(np.exp(rng.standard_normal() * 0.03)), 2, quiet)})
        if k == 2:
            continue
        cake, filtrate = (truth["cake_ts_pct"], truth["filtrate_tss_mg_l"])
        if not quiet:
            cake = float(t.cake[at]) + float(rng.standard_normal()) * 0.5
            filtrate = float(t.filtrate[at]) * 1e4 * float(np.exp(rng.standard_normal() * 0.15))
        out.append({**base, "sample": f"{sample}C", "location": "CF1 cake", "parameter": "total solids", "result": _number(cake, 1, quiet)})
        out.append({**base, "sample": f"{sample}X", "location": "centrate", "parameter": "TSS", "result": _number(filtrate, 0, quiet), "units": "mg/L", "method": "2540D"})
    return out


def frame(rows: _Rows) -> pl.DataFrame:
    """Return rows as a frame."""
    return pl.DataFrame(rows, infer_schema_length=None)
