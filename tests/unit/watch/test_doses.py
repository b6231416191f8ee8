"""Days whose dose is off its usual, by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from pipelines.watch.doses import DoseDay, off_days

MONDAY = date(2026, 1, 5)


def days(*doses: float, standing: object = "old", tests: tuple[int, ...] = ()) -> list[DoseDay]:
    return [DoseDay(MONDAY + timedelta(days=k), d, standing, k in tests, "v") for k, d in enumerate(doses)]


@pytest.mark.parametrize(("dose", "flagged"), [(12.5, 0), (12.6, 1)])
def test_three_days_a_quarter_above_are_overdosing(dose: float, flagged: int) -> None:
    assert len(off_days(days(*[10.0] * 6, *[dose] * 3, 10.0))) == flagged


def test_two_high_days_are_none_and_two_low_days_are() -> None:
    assert off_days(days(*[10.0] * 6, 13.0, 13.0, 10.0)) == []
    assert off_days(days(*[10.0] * 6, 7.4, 10.0)) == []
    (low,) = off_days(days(*[10.0] * 6, 7.4, 7.4, 10.0))
    assert (low.usual_kg_t, low.ratio) == (10.0, pytest.approx(0.74))


def test_a_fault_does_not_become_usual_and_is_one_episode() -> None:
    (found,) = off_days(days(*[10.0] * 6, *[14.0] * 5, 10.0))
    assert (len(found.days), found.usual_kg_t) == (5, 10.0)


def test_ladders_and_other_arrangements_are_not_compared() -> None:
    assert off_days(days(*[10.0] * 6, 14.0, 14.0, 14.0, tests=(6, 7, 8))) == []
    other = [DoseDay(d.day + timedelta(days=10), 14.0, "new", False, "v") for d in days(1.0, 1.0, 1.0)]
    assert off_days([*days(*[10.0] * 6), *other]) == []
    assert off_days(days(*[10.0] * 4, 14.0, 14.0, 14.0)) == []  # four days make no usual dose
