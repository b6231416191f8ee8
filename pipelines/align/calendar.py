"""Minutes of the time axis with their operating day and shift, in plant time."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import polars as pl

from pipelines.plantfile import PlantFile

MINUTE_US = 60_000_000


def day_start_utc(day: date, plant_file: PlantFile) -> datetime:
    """Return the instant at which an operating day begins."""
    return datetime.combine(day, plant_file.plant.operating_day_start, plant_file.zone).astimezone(UTC)


def operating_day(at: datetime, plant_file: PlantFile) -> date:
    """Return the operating day of an instant."""
    start = plant_file.plant.operating_day_start
    return (at.astimezone(plant_file.zone).replace(tzinfo=None) - timedelta(hours=start.hour, minutes=start.minute)).date()


def minutes(first: datetime, end: datetime, plant_file: PlantFile) -> pl.DataFrame:
    """Return minute_utc, operating_day and shift of every minute in [first, end)."""
    axis = pl.datetime_range(first, end, "1m", closed="left", time_unit="us", time_zone="UTC", eager=True).alias("minute_utc")
    local = axis.dt.convert_time_zone(plant_file.plant.time_zone).dt.replace_time_zone(None)
    start = plant_file.plant.operating_day_start
    day = (local - timedelta(hours=start.hour, minutes=start.minute)).dt.date().alias("operating_day")
    return pl.DataFrame([axis, day, _shift(local, plant_file).alias("shift")])


def _shift(local: pl.Series, plant_file: PlantFile) -> pl.Series:
    of_day = local.dt.hour().cast(pl.Int32) * 60 + local.dt.minute().cast(pl.Int32)
    choice: pl.Expr = pl.lit(None, dtype=pl.String)
    for shift in reversed(plant_file.plant.shifts):
        begin, end, now = _minute(shift.start), _minute(shift.end), pl.col("m")
        inside = (now >= begin) & (now < end) if begin < end else (now >= begin) | (now < end)
        choice = pl.when(inside).then(pl.lit(shift.name)).otherwise(choice)
    return pl.DataFrame({"m": of_day}).with_columns(choice.alias("shift"))["shift"]


def _minute(at: time) -> int:
    return at.hour * 60 + at.minute
