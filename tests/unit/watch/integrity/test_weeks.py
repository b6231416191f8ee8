"""Weeks reached by changed days, and the polymer inventory that closes within a week."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from pipelines.watch.integrity.weeks import REACH_DAYS, Polymer, week_of, weeks_reached

MONDAY = date(2026, 1, 5)


def test_a_changed_day_reaches_its_week_the_one_it_closes_and_those_that_look_back_to_it() -> None:
    assert weeks_reached([date(2026, 1, 7)], 1, date(2026, 1, 20)) == [MONDAY, date(2026, 1, 12), date(2026, 1, 19)]
    assert weeks_reached([MONDAY], 1, date(2026, 1, 8)) == [date(2025, 12, 29), MONDAY]
    far = weeks_reached([MONDAY], 1, date(2027, 1, 1))
    assert far[-1] == week_of(MONDAY + timedelta(days=REACH_DAYS), 1)


@pytest.mark.parametrize(
    ("day", "start", "week"), [("2026-01-11", 1, "2026-01-05"), ("2026-01-11", 7, "2026-01-11"), ("2026-01-10", 7, "2026-01-04")]
)
def test_week_of_a_day(day: str, start: int, week: str) -> None:
    assert week_of(date.fromisoformat(day), start) == date.fromisoformat(week)


def test_inventory_between_two_readings_by_hand() -> None:
    """Stock 1,000 kg, 28 days later 600; 2,000 delivered: 2,400 used. The meters saw 28 x 100 = 2,800, 16.7 % more."""
    opening = MONDAY - timedelta(days=21)
    used = {opening + timedelta(days=k): 100.0 for k in range(40)}
    polymer = Polymer({opening: 1000.0, MONDAY + timedelta(days=7): 600.0}, {MONDAY: 2000.0}, used, frozenset())
    said = polymer.of_week(MONDAY)
    assert said is not None
    assert said.deviation_pct == pytest.approx(100.0 / 6.0)
    assert said.disagrees
    assert polymer.of_week(MONDAY - timedelta(days=7)) is None  # no reading closes that week
    hidden = Polymer(polymer.stock, polymer.delivered, polymer.metered, frozenset({MONDAY}))
    assert hidden.of_week(MONDAY) is None  # the meter was not known on a day between
