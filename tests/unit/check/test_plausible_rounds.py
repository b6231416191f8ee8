"""Which rounds of feed, cake and filtrate cannot be true together: judged round by round, not on the day's means."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from pipelines.check.lab.plausible_sets import contradicts_itself, impossible_members

DAY = datetime(2026, 1, 5, tzinfo=UTC)
ANALYTE = {"feed": "ts", "cake": "ts", "filtrate": "tss"}


def sample(point: str, hour: float, value: float, *, hours: float = 0.0) -> dict[str, Any]:
    at = DAY + timedelta(hours=hour)
    return {"point": point, "analyte": ANALYTE[point], "value": value, "from_utc": at, "to_utc": at + timedelta(hours=hours)}


def refused(*samples: dict[str, Any]) -> list[tuple[str, float]]:
    found = impossible_members(list(samples))
    return [(s["point"], s["value"]) for s in samples if id(s) in found]


def test_one_impossible_filtrate_is_set_aside_although_the_days_means_look_possible() -> None:
    """41,000 mg/L is 4.1 %, above the feed's 2.87 %; the mean of three filtrates, 14,200 mg/L (1.42 %), is below it."""
    rounds = [
        sample("feed", 8, 2.87), sample("cake", 8, 22.0), sample("filtrate", 8, 800.0),
        sample("feed", 11, 2.90), sample("cake", 11, 22.4), sample("filtrate", 11, 41_000.0),
        sample("feed", 14, 2.84), sample("cake", 14, 21.8), sample("filtrate", 14, 800.0),
    ]  # fmt: skip
    assert not contradicts_itself(rounds)  # what was judged before
    assert refused(*rounds) == [("feed", 2.90), ("cake", 22.4), ("filtrate", 41_000.0)]


def test_the_days_one_feed_sample_stays_when_another_filtrate_bears_it_out() -> None:
    rounds = [
        sample("feed", 8, 2.87), sample("cake", 8, 22.0), sample("filtrate", 8, 800.0), sample("cake", 14, 22.0), sample("filtrate", 14, 41_000.0),
    ]  # fmt: skip
    assert refused(*rounds) == [("cake", 22.0), ("filtrate", 41_000.0)]
    assert impossible_members(rounds) == {id(rounds[3]), id(rounds[4])}


def test_swapped_bottles_are_not_borne_out_by_a_later_feed_above_them() -> None:
    """Feed and filtrate changed labels twice; the third feed (3.63 %) lies above the second "filtrate" (3.43 %): a capture of 6 % confirms nothing."""
    rounds = [
        sample("feed", 8, 0.21), sample("cake", 8, 22.1), sample("filtrate", 8, 32_000.0),
        sample("feed", 16, 0.15), sample("cake", 16, 20.7), sample("filtrate", 16, 34_255.0), sample("feed", 23, 3.63),
    ]  # fmt: skip
    assert [s for s in rounds if id(s) not in impossible_members(rounds)] == rounds[6:]


def test_a_feed_that_no_filtrate_bears_out_takes_all_its_rounds_with_it() -> None:
    """Feed typed as 0.0287 %: less than either filtrate (0.08 %)."""
    rounds = [sample("feed", 8, 0.0287), sample("filtrate", 8, 800.0), sample("filtrate", 14, 900.0)]
    assert len(refused(*rounds)) == 3


@pytest.mark.parametrize("second, together", [(41_000.0, 0), (60_000.0, 3)])
def test_duplicates_of_one_span_are_judged_on_their_mean(second: float, together: int) -> None:
    """Of 500 and 41,000 mg/L the mean is 2.075 %, below the feed's 2.87 %: the duplicate check speaks to those, not this one."""
    rounds = [sample("feed", 6, 2.87, hours=24), sample("filtrate", 6, 500.0, hours=24), sample("filtrate", 6, second, hours=24)]
    assert len(refused(*rounds)) == together


def test_cake_thinner_than_its_feed_is_impossible_without_a_filtrate() -> None:
    assert refused(sample("feed", 8, 2.9), sample("cake", 9, 2.1)) == [("feed", 2.9), ("cake", 2.1)]
    assert refused(sample("feed", 8, 2.9), sample("filtrate", 9, 800.0)) == []
    assert refused(sample("cake", 8, 2.9), sample("filtrate", 9, 41_000.0)) == []  # without a feed nothing contradicts
