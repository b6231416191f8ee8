"""The kernel by hand: holds, lines, limits, bad and uncertain readings, edges. Times in us, intervals of 10 us."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.align.segments import Stretches, Weighted, averaged, cut, inside, stretches
from tests.published.aggregates import aggregate

NAN = float("nan")
GOOD, UNCERTAIN, BAD = 0, 1, 2
EDGES = np.arange(0, 41, 10, dtype=np.int64)


def known(rows: list[tuple[int, float, int]], *, stepped: bool = True, hold_us: int | None = None) -> Stretches:
    t, v, q = (np.array(column) for column in zip(*rows, strict=True)) if rows else (np.zeros(0), np.zeros(0), np.zeros(0))
    return stretches(t.astype(np.int64), v.astype(float), q.astype(np.uint8), stepped=stepped, hold_us=hold_us)


def weighed(rows: list[tuple[int, float, int]], *, stepped: bool = True, hold_us: int | None = None) -> Weighted:
    return averaged(known(rows, stepped=stepped, hold_us=hold_us), EDGES)


def test_stepped_holds_to_the_next_reading() -> None:
    # 4..10: 2.0; 10..16: 2.0, 16..20: 5.0; then 5.0
    found = weighed([(4, 2.0, GOOD), (16, 5.0, GOOD)])
    assert found.integral.tolist() == [12.0, 12.0 + 20.0, 50.0, 50.0]
    assert found.good_us.tolist() == [6.0, 10.0, 10.0, 10.0]
    assert found.uncertain_us.tolist() == [0.0] * 4
    assert found.mean.tolist() == [2.0, 3.2, 5.0, 5.0]


def test_report_by_exception_is_averaged_over_time_not_over_records() -> None:
    """Pump 8 h at 400 gpm logged on change, off 16 h: time mean 133.3, whatever many records the run has (trade arithmetic)."""
    hour = 3_600_000_000
    rows = [(k * hour // 4, 400.0 + (k % 2) * 0.0, GOOD) for k in range(32)] + [(8 * hour, 0.0, GOOD)]
    t, v, q = (np.array(c) for c in zip(*rows, strict=True))
    found = averaged(stretches(t, v, q.astype(np.uint8), stepped=True, hold_us=None), np.array([0, 24 * hour], dtype=np.int64))
    assert found.mean[0] == pytest.approx(400.0 / 3.0, rel=1e-12)


def test_sloped_runs_straight_to_the_next_reading() -> None:
    # 5..25 from 1 to 5, slope 0.2: 5..10 mean 1.5, 10..20 mean 3.0, 20..25 mean 4.5
    found = weighed([(5, 1.0, GOOD), (25, 5.0, GOOD)], stepped=False)
    assert found.good_us.tolist() == [5.0, 10.0, 5.0, 0.0]
    assert found.mean[:3] == pytest.approx([1.5, 3.0, 4.5], rel=1e-15)
    assert np.isnan(found.mean[3])  # nothing is known after the last reading


@pytest.mark.parametrize(("hold_us", "good_us"), [(14, [6.0, 8.0, 0.0, 0.0]), (15, [6.0, 9.0, 0.0, 0.0]), (6, [6.0, 0.0, 0.0, 0.0])])
def test_stepped_hold_limit_to_the_very_end(hold_us: int, good_us: list[float]) -> None:
    assert weighed([(4, 2.0, GOOD)], hold_us=hold_us).good_us.tolist() == good_us


@pytest.mark.parametrize(("hold_us", "known_us"), [(19, 0.0), (20, 20.0)])
def test_sloped_segment_longer_than_the_limit_is_unknown(hold_us: int, known_us: float) -> None:
    assert weighed([(5, 1.0, GOOD), (25, 5.0, GOOD)], stepped=False, hold_us=hold_us).known_us.sum() == known_us


def test_a_bad_reading_ends_the_value_before_and_is_unknown_itself() -> None:
    found = weighed([(0, 2.0, GOOD), (13, NAN, BAD), (18, 4.0, GOOD)])
    assert found.good_us.tolist() == [10.0, 3.0 + 2.0, 10.0, 10.0]
    assert found.integral.tolist() == [20.0, 6.0 + 8.0, 40.0, 40.0]
    assert weighed([(0, 2.0, GOOD), (13, 9.9, BAD), (18, 4.0, GOOD)]).integral.tolist() == found.integral.tolist()  # its value is not used


def test_a_good_quality_without_a_number_counts_as_bad() -> None:
    assert weighed([(0, 2.0, GOOD), (13, NAN, GOOD)]).good_us.tolist() == [10.0, 3.0, 0.0, 0.0]
    assert weighed([(0, 2.0, GOOD), (13, float("inf"), GOOD)]).good_us.tolist() == [10.0, 3.0, 0.0, 0.0]


def test_sloped_before_a_bad_reading_holds_uncertain() -> None:
    found = weighed([(0, 2.0, GOOD), (13, NAN, BAD), (18, 4.0, GOOD), (28, 6.0, GOOD)], stepped=False)
    assert found.uncertain_us.tolist() == [10.0, 3.0, 0.0, 0.0]
    assert found.good_us.tolist() == [0.0, 2.0, 8.0, 0.0]
    assert found.integral == pytest.approx([20.0, 6.0 + 2 * 4.2, 8 * 5.2, 0.0])


def test_uncertain_is_used_and_marked() -> None:
    found = weighed([(0, 2.0, GOOD), (10, 4.0, UNCERTAIN), (20, 6.0, GOOD)])
    assert (found.good_us.tolist(), found.uncertain_us.tolist()) == ([10.0, 0.0, 10.0, 10.0], [0.0, 10.0, 0.0, 0.0])
    line = weighed([(0, 2.0, GOOD), (10, 4.0, UNCERTAIN), (20, 6.0, GOOD), (30, 6.0, GOOD)], stepped=False)
    assert (line.good_us.tolist(), line.uncertain_us.tolist()) == ([0.0, 0.0, 10.0, 0.0], [10.0, 10.0, 0.0, 0.0])


def test_a_reading_on_an_edge_belongs_to_the_interval_after_it() -> None:
    found = weighed([(0, 1.0, GOOD), (10, 2.0, GOOD)])
    assert found.mean.tolist() == [1.0, 2.0, 2.0, 2.0]


@pytest.mark.parametrize("stepped", [True, False])
def test_series_without_readings_or_outside_the_edges(stepped: bool) -> None:
    for rows in ([], [(100, 1.0, GOOD), (120, 1.0, GOOD)], [(-30, 1.0, GOOD), (-20, NAN, BAD)]):
        found = weighed(rows, stepped=stepped)
        assert found.known_us.tolist() == [0.0] * 4
        assert found.integral.tolist() == [0.0] * 4
        assert np.isnan(found.mean).all()


def test_one_stretch_over_many_intervals_is_cut_at_each() -> None:
    pieces = cut(known([(-5, 1.0, GOOD), (35, 5.0, GOOD)], stepped=False), EDGES)
    assert pieces.interval.tolist() == [0, 1, 2, 3]
    assert pieces.start.tolist() == [0, 10, 20, 30]
    assert pieces.end.tolist() == [10, 20, 30, 35]
    assert pieces.value_start == pytest.approx([1.5, 2.5, 3.5, 4.5])
    assert pieces.value_end == pytest.approx([2.5, 3.5, 4.5, 5.0])
    assert pieces.value_end[-1] == 5.0  # the reading itself, not the line's rounding


def test_readings_inside() -> None:
    t, v = np.array([1, 9, 10, 25, 40]), np.array([3.0, 1.0, 7.0, 4.0, 9.0])
    found = inside(t, v, np.array([True, True, True, True, True]), EDGES)
    assert found.count.tolist() == [2, 1, 1, 0]  # 40 is the end, not inside
    assert found.minimum[:3].tolist() == [1.0, 7.0, 4.0]
    assert found.maximum[:3].tolist() == [3.0, 7.0, 4.0]
    assert np.isnan(found.minimum[3])
    assert (found.first.tolist(), found.last.tolist()) == ([0, 2, 3, -1], [1, 2, 3, -1])
    some = inside(t, v, np.array([False, True, False, True, True]), EDGES)
    assert (some.count.tolist(), some.first.tolist()) == ([1, 0, 1, 0], [1, -1, 3, -1])


def test_an_unknown_aggregate_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"aggregate 'Mode' is not one of: Interpolative, TimeAverage"):
        aggregate(
            np.array([1]), np.array([1.0]), np.array([0], dtype=np.uint8), 0, 10, 10, "Mode",
            stepped=True, treat_uncertain_as_bad=True, percent_good=100, percent_bad=100, use_sloped_extrapolation=False,
        )  # fmt: skip


@pytest.mark.parametrize("name", ["Interpolative", "TimeAverage", "TimeAverage2", "Count", "Delta", "Start", "DurationGood", "Minimum"])
@pytest.mark.parametrize("stepped", [True, False])
def test_aggregates_of_nothing_have_no_data(name: str, stepped: bool) -> None:
    nothing = np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.uint8)
    found = aggregate(*nothing, 0, 25, 10, name, stepped=stepped, treat_uncertain_as_bad=True, percent_good=100, percent_bad=100,
                      use_sloped_extrapolation=True)  # fmt: skip
    assert found == [(None, "BadNoData")] * 3
