"""Episodes: persistence, clearing and merging, on both sides of each edge."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.watch.episodes import MERGE_MIN, Episode, episodes, merged, runs


def mask(size: int, *spans: tuple[int, int]) -> np.ndarray:
    out = np.zeros(size, dtype=bool)
    for start, end in spans:
        out[start:end] = True
    return out


def spans(found: list[Episode]) -> list[tuple[int, int, int]]:
    return [(e.start, e.end, e.held) for e in found]


def test_runs_reach_to_both_ends() -> None:
    assert runs(mask(10, (0, 2), (5, 6), (8, 10))) == [(0, 2), (5, 6), (8, 10)]
    assert runs(mask(5)) == []
    assert runs(np.empty(0, dtype=bool)) == []


@pytest.mark.parametrize(("minutes", "found"), [(2, []), (3, [(10, 13, 3)]), (4, [(10, 14, 4)])])
def test_persistence_is_met_exactly(minutes: int, found: list[tuple[int, int, int]]) -> None:
    assert spans(episodes(mask(60, (10, 10 + minutes)), 3)) == found


def test_minutes_apart_do_not_add_up_to_persistence() -> None:
    assert episodes(mask(60, (10, 12), (13, 15)), 3) == []


@pytest.mark.parametrize(("gap", "found"), [(29, [(10, 59, 20)]), (30, [(10, 20, 10), (50, 60, 10)])])
def test_episodes_closer_than_thirty_minutes_are_one(gap: int, found: list[tuple[int, int, int]]) -> None:
    assert MERGE_MIN == 30
    assert spans(episodes(mask(120, (10, 20), (20 + gap, 30 + gap)), 3)) == found


def test_three_episodes_merge_in_a_chain() -> None:
    assert spans(episodes(mask(200, (10, 15), (40, 45), (70, 75)), 3)) == [(10, 75, 15)]


@pytest.mark.parametrize(("pause", "end"), [(9, 39), (10, 20)])
def test_open_episode_clears_after_twice_the_persistence(pause: int, end: int) -> None:
    """Persistence 5: it takes ten minutes below the clearing limit to close."""
    holds = mask(120, (10, 20))
    stays = mask(120, (10, 20), (20 + pause, 30 + pause))
    assert spans(episodes(holds, 5, stays=stays, merge=1)) == [(10, end, 10)]


def test_clearing_limit_opens_nothing() -> None:
    assert episodes(mask(60), 5, stays=mask(60, (10, 50))) == []


@given(st.lists(st.booleans(), max_size=200), st.integers(1, 10))
def test_episodes_are_apart_and_hold_what_they_say(bits: list[bool], persistence: int) -> None:
    holds = np.array(bits, dtype=bool)
    found = episodes(holds, persistence)
    for e in found:
        assert holds[e.start]
        assert holds[e.end - 1]
        assert e.held == holds[e.start : e.end].sum() >= persistence
    assert all(b.start - a.end >= MERGE_MIN for a, b in pairwise(found))
    in_episode = np.zeros(len(holds), dtype=bool)
    for e in found:
        in_episode[e.start : e.end] = True
    assert all(in_episode[a:b].all() for a, b in runs(holds) if b - a >= persistence)


def test_merged_takes_in_spans_within_others() -> None:
    assert merged([(0, 50), (10, 20), (60, 70)], 5) == [(0, 50), (60, 70)]
