"""Minutes made by hand for the invented plant of two belt presses: no generator and no other step takes part."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import polars as pl

from pipelines.store import Store
from schemas import TABLES
from schemas.roles import ROLES

FIRST = date(2026, 1, 5)
DAYS = 16
DAY = 15  # the day on which faults are planted: fifteen quiet ones lie before it
RUN_FROM, RUN_MIN, START_UP = 120, 480, 15  # the line runs for eight hours, two hours into the operating day
Change = Callable[[dict[str, np.ndarray]], None]


def day_of(k: int) -> date:
    return FIRST + timedelta(days=k)


def begin(k: int) -> datetime:
    """Start of an operating day: 06:00 in New York, winter time."""
    return datetime.combine(day_of(k), datetime.min.time(), UTC) + timedelta(hours=11)


@lru_cache(maxsize=64)
def minutes(k: int, line: str = "line-1", change: Change | None = None) -> pl.DataFrame:
    """One operating day of a line; `change` may alter the columns (values, coverages, state) before they become a frame."""
    rng = np.random.default_rng([7, k, int(line[-1])])
    n, on = 1440, np.zeros(1440, dtype=bool)
    on[RUN_FROM : RUN_FROM + RUN_MIN] = True
    flow = np.where(on, 90.0 * (1 + 0.06 * np.sin(np.arange(n) / 37)) + rng.normal(0, 0.5, n), 0.1)
    processing = on & (np.arange(n) >= RUN_FROM + START_UP)
    mixing = np.where(on, 0.025 * flow**2 + rng.normal(0, 1.5, n), 0.0)
    columns: dict[str, np.ndarray] = {
        "state": np.select([processing, on], ["processing", "start-up"], "stopped"),
        "sludge_flow": flow,
        "polymer_neat_flow": np.where(on, 0.02 + rng.normal(0, 0.0003, n), 0.0),
        "pump_speed": np.where(on, 1200.0 * (1 + 0.06 * np.sin(np.arange(n) / 37)) + rng.normal(0, 3, n), 0.0),
        "pump_power": np.where(on, 15.0 + rng.normal(0, 0.2, n), 0.0),
        "pump_suction_pressure": np.where(on, 20.0 + rng.normal(0, 1, n), 30.0),
        "pump_discharge_pressure": np.where(on, 100.0 + mixing + rng.normal(0, 1.5, n), 30.0),
        "mixing_upstream_pressure": np.where(on, 50.0 + mixing + rng.normal(0, 1.5, n), 10.0),
        "mixing_downstream_pressure": np.where(on, 50.0 + rng.normal(0, 1, n), 10.0),
        "pump_run": on.astype(float),
        "device_run": on.astype(float),
    }
    roles = [c for c in columns if c != "state"]
    columns |= {f"{r}_coverage": np.ones(n) for r in roles}
    if change is not None:
        change(columns)
    names = {r: ROLES[r].column for r in roles}
    frame = pl.DataFrame({names.get(c, c): v for c, v in columns.items()}).with_columns(
        plant=pl.lit("alder-fork"), line=pl.lit(line), operating_day=pl.lit(day_of(k)), is_uncertain=pl.lit(False),
        minute_utc=pl.datetime_range(begin(k), begin(k) + timedelta(minutes=n - 1), "1m", eager=True).cast(pl.Datetime("us", "UTC")),
    )  # fmt: skip
    schema = TABLES["minutes"].polars_schema()
    return frame.with_columns([pl.lit(None, dtype=t).alias(c) for c, t in schema.items() if c not in frame.columns]).select(
        [pl.col(c).cast(t) for c, t in schema.items()]
    )


def put(store: Store, k: int, changes: dict[str, Change] | None = None) -> None:
    """Write both lines of a day in place of what was there, and mark what compute would mark."""
    store.con.execute("DELETE FROM minutes WHERE operating_day = $d", {"d": day_of(k)})
    for line in ("line-1", "line-2"):
        store.append("minutes", minutes(k, line, (changes or {}).get(line)))
    store.mark_days("watch", [day_of(k + j) for j in range(15)])


def fill(store: Store, changes: dict[int, dict[str, Change]] | None = None, days: int = DAYS) -> None:
    """Write many days at once."""
    of = changes or {}
    store.append("minutes", pl.concat([minutes(k, line, of.get(k, {}).get(line)) for k in range(days) for line in ("line-1", "line-2")]))
    store.mark_days("watch", [day_of(k) for k in range(days)])


def found(store: Store) -> list[dict[str, Any]]:
    return store.frame("SELECT * FROM flags ORDER BY start_utc, flag_id").to_dicts()


def at(k: int, minute: int) -> datetime:
    return begin(k) + timedelta(minutes=minute)


def set_part(role: str, part: slice, value: float) -> Change:
    def change(columns: dict[str, np.ndarray]) -> None:
        columns[role][part] = value

    return change


def readings(store: Store, tag: str, rows: list[tuple[datetime, float | None, int]]) -> None:
    frame = pl.DataFrame(
        [{"plant": "alder-fork", "tag": tag, "time_utc": t, "value": v, "quality": q, "load_id": "a" * 16} for t, v, q in rows],
        schema=TABLES["readings"].polars_schema(),
    )
    store.append("readings", frame)


def refused(store: Store, tag: str, times: list[datetime], reason: str) -> None:
    """Values set aside; the reason of their rows may be another, that of another column."""
    rows = [
        {"plant": "alder-fork", "load_id": "a" * 16, "line_no": i + 1, "tag": tag, "time_utc": t, "text": "900", "reason": reason}
        for i, t in enumerate(times)
    ]
    store.append("set_aside_values", pl.DataFrame(rows, schema=TABLES["set_aside_values"].polars_schema()))
