"""Flags that rest on weeks and days, not on minutes: doubted meters, open balances, doses off their usual. Recomputed each run.

They are few and cheap, and an episode can grow at either end, so that all of them are made again from `meter_integrity` and `kpi_day`
whenever days were judged: what an incremental run gives is then what a rebuild gives.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import groupby

import polars as pl

from pipelines.base import units
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from pipelines.watch import causes, doses, drift
from pipelines.watch.doses import DoseDay, OffDays
from pipelines.watch.integrity import week_flags
from pipelines.watch.standing import standing_on
from pipelines.watch.words import Flag
from schemas.detectors import NOTE, THIS_WEEK

OVER, UNDER, DRIFTS, OFF = "overdosing", "dose low", "flow per revolution drifts", "flow per revolution off"
DETECTORS = (*week_flags.DETECTORS, OVER, UNDER, DRIFTS, OFF)


def found(store: Store, plant_file: PlantFile) -> list[tuple[Flag, str]]:
    """Return all of them, each with the data version of its last week or day, in order of line and time."""
    rows = store.frame("SELECT * FROM meter_integrity ORDER BY line, role, week_start_day").to_dicts()
    flags = [*week_flags.week_flags(rows, plant_file.calendar), *_of_doses(store, plant_file), *_drifts(store, plant_file)]
    return sorted(flags, key=lambda f: (f[0].line, f[0].start, f[0].detector, f[0].role or ""))


def _of_doses(store: Store, plant_file: PlantFile) -> Iterator[tuple[Flag, str]]:
    rows = store.rows(
        "SELECT line, operating_day, dose_active_kg_t, data_version FROM kpi_day WHERE dose_active_kg_t > 0 ORDER BY line, operating_day"
    )
    tests = {(line, day) for line, first, last in store.rows("SELECT line, first_day, last_day FROM ladder_steps") for day in (first, last)}
    for line, of_line in groupby(rows, key=lambda r: str(r[0])):
        if line not in {x.id for x in plant_file.lines}:
            continue
        days = [DoseDay(day, dose, standing_on(plant_file, line, day), (line, day) in tests, version) for _, day, dose, version in of_line]
        for off in doses.off_days(days, plant_file.watch):
            yield _flag(plant_file, line, off), off.days[-1].data_version


def _flag(plant_file: PlantFile, line: str, off: OffDays) -> Flag:
    first, last = off.days[0].day, off.days[-1].day
    start, end = plant_file.calendar.day_start(first), plant_file.calendar.day_end(last)
    over = off.ratio > 1
    unit = "lb/dt" if plant_file.plant.units == "US" else "kg/t"
    usual, seen = (f"{units.from_si(x, unit):.1f}" for x in (off.usual_kg_t, off.usual_kg_t * off.ratio))
    days = f"{len(off.days)} day{'s' if len(off.days) > 1 else ''}"
    says = f"The dose was {seen} {unit} active on {days}, {abs(100 * (off.ratio - 1)):.0f} % {'above' if over else 'below'} the usual {usual} of this arrangement."
    facts = {"dose_active_kg_t": off.usual_kg_t * off.ratio, "usual_kg_t": off.usual_kg_t, "ratio": off.ratio, "days": len(off.days)}
    minutes = int((end - start).total_seconds() // 60)
    return Flag(OVER if over else UNDER, line, None, first, start, end, minutes, THIS_WEEK, says, facts)


def _drifts(store: Store, plant_file: PlantFile) -> Iterator[tuple[Flag, str]]:
    """Return days off the usual flow per revolution, and the drift of each line and arrangement that stands at the end of its days."""
    rows = store.rows(
        "SELECT line, operating_day, pumped_m3 / revolutions, data_version FROM meter_days WHERE pump_minutes >= 120 AND pumped_m3 > 0 "
        "AND revolutions > 0 ORDER BY line, operating_day"
    )
    series: dict[tuple[str, object], list[tuple[date, float, str]]] = {}
    for line, day, value, version in rows:
        if line in {x.id for x in plant_file.lines} and (stands := standing_on(plant_file, line, day)) is not None:
            series.setdefault((line, stands), []).append((day, value, version))
    for (line, _), days in series.items():
        version_of = {day: version for day, _, version in days}
        for off in drift.off_days([(day, value) for day, value, _ in days], plant_file.watch):
            yield _off(plant_file, line, off), version_of[off.last]
        found = drift.drift([(day, value) for day, value, _ in days], plant_file.watch)
        if found is not None:
            start, end = plant_file.calendar.day_start(found.first), plant_file.calendar.day_end(found.last)
            side = "more" if found.change > 0 else "less"
            says = f"The pump gives {abs(100 * found.change):.0f} % {side} a revolution than in the first days of this arrangement, since about {found.first}."
            facts = {"change_pct": 100.0 * found.change, "days": found.days}
            minutes = int((end - start).total_seconds() // 60)
            yield Flag(DRIFTS, line, "sludge_flow", found.first, start, end, minutes, NOTE, says, facts), days[-1][2]


def _off(plant_file: PlantFile, line: str, off: drift.OffDays) -> Flag:
    start, end = plant_file.calendar.day_start(off.first), plant_file.calendar.day_end(off.last)
    side, days = "more" if off.change > 0 else "less", f"{off.days} day{'s' if off.days > 1 else ''}"
    says = f"The pump gave {abs(100 * off.change):.0f} % {side} a revolution on {days} than on the days before in this arrangement."
    facts = {"change_pct": 100.0 * off.change, "days": off.days, "limit_pct": plant_file.watch.flow_per_revolution_pct}
    return Flag(OFF, line, "sludge_flow", off.first, start, end, int((end - start).total_seconds() // 60), THIS_WEEK, says, facts)


def note_causes(store: Store) -> None:
    """Bring the column `cause_id` of all flags up to date."""
    rows = store.frame(
        "SELECT line, flag_id, detector, role, start_utc, end_utc, cause_id FROM flags ORDER BY line, start_utc, flag_id"
    ).to_dicts()
    of = causes.cause_ids(rows)
    changed = [(r["line"], r["flag_id"], of[r["line"], r["flag_id"]]) for r in rows if of[r["line"], r["flag_id"]] != r["cause_id"]]
    if changed:
        frame = pl.DataFrame(changed, schema=["line", "flag_id", "cause_id"], orient="row")
        store.con.execute(
            "UPDATE flags f SET cause_id = c.cause_id FROM (SELECT unnest($line) AS line, unnest($flag) AS flag_id, unnest($cause) AS cause_id) c "
            "WHERE f.line = c.line AND f.flag_id = c.flag_id",
            {"line": frame["line"].to_list(), "flag": frame["flag_id"].to_list(), "cause": frame["cause_id"].to_list()},
        )
