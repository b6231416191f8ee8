"""Operating days and shifts of minutes, across changes of the clock.

Dates of the changes: tz database (United States second Sunday in March and first in November 2026, European Union last
Sundays in March and October), from memory; a wrong one would fail the counts here.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import polars as pl
import pytest

from pipelines.align import calendar
from pipelines.plantfile import PlantFile

ROSTER = [
    {"name": "day", "start": time(6), "end": time(14)},
    {"name": "evening", "start": time(14), "end": time(22)},
    {"name": "night", "start": time(22), "end": time(6)},
]


def plant(zone: str = "America/New_York", start: time = time(6), shifts: list[dict[str, object]] | None = None) -> PlantFile:
    return PlantFile.model_validate(
        {
            "plant": {"id": "p", "name": "P", "time_zone": zone, "units": "SI", "operating_day_start": start, "shifts": shifts or []},
            "lines": [
                {
                    "id": "line-1", "name": "L", "device": "belt press", "pump": {"id": "P-1", "kind": "rotodynamic"}, "feed_cutoff": "5 m3/h",
                    "polymer_cutoff": "2 L/h", "polymer_meter": "neat", "reference_flow": "90 m3/h", "dilution_counted": "none",
                }
            ],
            "signals": [{"line": "line-1", "role": "pump_run", "tag": "YI", "unit": "state"}],
            "layouts": [{"id": "w", "kind": "wide", "files": "*", "time_column": "t"}],
        }
    )  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "start", "day", "minutes"),
    [
        ("America/New_York", time(6), date(2026, 3, 7), 1380),  # 6:00 EST to 6:00 EDT, the clock leaps on the 8th at 2:00
        ("America/New_York", time(6), date(2026, 3, 8), 1440),
        ("America/New_York", time(6), date(2026, 10, 31), 1500),
        ("Europe/Copenhagen", time(0), date(2026, 3, 29), 1380),
        ("Europe/Copenhagen", time(0), date(2026, 10, 25), 1500),
        ("America/Phoenix", time(6), date(2026, 3, 7), 1440),  # no change of the clock
        ("Asia/Kolkata", time(6), date(2026, 3, 7), 1440),  # days begin on a half hour of UTC
    ],
)
def test_minutes_of_an_operating_day(zone: str, start: time, day: date, minutes: int) -> None:
    where = plant(zone, start)
    first, end = calendar.day_start_utc(day, where), calendar.day_start_utc(day + timedelta(days=1), where)
    assert (end - first) / timedelta(minutes=1) == minutes
    axis = calendar.minutes(first - timedelta(hours=3), end + timedelta(hours=3), where)
    mine = axis.filter(pl.col("operating_day") == day)["minute_utc"]
    assert (len(mine), mine[0], mine[-1]) == (minutes, first, end - timedelta(minutes=1))


def test_a_start_that_the_clock_leaps_over_is_the_leap() -> None:
    where = plant(start=time(2, 30))  # 2026-03-08 has no 2:30; the clock goes from 2:00 to 3:00 at 7:00 UTC
    leap = datetime(2026, 3, 8, 7, tzinfo=UTC)
    assert calendar.day_start_utc(date(2026, 3, 8), where) == leap
    assert calendar.operating_day(leap, where) == date(2026, 3, 8)
    assert calendar.operating_day(leap - timedelta(microseconds=1), where) == date(2026, 3, 7)
    axis = calendar.minutes(leap - timedelta(minutes=1), leap + timedelta(minutes=1), where)
    assert axis["operating_day"].to_list() == [date(2026, 3, 7), date(2026, 3, 8)]


def test_a_start_that_the_clock_shows_twice_is_the_first() -> None:
    where = plant(start=time(1, 30))  # 2026-11-01: 1:30 EDT is 5:30 UTC, 1:30 EST is 6:30 UTC
    first = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    assert calendar.day_start_utc(date(2026, 11, 1), where) == first
    axis = calendar.minutes(first - timedelta(minutes=1), first + timedelta(minutes=90), where)  # over 1:00 to 1:30 seen again
    assert axis["operating_day"].to_list() == [date(2026, 10, 31)] + [date(2026, 11, 1)] * 90


def test_operating_day_at_its_edge() -> None:
    where = plant()
    start = datetime(2026, 1, 5, 11, tzinfo=UTC)  # 6:00 EST
    assert calendar.operating_day(start, where) == date(2026, 1, 5)
    assert calendar.operating_day(start - timedelta(microseconds=1), where) == date(2026, 1, 4)


def test_a_night_shift_belongs_to_the_day_on_which_it_began() -> None:
    where = plant(shifts=ROSTER)
    local = [datetime(2026, 1, 5, h, m) for h, m in ((5, 59), (6, 0), (13, 59), (14, 0), (21, 59), (22, 0))] + [datetime(2026, 1, 6, 3, 0)]  # noqa: DTZ001
    expected = ["night", "day", "day", "evening", "evening", "night", "night"]
    days = [4, 5, 5, 5, 5, 5, 5]
    for at, shift, day in zip(local, expected, days, strict=True):
        instant = at.replace(tzinfo=where.zone).astimezone(UTC)
        row = calendar.minutes(instant, instant + timedelta(minutes=1), where).row(0)
        assert row == (instant, date(2026, 1, day), shift)


def test_night_shift_on_long_and_short_nights() -> None:
    where = plant(shifts=ROSTER)
    for day, hours in ((date(2026, 3, 7), 7), (date(2026, 10, 31), 9), (date(2026, 6, 1), 8)):
        axis = calendar.minutes(calendar.day_start_utc(day, where), calendar.day_start_utc(day + timedelta(days=1), where), where)
        assert axis["shift"].value_counts().sort("shift").rows() == [("day", 480), ("evening", 480), ("night", hours * 60)]


def test_minutes_outside_every_shift_and_of_two_shifts() -> None:
    where = plant(shifts=[{"name": "a", "start": time(7), "end": time(12)}, {"name": "b", "start": time(11), "end": time(15)}])
    axis = calendar.minutes(calendar.day_start_utc(date(2026, 1, 5), where), calendar.day_start_utc(date(2026, 1, 6), where), where)
    assert axis["shift"].value_counts().sort("shift").rows() == [(None, 960), ("a", 300), ("b", 180)]  # the first that fits
    assert (
        calendar.minutes(calendar.day_start_utc(date(2026, 1, 5), where), calendar.day_start_utc(date(2026, 1, 6), where), plant())[
            "shift"
        ].null_count()
        == 1440
    )


def test_a_shift_of_a_whole_day() -> None:
    where = plant(shifts=[{"name": "all", "start": time(6), "end": time(6)}])
    axis = calendar.minutes(calendar.day_start_utc(date(2026, 1, 5), where), calendar.day_start_utc(date(2026, 1, 6), where), where)
    assert axis["shift"].unique().to_list() == ["all"]
