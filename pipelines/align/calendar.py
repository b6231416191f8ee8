"""Minutes of the time axis with their operating day and shift, in plant time."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import polars as pl

from pipelines.plantfile import PlantFile

MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def micros(at: datetime) -> int:
    """Return an instant as microseconds since 1970."""
    return (at - _EPOCH) // timedelta(microseconds=1)


def day_start_utc(day: date, plant_file: PlantFile) -> datetime:
    """Return the instant at which an operating day begins: its wall time, the first one if the clock shows it twice.

    A wall time that the clock leaps over counts as the instant of the leap. Seconds of the configured start are ignored.
    """
    start = plant_file.plant.operating_day_start.replace(second=0, microsecond=0)
    wall = datetime.combine(day, start, plant_file.zone)
    instant = wall.astimezone(UTC)
    if instant.astimezone(plant_file.zone).replace(tzinfo=None) == wall.replace(tzinfo=None):
        return instant
    before, after = wall.replace(fold=1).astimezone(UTC), instant
    while after - before > MINUTE:
        middle = before + (after - before) // MINUTE // 2 * MINUTE
        if middle.astimezone(plant_file.zone).utcoffset() == before.astimezone(plant_file.zone).utcoffset():
            before = middle
        else:
            after = middle
    return after


def operating_day(at: datetime, plant_file: PlantFile) -> date:
    """Return the operating day of an instant."""
    day = at.astimezone(plant_file.zone).date() + _DAY
    while day_start_utc(day, plant_file) > at:
        day -= _DAY
    return day


def minutes(first: datetime, end: datetime, plant_file: PlantFile) -> pl.DataFrame:
    """Return minute_utc, operating_day and shift of every minute in [first, end)."""
    axis = pl.datetime_range(first, end, MINUTE, closed="left", time_unit="us", time_zone="UTC", eager=True).alias("minute_utc")
    first_day = operating_day(first, plant_file)
    days = [first_day + k * _DAY for k in range((end - first) // _DAY + 3)]
    starts = np.array([micros(day_start_utc(day, plant_file)) for day in days])
    place = np.searchsorted(starts, axis.to_physical().to_numpy(), side="right") - 1
    day = pl.Series("operating_day", days, dtype=pl.Date).gather(pl.Series(place))
    local = axis.dt.convert_time_zone(plant_file.plant.time_zone).dt.replace_time_zone(None)
    return pl.DataFrame([axis, day, _shift(local, plant_file).alias("shift")])


def _shift(local: pl.Series, plant_file: PlantFile) -> pl.Series:
    """Return the shift of local times by the roster; null outside every shift, the first that fits when two overlap."""
    of_day = local.dt.hour().cast(pl.Int32) * 60 + local.dt.minute().cast(pl.Int32)
    choice: pl.Expr = pl.lit(None, dtype=pl.String)
    for shift in reversed(plant_file.plant.shifts):
        begin, end, now = _minute(shift.start), _minute(shift.end), pl.col("m")
        inside = (now >= begin) & (now < end) if begin < end else (now >= begin) | (now < end)
        choice = pl.when(inside).then(pl.lit(shift.name)).otherwise(choice)
    return pl.DataFrame({"m": of_day}).with_columns(choice.alias("shift"))["shift"]


def _minute(at: time) -> int:
    return at.hour * 60 + at.minute
