"""The kernel against a slow splitter in plain Python, and the same bits wherever the time axis is cut.

The slow splitter walks pairs of readings with exact fractions and shares no code with `pipelines.align.segments`.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.align.segments import Weighted, averaged, inside, stretches

GOOD, UNCERTAIN, BAD = 0, 1, 2
MANY = settings(max_examples=200)

Row = tuple[int, float, int]
values = st.one_of(st.floats(-1e3, 1e3, allow_nan=False), st.sampled_from([0.0, 1.0, 0.1, 1e-9]))
rows_ = st.lists(
    st.tuples(st.integers(-40, 240), values, st.sampled_from([GOOD, GOOD, GOOD, UNCERTAIN, BAD])), max_size=40, unique_by=lambda r: r[0]
).map(sorted)
edges_ = st.lists(st.integers(0, 200), min_size=2, max_size=25, unique=True).map(sorted)
holds = st.one_of(st.none(), st.integers(1, 120))


def fast(rows: list[Row], edges: list[int], stepped: bool, hold: int | None) -> Weighted:
    t = np.array([r[0] for r in rows], dtype=np.int64)
    v = np.array([np.nan if r[2] == BAD else r[1] for r in rows], dtype=float)
    q = np.array([r[2] for r in rows], dtype=np.uint8)
    return averaged(stretches(t, v, q, stepped=stepped, hold_us=hold), np.array(edges, dtype=np.int64))


def slow(rows: list[Row], lo: int, hi: int, stepped: bool, hold: int | None) -> tuple[Fraction, int, int]:
    """Integral, good and uncertain time of one interval: every pair of readings in turn, exactly."""
    integral, good, unsure = Fraction(0), 0, 0
    for place, (t0, v0, q0) in enumerate(rows):
        after = rows[place + 1] if place + 1 < len(rows) else None
        if q0 == BAD:
            continue
        t1 = 10**9 if after is None else after[0]
        a, certain = Fraction(v0), q0 == GOOD
        slope = Fraction(0)
        if stepped:
            stop = t1 if hold is None else min(t1, t0 + hold)
        else:
            if after is None or (hold is not None and t1 - t0 > hold):
                continue
            stop = t1
            certain = certain and after[2] == GOOD
            slope = Fraction(0) if after[2] == BAD else (Fraction(after[1]) - a) / (t1 - t0)
        begin, end = max(t0, lo), min(stop, hi)
        if end > begin:
            middle = Fraction(begin + end, 2)
            integral += (a + slope * (middle - t0)) * (end - begin)
            good, unsure = (good + end - begin, unsure) if certain else (good, unsure + end - begin)
    return integral, good, unsure


@MANY
@given(rows_, edges_, st.booleans(), holds)
def test_the_kernel_equals_the_slow_splitter(rows: list[Row], edges: list[int], stepped: bool, hold: int | None) -> None:
    found = fast(rows, edges, stepped, hold)
    for index, (lo, hi) in enumerate(pairwise(edges)):
        integral, good, unsure = slow(rows, lo, hi, stepped, hold)
        assert (found.good_us[index], found.uncertain_us[index]) == (good, unsure)
        assert found.integral[index] == pytest.approx(float(integral), rel=1e-12, abs=1e-7)  # up to 2e5 added in doubles
        if good + unsure:
            assert found.mean[index] == pytest.approx(float(integral / (good + unsure)), rel=1e-12, abs=1e-9)
        else:
            assert np.isnan(found.mean[index])


@MANY
@given(rows_, edges_, st.booleans(), holds, st.data())
def test_a_cut_of_the_time_axis_changes_no_bit(
    rows: list[Row], edges: list[int], stepped: bool, hold: int | None, data: st.DataObject
) -> None:
    """Some of the intervals on their own, with the readings near them only: the last before, those within, the first after."""
    whole = fast(rows, edges, stepped, hold)
    first = data.draw(st.integers(0, len(edges) - 2))
    last = data.draw(st.integers(first + 1, len(edges) - 1))
    near = [r for r in rows if edges[first] <= r[0] < edges[last]]
    before, after = [r for r in rows if r[0] < edges[first]], [r for r in rows if r[0] >= edges[last]]
    part = fast([*before[-1:], *near, *after[:1]], edges[first : last + 1], stepped, hold)
    for name in ("integral", "good_us", "uncertain_us", "mean"):
        assert getattr(part, name).tobytes() == getattr(whole, name)[first:last].tobytes(), name


@MANY
@given(rows_, edges_)
def test_readings_inside_equal_a_plain_loop(rows: list[Row], edges: list[int]) -> None:
    t, v = np.array([r[0] for r in rows], dtype=np.int64), np.array([r[1] for r in rows], dtype=float)
    good = np.array([r[2] == GOOD for r in rows], dtype=bool)
    found = inside(t, v, good, np.array(edges, dtype=np.int64))
    for index, (lo, hi) in enumerate(pairwise(edges)):
        mine = [r[1] for r in rows if r[2] == GOOD and lo <= r[0] < hi]
        assert found.count[index] == len(mine)
        if mine:
            seen = (found.minimum[index], found.maximum[index], v[found.first[index]], v[found.last[index]])
            assert seen == (min(mine), max(mine), mine[0], mine[-1])
