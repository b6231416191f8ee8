"""The minutes a plant is simulated on: UTC, wall clock, operating days, settings periods."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sample_data.scenario import PlantScenario

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Axis:
    """One entry per minute, from the first day's local midnight to the midnight after the last day."""

    utc: pl.Series  # Datetime[us, UTC]
    local: pl.Series  # naive wall clock
    days: list[date]  # operating days
    day: Ints  # index into days; -1 before the first operating day begins
    clock: Ints  # wall-clock minute of the day
    weekday: Ints  # of the operating day, 1 Monday
    setting: Ints  # number of the operators' settings period, from 0
    run_days: float  # days simulated

    @property
    def n(self) -> int:
        return len(self.utc)

    def instant(self, minute: int) -> datetime:
        """Return the UTC start of a minute; the minute after the last one is allowed."""
        first: datetime = self.utc[0]
        return first + timedelta(minutes=int(minute))

    def minute_of(self, instant: datetime) -> int:
        """Return the minute an instant falls in, cut to the axis."""
        return max(0, min(self.n, int((instant - self.utc[0]).total_seconds() // 60)))


def build(plant: PlantScenario, start: date, weeks: int, quiet: bool) -> Axis:
    """Return the axis; the dose is set per operating day when quiet, else per shift."""
    zone = ZoneInfo(plant.zone)
    begin, end = (datetime.combine(d, time(), zone).astimezone(UTC) for d in (start, start + timedelta(weeks=weeks)))
    utc = pl.datetime_range(begin, end, "1m", closed="left", time_unit="us", time_zone="UTC", eager=True)
    local = utc.dt.convert_time_zone(plant.zone).dt.replace_time_zone(None)
    shifted = local - timedelta(hours=plant.day_start_h)
    day = shifted.dt.date().cast(pl.Int64).to_numpy() - (start - date(1970, 1, 1)).days
    minutes = local.to_physical().to_numpy() // 60_000_000
    hours, first_h = (24, plant.day_start_h) if quiet else (plant.shift_h, plant.shift_start_h)
    setting = (minutes - first_h * 60) // (hours * 60)
    return Axis(
        utc, local, [start + timedelta(days=i) for i in range(7 * weeks)], day, minutes % 1440,
        shifted.dt.weekday().cast(pl.Int64).to_numpy(), setting - setting[0], 7.0 * weeks,
    )  # fmt: skip
