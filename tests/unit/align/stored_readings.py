"""Readings put into a store as `check` leaves them, and the minutes that `align` makes of them."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import Any

import polars as pl

from pipelines.plant.model import PlantFile
from pipelines.store import Store
from tests import plants

T0 = datetime(2026, 1, 5, 11, 0, tzinfo=UTC)  # 6:00 in New York: an operating day begins
GOOD, UNCERTAIN, BAD = 0, 1, 2


def plant(*signals: dict[str, Any], lines: tuple[str, ...] = ("line-1",), **of_plant: Any) -> PlantFile:
    changed = {"startup": "3 min", "polymer_cutoff": "20 L/h"}
    return plants.plant_file(*signals, lines=lines, line=changed, **({"operating_day_start": time(6)} | of_plant))


def put(store: Store, tag: str, *rows: tuple[float, float | None] | tuple[float, float | None, int], mark: bool = True) -> None:
    """Readings at minutes after T0: (minute, value) or (minute, value, quality); their hours are marked as `check` does."""
    times = [T0 + timedelta(minutes=r[0]) for r in rows]
    quality = [r[2] if len(r) > 2 else GOOD for r in rows]
    frame = pl.DataFrame(
        {
            "plant": "p",
            "tag": tag,
            "time_utc": times,
            "value": pl.Series([r[1] for r in rows], dtype=pl.Float64),
            "quality": pl.Series(quality, dtype=pl.UInt8),
            "load_id": "l",
        }
    ).with_columns(pl.col("time_utc").cast(pl.Datetime("us", "UTC")))
    store.append("readings", frame)
    if mark:
        store.mark_hours(min(times) - timedelta(minutes=30), max(times) + timedelta(hours=24))


def minute(store: Store, at: int, *columns: str, line: str = "line-1") -> tuple[Any, ...]:
    sql = f"SELECT {', '.join(columns)} FROM minutes WHERE minute_utc = $at AND line = $line"
    return store.rows(sql, {"at": T0 + timedelta(minutes=at), "line": line})[0]
