"""Writes `meter_days` and `meter_integrity`; both in the transaction of the watch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import polars as pl

from pipelines.plant.model import PlantFile
from pipelines.store import Store, plant_file_versions
from pipelines.watch.integrity.day_facts import DayFacts
from pipelines.watch.integrity.weeks import Weeks, week_of, weeks_reached
from schemas import TABLES


def write_days(store: Store, pending: Sequence[date], facts: Sequence[DayFacts], versions: dict[date, str]) -> None:
    """Replace the facts of the pending days."""
    store.con.execute("DELETE FROM meter_days WHERE list_contains($d, operating_day)", {"d": pending})
    rows = [f.row(store.plant, versions[f.operating_day]) for f in facts]
    store.append("meter_days", pl.DataFrame(rows, schema=TABLES["meter_days"].polars_schema()))


def write_weeks(store: Store, plant_file: PlantFile, pending: Sequence[date]) -> list[date]:
    """Judge the weeks that rest on some days again; returns the days of those whose verdicts changed, to be published."""
    if not pending:
        return []
    first_day, last_day = store.rows("SELECT min(operating_day), max(operating_day) FROM meter_days")[0]
    start = plant_file.plant.week_start_number
    store.con.execute("DELETE FROM meter_integrity WHERE isodow(week_start_day) <> $start", {"start": start})
    weeks = weeks_reached(pending, start, max(last_day or pending[-1], pending[-1]))
    existing = [w for w in weeks if last_day is not None and week_of(first_day, start) <= w <= last_day]
    frame = _judged(store, plant_file, existing)
    before = store.frame(
        "SELECT * FROM meter_integrity WHERE list_contains($w, week_start_day) ORDER BY week_start_day, line, role", w=weeks
    )
    changed = _differ(before, frame)
    if changed:
        store.con.execute("DELETE FROM meter_integrity WHERE list_contains($w, week_start_day)", {"w": changed})
        store.append("meter_integrity", frame.filter(pl.col("week_start_day").is_in(changed)))
    return changed


def _judged(store: Store, plant_file: PlantFile, weeks: Sequence[date]) -> pl.DataFrame:
    schema = TABLES["meter_integrity"].polars_schema()
    if not weeks:
        return pl.DataFrame(schema=schema)
    source = Weeks(store, plant_file, weeks[0], weeks[-1] + timedelta(days=7))
    versions = week_versions(store, weeks)
    rows = [v.row(store.plant, versions[week]) for week in weeks for v in source.verdicts(week)]
    return pl.DataFrame(rows, schema=schema).sort("week_start_day", "line", "role")


def _differ(before: pl.DataFrame, after: pl.DataFrame) -> list[date]:
    """Return the weeks whose rows are not the same in both."""
    old, new = (f.partition_by("week_start_day", as_dict=True) for f in (before.select(after.columns), after))
    return sorted(week for (week,) in {*old, *new} if (week,) not in old or (week,) not in new or not old[week,].equals(new[week,]))


def week_versions(store: Store, weeks: Sequence[date]) -> dict[date, str]:
    """Return the data version of each week: the recipe of sql/tables/span_versions.sql over its seven days."""
    found = store.rows(
        "SELECT w, substr(md5(coalesce(string_agg(DISTINCT l.load_id, '' ORDER BY l.load_id), '') || $plant_file), 1, 12) "
        "FROM (SELECT unnest($weeks::DATE[]) AS w) LEFT JOIN (SELECT load_id, operating_day FROM load_days UNION ALL "
        "SELECT correction_id, operating_day FROM corrections_applied WHERE source = 'disposition') l ON l.operating_day BETWEEN w AND w + 6 "
        "GROUP BY w",
        {"weeks": weeks, "plant_file": plant_file_versions.recipe_id(store)},
    )
    return {r[0]: str(r[1]) for r in found}
