"""Compute: run the SQL of `sql/` over the pending days and merge its tables into the store. This package holds no formula."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from pipelines.base import clock
from pipelines.base.errors import InternalError
from pipelines.base.receipts import StepReceipt
from pipelines.compute import register_days, settings
from pipelines.compute.table_build import is_asked, make_all
from pipelines.plant import limits
from pipelines.plant.model import PlantFile
from pipelines.store import Store, plant_file_versions
from pipelines.store.sql_files import create_macros_once
from schemas import TABLES

PIECE_DAYS = 62  # computed in one piece, so that memory use does not grow with a backfill
_TOUCHED = "operating_day IN (SELECT operating_day FROM work.touched_days)"
_HOURS = "window_name IN ('1 h', '8 h', '24 h') AND operating_day IN (SELECT operating_day FROM work.rolling_hour_days)"
_SPANS = f"window_name IN {tuple(limits.ROLLING_SPANS)} AND operating_day IN (SELECT operating_day FROM work.rolling_days)"
# Tables of the store, and the condition on rows that new rows replace.
MERGED = {
    "arrangement_days": _TOUCHED,
    "kpi_hour": _TOUCHED,
    "kpi_shift": _TOUCHED,
    "kpi_day": _TOUCHED,
    "kpi_week": "week_start_day IN (SELECT week_start_day FROM work.touched_weeks)",
    "kpi_rolling": f"({_HOURS}) OR ({_SPANS})",
    "runs": "EXISTS (SELECT 1 FROM work.runs_span s WHERE s.line = runs.line AND runs.start_utc < s.to_utc AND runs.end_utc > s.from_utc)",
    "data_quality": _TOUCHED,
    "line_day": _TOUCHED,
    "pump_weeks": "week_start_day IN (SELECT week_start_day FROM work.touched_weeks)",
    "dose_steps": "EXISTS (SELECT 1 FROM work.touched_days t WHERE t.operating_day BETWEEN dose_steps.first_day AND dose_steps.last_day)",
}


def run(store: Store, plant_file: PlantFile) -> StepReceipt:
    """Compute the pending days of a plant, a piece of days at a time.

    A piece is computed in `work` (memory); then one transaction merges it, marks the days for watch and publish and clears
    them from the list, so a kill costs one piece at most. Every table the SQL reads from `main` is complete for the days
    before the piece; later pieces recompute spans that cross the boundary.
    """
    started, rows, done = clock.stopwatch(), dict.fromkeys(MERGED, 0), 0
    if not store.pending_days("compute") and settings.are_written(store):
        return StepReceipt("compute", 0, {}, clock.stopwatch() - started)
    with store.transaction():
        settings.write(store, plant_file)
        _drop_of_old(store, plant_file)
        create_macros_once(store.con)
    existing = _existing(store)
    for piece in _pieces(store, existing):
        days_to_work(store, plant_file.plant.week_start_number, piece, existing)
        store.to_work("register_days", register_days.frame(store, plant_file, piece))
        make_all(store)
        with store.transaction():
            for name, where in MERGED.items():
                rows[name] += _merge(store, name, where) if is_asked(store, name) else 0
            store.mark_days("watch", _reach(piece, limits.CURVE_DAYS, existing))
            store.mark_days("publish", _reach(piece, limits.ROLLING_DAYS - 1, existing))
            store.con.execute(f"DELETE FROM pending_days WHERE stage = 'compute' AND {_TOUCHED}")
        done += len(piece)
    with store.transaction():
        _forget(store, existing)
        store.clear_days("compute")
    return StepReceipt("compute", done, rows, clock.stopwatch() - started)


def will_mark_watch(store: Store) -> list[date]:
    """Return the days that `run` will mark for watch."""
    existing = _existing(store)
    marked = _reach([day for piece in _pieces(store, existing) for day in piece], limits.CURVE_DAYS, existing)
    return sorted({*marked, *(d for d in store.pending_days("watch") if existing[0] <= d <= existing[1])})


def _drop_of_old(store: Store, plant_file: PlantFile) -> None:
    """Delete rows of an earlier plant file: weeks that start on another weekday, and runs of lines since removed."""
    first = {"first": plant_file.plant.week_start_number}
    for name in ("kpi_week", "pump_weeks"):
        other = f"FROM main.{name} WHERE isodow(week_start_day) <> $first"
        store.mark_days("publish", [day for (day,) in store.rows(f"SELECT DISTINCT week_start_day {other}", first)])
        store.con.execute(f"DELETE {other}", first)
    store.con.execute("DELETE FROM main.runs WHERE NOT list_contains($lines, line)", {"lines": [line.id for line in plant_file.lines]})


def _forget(store: Store, existing: tuple[date, date]) -> None:
    """Delete rows of operating days that no longer have minutes (the start of the operating day may have changed)."""
    if all(existing[0] <= d <= existing[1] for d in store.pending_days("compute")):
        return
    gone = set[date]()
    for name in MERGED:
        column = next((c for c in ("operating_day", "week_start_day") if c in TABLES[name].column_names), None)
        if column is not None:
            within = {"first": existing[0] - timedelta(days=6) if column == "week_start_day" else existing[0], "last": existing[1]}
            outside = f"FROM main.{name} WHERE {column} < $first OR {column} > $last"
            gone |= {day for (day,) in store.rows(f"SELECT DISTINCT {column} {outside}", within)}
            store.con.execute(f"DELETE {outside}", within)
    store.mark_days("publish", gone)


def _existing(store: Store) -> tuple[date, date]:
    """Return the first and last operating day in minutes; an empty span when there are none."""
    first, last = store.rows("SELECT min(operating_day), max(operating_day) FROM minutes")[0]
    return (first or date.max, last or date.min)


def _pieces(store: Store, existing: tuple[date, date]) -> list[list[date]]:
    """Return the pending days that exist in minutes, in pieces."""
    days = [d for d in store.pending_days("compute") if existing[0] <= d <= existing[1]]
    return [days[k : k + PIECE_DAYS] for k in range(0, len(days), PIECE_DAYS)]


def _reach(days: list[date], more: int, existing: tuple[date, date]) -> list[date]:
    """Return the days and the `more` after each of them, cut to the days that exist."""
    return sorted({r for d in days for k in range(more + 1) if (r := d + timedelta(days=k)) <= existing[1]})


def days_to_work(store: Store, week_start: int, days: list[date], existing: tuple[date, date]) -> None:
    """Write the tables in `work` that list the days, weeks (starting on ISO weekday `week_start`) and windows to compute."""
    hours = _reach(days, 1, existing)  # a 24 h window extends into the next day
    spans = {
        "touched_days": ("operating_day", days),
        "rolling_hour_days": ("operating_day", hours),
        "rolling_days": ("operating_day", _reach(days, limits.ROLLING_DAYS - 1, existing)),
        "needed_days": ("operating_day", sorted({n for d in hours for k in (1, 0) if (n := d - timedelta(days=k)) >= existing[0]})),
        "touched_weeks": ("week_start_day", sorted({d - timedelta(days=(d.isoweekday() - week_start) % 7) for d in days})),
    }
    for table, (column, values) in spans.items():
        store.to_work(table, pl.DataFrame({column: values}, schema={column: pl.Date}))
    store.to_work("long_spans", _long_spans(spans["touched_weeks"][1], spans["rolling_days"][1]))
    store.to_work("limits", pl.DataFrame([limits.sql_row()]))
    store.to_work("register_days", pl.DataFrame(schema=register_days.SCHEMA))  # `run` fills it
    store.to_work("plant_file", pl.DataFrame({"plant_file_id": [plant_file_versions.recipe_id(store)]}))


def _long_spans(weeks: list[date], rolling_days: list[date]) -> pl.DataFrame:
    """Return kind, anchor, first and last day of each week (anchor: its first day) and rolling span of days (its last day) to compute."""
    rows = [("week", w, w, w + timedelta(days=limits.WEEK_DAYS - 1)) for w in weeks]
    for kind, length in limits.ROLLING_SPANS.items():
        rows += [(kind, d, d - timedelta(days=length - 1), d) for d in rolling_days]
    schema = {"kind": pl.String, "anchor": pl.Date, "first_day": pl.Date, "last_day": pl.Date}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _merge(store: Store, name: str, where: str) -> int:
    """Replace the store's rows that match `where` by the computed rows, which are sorted by key."""
    found = tuple(r[0] for r in store.rows(f"SELECT column_name FROM (DESCRIBE work.{name})"))
    if found != TABLES[name].column_names:
        odd = set(found) ^ set(TABLES[name].column_names)
        raise InternalError(f"sql/tables/{name}.sql does not have the columns of schemas/{name}.py: {sorted(odd) or 'order differs'}")
    store.con.execute(f"DELETE FROM main.{name} WHERE {where}")
    written = store.rows(f"INSERT INTO main.{name} SELECT * FROM work.{name}")
    return int(written[0][0])
