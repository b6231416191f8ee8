"""Operating days and shifts of minutes, across changes of the clock.

Dates of the changes: tz database (United States second Sunday in March and first in November 2026, European Union last
Sundays in March and October), from memory; a wrong one would fail the counts here.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import polars as pl
import pytest

from pipelines.plant import calendar
from pipelines.plant.model import PlantFile
from tests.plants import plant_file

ROSTER = [
    {"name": "day", "start": time(6), "end": time(14)},
    {"name": "evening", "start": time(14), "end": time(22)},
    {"name": "night", "start": time(22), "end": time(6)},
]


def plant(zone: str = "America/New_York", start: time = time(6), shifts: list[dict[str, object]] | None = None) -> PlantFile:
    return plant_file(time_zone=zone, operating_day_start=start, shifts=shifts or [])


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
    first, end = where.calendar.day_start(day), where.calendar.day_start(day + timedelta(days=1))
    assert (end - first) / timedelta(minutes=1) == minutes
    axis = where.calendar.minutes(first - timedelta(hours=3), end + timedelta(hours=3))
    mine = axis.filter(pl.col("operating_day") == day)["minute_utc"]
    assert (len(mine), mine[0], mine[-1]) == (minutes, first, end - timedelta(minutes=1))


def test_a_start_that_the_clock_leaps_over_is_the_leap() -> None:
    where = plant(start=time(2, 30))  # 2026-03-08 has no 2:30; the clock goes from 2:00 to 3:00 at 7:00 UTC
    leap = datetime(2026, 3, 8, 7, tzinfo=UTC)
    assert where.calendar.day_start(date(2026, 3, 8)) == leap
    assert where.calendar.operating_day(leap) == date(2026, 3, 8)
    assert where.calendar.operating_day(leap - timedelta(microseconds=1)) == date(2026, 3, 7)
    axis = where.calendar.minutes(leap - timedelta(minutes=1), leap + timedelta(minutes=1))
    assert axis["operating_day"].to_list() == [date(2026, 3, 7), date(2026, 3, 8)]


def test_a_start_that_the_clock_shows_twice_is_the_first() -> None:
    where = plant(start=time(1, 30))  # 2026-11-01: 1:30 EDT is 5:30 UTC, 1:30 EST is 6:30 UTC
    first = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    assert where.calendar.day_start(date(2026, 11, 1)) == first
    axis = where.calendar.minutes(first - timedelta(minutes=1), first + timedelta(minutes=90))  # over 1:00 to 1:30 seen again
    assert axis["operating_day"].to_list() == [date(2026, 10, 31)] + [date(2026, 11, 1)] * 90


def test_operating_day_at_its_edge() -> None:
    where = plant()
    start = datetime(2026, 1, 5, 11, tzinfo=UTC)  # 6:00 EST
    assert where.calendar.operating_day(start) == date(2026, 1, 5)
    assert where.calendar.operating_day(start - timedelta(microseconds=1)) == date(2026, 1, 4)


def test_a_night_shift_belongs_to_the_day_on_which_it_began() -> None:
    where = plant(shifts=ROSTER)
    local = [datetime(2026, 1, 5, h, m) for h, m in ((5, 59), (6, 0), (13, 59), (14, 0), (21, 59), (22, 0))] + [datetime(2026, 1, 6, 3, 0)]  # noqa: DTZ001
    expected = ["night", "day", "day", "evening", "evening", "night", "night"]
    days = [4, 5, 5, 5, 5, 5, 5]
    for at, shift, day in zip(local, expected, days, strict=True):
        instant = at.replace(tzinfo=where.calendar.zone).astimezone(UTC)
        row = where.calendar.minutes(instant, instant + timedelta(minutes=1)).row(0)
        assert row == (instant, date(2026, 1, day), shift)


def test_night_shift_on_long_and_short_nights() -> None:
    where = plant(shifts=ROSTER)
    for day, hours in ((date(2026, 3, 7), 7), (date(2026, 10, 31), 9), (date(2026, 6, 1), 8)):
        axis = where.calendar.minutes(where.calendar.day_start(day), where.calendar.day_start(day + timedelta(days=1)))
        assert axis["shift"].value_counts().sort("shift").rows() == [("day", 480), ("evening", 480), ("night", hours * 60)]


def test_minutes_outside_every_shift_and_of_two_shifts() -> None:
    where = plant(shifts=[{"name": "a", "start": time(7), "end": time(12)}, {"name": "b", "start": time(11), "end": time(15)}])
    axis = where.calendar.minutes(where.calendar.day_start(date(2026, 1, 5)), where.calendar.day_start(date(2026, 1, 6)))
    assert axis["shift"].value_counts().sort("shift").rows() == [(None, 960), ("a", 300), ("b", 180)]  # the first that fits
    assert (
        plant()
        .calendar.minutes(where.calendar.day_start(date(2026, 1, 5)), where.calendar.day_start(date(2026, 1, 6)))["shift"]
        .null_count()
        == 1440
    )


def test_a_shift_of_a_whole_day() -> None:
    where = plant(shifts=[{"name": "all", "start": time(6), "end": time(6)}])
    axis = where.calendar.minutes(where.calendar.day_start(date(2026, 1, 5)), where.calendar.day_start(date(2026, 1, 6)))
    assert axis["shift"].unique().to_list() == ["all"]


@pytest.mark.parametrize(
    ("zone", "start", "day", "first"),
    [  # the clock shows the start twice: the day begins at the first, and the second pass before it belongs to the same day
        ("America/New_York", time(1, 30), date(2026, 11, 1), datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        ("Europe/Copenhagen", time(2, 30), date(2026, 10, 25), datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        # the clock skips the start: the day begins at the leap, not half an hour later
        ("America/New_York", time(2, 30), date(2026, 3, 8), datetime(2026, 3, 8, 7, tzinfo=UTC)),
        ("Europe/Copenhagen", time(2, 30), date(2026, 3, 29), datetime(2026, 3, 29, 1, tzinfo=UTC)),
    ],
)
def test_every_reader_of_the_operating_day_agrees_where_the_clock_changes(zone: str, start: time, day: date, first: datetime) -> None:
    where = plant(zone, start).calendar
    before = day - timedelta(days=1)
    begin, end = first - timedelta(hours=3), first + timedelta(hours=3)
    axis = where.minutes(begin, end)
    expected = [before if at < first else day for at in axis["minute_utc"]]
    assert axis["operating_day"].to_list() == expected
    assert [where.operating_day(at) for at in axis["minute_utc"]] == expected
    assert where.day_start(day) == where.day_end(before) == where.instant(day) == first
    of_minute = [where.operating_days(np.array([calendar.micros(at) // 60_000_000])) for at in axis["minute_utc"]]
    assert of_minute == [{found} for found in expected]
    all_minutes = np.array([calendar.micros(at) // 60_000_000 for at in axis["minute_utc"]])
    assert where.operating_days(all_minutes) == {before, day}
    assert where.operating_days(all_minutes[[0, -1]]) == {before, day}
    assert where.operating_days(all_minutes[:0]) == set()


def test_contiguous_days() -> None:
    d = [date(2026, 1, 30), date(2026, 1, 31), date(2026, 2, 1), date(2026, 2, 3)]
    assert calendar.contiguous(d) == [(d[0], d[2]), (d[3], d[3])]
    assert calendar.contiguous([]) == []
    d = [date(2026, 1, day) for day in (9, 5, 6, 8)]
    assert calendar.contiguous(sorted(d)) == [(d[1], d[2]), (d[3], d[0])]
