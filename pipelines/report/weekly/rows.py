"""The rows a weekly page is made of: a plant's week, its lines, as read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from pipelines.report.weekly.queries import Row

# Weeks that the charts look back on, the reported one included.
SHOWN_WEEKS = 8
SHOWN_DAYS = 7 * SHOWN_WEEKS
LEAST_CHARTED_WEEKS = 4  # of a plant whose data are younger than the shown weeks


@dataclass(frozen=True)
class LineData:
    """A line's rows behind its week; values in the stored (SI) units. `quality` holds sums over the week per role.

    `this_known` is the week's row of dose_uncertainty_week; `balance` is the week's row of
    solids_balance: the line's own, of all lines where only they have a closure;
    `weeks` are the shown weeks of kpi_week; `baseline` the days (kpi_day) of the latest baseline period that began before the week, without days
    of transition, of several arrangements, or of another arrangement than most of them; `usual` their rows of usual_ranges; `hours` the hours of the week and of that baseline;
    `pump` the shown weeks of pump_condition; `lots` polymer products that came into use in the shown weeks; `refused_lab_days` days with refused lab rows;
    `lab_delay_h` is within how many hours nine of ten results of the shown weeks came, None without any.
    """

    line: str
    name: str
    settings: Row
    this: Row | None
    last: Row | None
    days: tuple[Row, ...] = ()
    rolling: tuple[Row, ...] = ()
    cake: tuple[Row, ...] = ()
    flags: tuple[Row, ...] = ()
    states: tuple[Row, ...] = ()
    quality: tuple[Row, ...] = ()
    this_known: Row | None = None
    balance: Row | None = None
    lab_delay_h: float | None = None
    weeks: tuple[Row, ...] = ()
    baseline: tuple[Row, ...] = ()
    usual: tuple[Row, ...] = ()
    arrangements: tuple[Row, ...] = ()
    integrity: tuple[Row, ...] = ()
    hours: tuple[Row, ...] = ()
    pump: tuple[Row, ...] = ()
    lots: tuple[Row, ...] = ()
    refused_lab_days: frozenset[date] = frozenset()


@dataclass(frozen=True)
class WeekData:
    """A plant's reporting week; `known_utc` is when the latest file behind the published data was received."""

    plant: str
    name: str
    zone: ZoneInfo
    week_start_day: date
    iso_week: str
    start_utc: datetime
    end_utc: datetime
    known_utc: datetime
    last_day: date
    plant_file_id: str
    prices_since: datetime | None
    set_aside: tuple[Row, ...]
    lines: tuple[LineData, ...]
    comparisons: tuple[Row, ...] = ()
    plant_files: tuple[Row, ...] = ()
    running: tuple[Row, ...] = ()

    @property
    def rows_set_aside(self) -> int:
        return sum(r["n"] for r in self.set_aside)

    @property
    def last_reported_day(self) -> date:
        return self.week_start_day + timedelta(days=6)

    @property
    def first_shown_day(self) -> date:
        return self.week_start_day - timedelta(days=SHOWN_DAYS - 7)

    @property
    def first_charted_day(self) -> date:
        """Return the first day of the charts: that of the shown weeks, or of the week in which the data of the plant begin."""
        first = min((d["operating_day"] for line in self.lines for d in line.days), default=self.first_shown_day)
        latest = self.week_start_day - timedelta(days=7 * (LEAST_CHARTED_WEEKS - 1))
        return min(first - timedelta(days=(first - self.first_shown_day).days % 7), latest)
