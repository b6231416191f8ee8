"""The charts of the weekly page at their edges: marks of events, axes, where points lie."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from matplotlib.figure import Figure

from pipelines.report import words
from pipelines.report.weekly import charts, figures
from pipelines.report.weekly.read import WeekData
from pipelines.report.words import Limits

SIX = words.six("SI", {"reference_flow_m3_h": 18.0, "currency": "EUR"})
DAYS = [date(2026, 1, 12) + timedelta(days=k) for k in range(56)]


def labels(*places: int) -> list[str]:
    """The words above the marks of events on these days of the chart."""
    marks = [figures.Mark(DAYS[at], n) for n, at in enumerate(places, 1)]
    svg = figures.mixing(DAYS, [30.0] * 56, SIX[5], Limits(), 7, marks)
    numbers = [str(m.number) for m in marks]
    return [t for t in re.findall(r">([^<>]+)</text>", svg) if t.startswith("event") or t in numbers]


def test_events_are_named_where_there_is_room() -> None:
    assert labels(10, 30) == ["event 1", "event 2"]
    assert labels(10, 12) == ["1", "2"]
    assert labels(10, 55) == ["event 1", "2"]  # at the end of the axis the word would be cut


@pytest.mark.parametrize(
    "values, limits, low, high",
    [
        ([93.0, 97.0], Limits(), 82.815, 100.0),  # 93 and 97 widened by 9.7 and 0.05 x 9.7: the top of 107.2 is capped
        ([20.0, 22.0], Limits(), 17.69, 24.31),  # widened by 2.2 and 0.11
        ([90.0], Limits(at_least=92.0), 82.34, 100.0),  # the target's own width of 9.2: 92 - 9.2 - 0.46
    ],
)
def test_axes_of_percentages_are_local_and_end_at_100(values: list[float], limits: Limits, low: float, high: float) -> None:
    axes = Figure().subplots()
    figures._scale_round(axes, values, (SIX[1], limits))
    assert axes.get_ylim() == pytest.approx((low, high))


def test_points_at_the_edge_are_drawn_whole() -> None:
    svg = figures.product(DAYS, [(3.0, 20.0)], (SIX[1], Limits()), [95.0] * 56, (SIX[2], Limits()), 7)
    assert "<g clip-path" not in svg


def test_an_untimed_sample_lies_at_the_middle_of_its_day() -> None:
    start = datetime(2026, 3, 2, 11, tzinfo=UTC)
    week = WeekData("p", "P", ZoneInfo("UTC"), start.date(), "2026-W10", start, start, start, start.date(), "-", None, 0, ())
    first = start - timedelta(days=49)
    cake = (
        {"from_utc": first, "half_width_h": 12.0, "value": 1.0},
        {"from_utc": first + timedelta(hours=6), "half_width_h": None, "value": 2.0},
    )
    assert charts._samples(week, cake) == [(0.0, 1.0), (-0.25, 2.0)]
