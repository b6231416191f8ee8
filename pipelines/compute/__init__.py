"""Compute: runs the SQL of `sql/` over the days at hand and merges what it makes into the store. No formula lives here."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import polars as pl

from pipelines import clock, packaged
from pipelines.chunks import StepReceipt
from pipelines.compute import settings
from pipelines.errors import InternalError
from pipelines.plantfile import PlantFile
from pipelines.sqlfiles import create_macros_and_views
from pipelines.store import Store
from schemas import TABLES

CURVE_DAYS = 14  # flags fit curves on so many days before: they follow
ROLLING_DAYS = 27  # the longest window reaches so many days on
# In this order: each file makes its table in `work` from those before it.
ORDER = (
    "day_versions", "feed_samples", "day_feed_ts", "minute_kpi", "period_totals", "period_product", "all_totals",
    "period_kpi", "kpi_hour", "kpi_shift", "kpi_day", "day_rows", "long_totals", "long_kpi", "kpi_week", "kpi_rolling",
    "runs", "data_quality",
)  # fmt: skip
_TOUCHED = "operating_day IN (SELECT operating_day FROM work.touched_days)"
_HOURS = "window_name IN ('1 h', '8 h', '24 h') AND operating_day IN (SELECT operating_day FROM work.rolling_hour_days)"
_SPANS = "window_name IN ('7 d', '28 d') AND operating_day IN (SELECT operating_day FROM work.rolling_days)"
# Tables of the store, and which of their rows the new ones replace.
MERGED = {
    "kpi_hour": _TOUCHED,
    "kpi_shift": _TOUCHED,
    "kpi_day": _TOUCHED,
    "kpi_week": "week_start_day IN (SELECT week_start_day FROM work.touched_weeks)",
    "kpi_rolling": f"({_HOURS}) OR ({_SPANS})",
    "runs": "EXISTS (SELECT 1 FROM work.runs_span s WHERE s.line = runs.line AND runs.start_utc < s.to_utc AND runs.end_utc > s.from_utc)",
    "data_quality": _TOUCHED,
}
# The touched days, out to the ends of the runs that cross their edges.
_RUNS_SPAN = """CREATE OR REPLACE TABLE work.runs_span AS
WITH span AS (
  SELECT line, min(minute_utc) AS a, max(minute_utc) + INTERVAL 1 MINUTE AS b FROM minutes
  WHERE operating_day IN (SELECT operating_day FROM work.touched_days) GROUP BY line)
SELECT s.line,
  coalesce(min(r.start_utc) FILTER (r.start_utc < s.a AND r.end_utc >= s.a), any_value(s.a)) AS from_utc,
  coalesce(max(r.end_utc) FILTER (r.start_utc <= s.b AND r.end_utc > s.b), any_value(s.b)) AS to_utc
FROM span s LEFT JOIN runs r USING (line) GROUP BY s.line"""


def run(store: Store, plant_file: PlantFile) -> StepReceipt:
    """Compute the pending days of a plant, then merge all tables and mark watch and publish in one transaction.

    What is made lies in `work` (memory) until it is whole. One thread and sorted inputs: every sum adds in the same
    order, so any way of cutting the days gives the same bits.
    """
    started, rows = clock.stopwatch(), dict[str, int]()
    with store.transaction():
        settings.write(store, plant_file)
    days = _days_at_hand(store, plant_file)
    if days:
        _make_all(store)
    with store.transaction():
        if days:
            for name, where in MERGED.items():
                rows[name] = _merge(store, name, where)
            store.mark_days("watch", _reach(days, CURVE_DAYS))
            store.mark_days("publish", _reach(days, ROLLING_DAYS))
        store.clear_days("compute")
    return StepReceipt("compute", len(days), rows, clock.stopwatch() - started)


def _make_all(store: Store) -> None:
    store.con.execute("SET threads = 1")
    create_macros_and_views(store.con)
    store.con.execute(_RUNS_SPAN)
    store.con.execute("CREATE OR REPLACE TABLE work.last_minute AS SELECT max(minute_utc) AS minute_utc FROM minutes")
    for name in ORDER:
        store.con.execute((packaged.folder("sql") / "tables" / f"{name}.sql").read_text(encoding="utf-8"))
    store.con.execute("RESET threads")


def _reach(days: list[date], more: int) -> set[date]:
    return {d + timedelta(days=k) for d in days for k in range(more + 1)}


def _days_at_hand(store: Store, plant_file: PlantFile) -> list[date]:
    """Make the work tables of days and return the touched days that exist in minutes."""
    pending = store.pending_days("compute")
    first, last = store.rows("SELECT min(operating_day), max(operating_day) FROM minutes")[0]
    days = [d for d in pending if first is not None and first <= d <= last]
    if not days:
        return []
    week0 = plant_file.plant.week_start_number
    weeks = sorted({d - timedelta(days=(d.isoweekday() - week0) % 7) for d in days})
    hours = sorted({d + timedelta(days=k) for d in days for k in (0, 1)})
    needed = sorted({d + timedelta(days=k) for d in hours for k in (-1, 0)})
    spans = {
        "touched_days": ("operating_day", days),
        "rolling_hour_days": ("operating_day", [d for d in hours if d <= last]),
        "rolling_days": ("operating_day", [d for d in sorted(_reach(days, ROLLING_DAYS)) if d <= last]),
        "needed_days": ("operating_day", [d for d in needed if first <= d <= last]),
        "touched_weeks": ("week_start_day", weeks),
    }
    for table, (column, values) in spans.items():
        _frame_to_work(store, table, pl.DataFrame({column: values}, schema={column: pl.Date}))
    _frame_to_work(store, "plant_file", pl.DataFrame({"plant_file_id": [_plant_file_id(store)]}))
    return days


def _plant_file_id(store: Store) -> str:
    found = store.rows("SELECT plant_file_id FROM plant_file_versions ORDER BY first_used_utc DESC, plant_file_id LIMIT 1")
    return str(found[0][0]) if found else ""


def _frame_to_work(store: Store, table: str, frame: pl.DataFrame) -> None:
    store.con.register("incoming", frame)
    store.con.execute(f"CREATE OR REPLACE TABLE work.{table} AS SELECT * FROM incoming")
    store.con.unregister("incoming")


def _merge(store: Store, name: str, where: str) -> int:
    """Put the rows made in the place of the store's rows that `where` names."""
    found = tuple(r[0] for r in store.rows(f"SELECT column_name FROM (DESCRIBE work.{name})"))
    if found != TABLES[name].column_names:
        odd = set(found) ^ set(TABLES[name].column_names)
        raise InternalError(f"sql/tables/{name}.sql does not make the columns of schemas/{name}.py: {sorted(odd) or 'order differs'}")
    key = ", ".join(TABLES[name].key)
    store.con.execute(f"DELETE FROM main.{name} WHERE {where}")
    store.con.execute(f"INSERT INTO main.{name} SELECT * FROM work.{name} ORDER BY {key}")
    return int(store.rows(f"SELECT count(*) FROM work.{name}")[0][0])


def show(store: Store) -> dict[str, Any]:
    """Return how many days wait for compute (for status)."""
    return {"pending_days": len(store.pending_days("compute"))}
