"""Bare dates and sample numbers of lab sheets: which column holds on an operating day, and what a shared number names."""

from __future__ import annotations

from datetime import date

from pipelines.store import Store
from tests.unit.check.test_lab_sheets import LONG, WIDE, Take, aside, results, take

__all__ = ["take"]


def test_a_bare_date_is_read_by_the_column_that_holds_on_its_operating_day(store: Store, take: Take) -> None:
    """The day begins at 06:00. From 10 January the column holds moisture: 78 % that day is 22 % TS, not a cake of 78 %."""
    both = {"column": "Cake", "line": "line-1", "point": "cake", "unit": "%"}
    layout = WIDE | {
        "results": [{**both, "analyte": "ts", "until": date(2026, 1, 10)}, {**both, "analyte": "moisture", "since": date(2026, 1, 10)}]
    }
    take(layout, "Date,Cake\n1/9/2026,22.5\n1/10/2026,78\n")
    assert results(store, "operating_day, value") == [(date(2026, 1, 9), 22.5), (date(2026, 1, 10), 22.0)]
    assert aside(store) == []


def test_a_number_of_a_round_is_shared_by_its_feed_and_filtrate(store: Store, take: Take) -> None:
    """Feed and filtrate TS under one number: two samples where the number is the round's, a contradiction where it is a bottle's."""
    rounds = "Date,No,Where,What,Result,Unit\n1/5/2026,17,feed,TS,2.4,%\n1/5/2026,17,filtrate,TS,0.08,%\n1/6/2026,18,feed,TS,2.5,%\n"
    numbered = LONG | {"sample_column": "No"}
    take(numbered | {"sample_number": "round"}, rounds)
    assert results(store, "sample_id, point, value, replicates") == [
        ("17/line-1/feed", "feed", 2.4, 1), ("17/line-1/filtrate", "filtrate", 0.08, 1), ("18/line-1/feed", "feed", 2.5, 1),
    ]  # fmt: skip
    assert aside(store) == []


def test_a_bottle_at_two_points_is_refused_and_says_how_rounds_are_declared(store: Store, take: Take) -> None:
    take(LONG | {"sample_column": "No"}, "Date,No,Where,What,Result,Unit\n1/5/2026,17,feed,TS,2.4,%\n1/5/2026,17,filtrate,TS,0.08,%\n")
    assert [(no, reason) for no, reason, _ in aside(store)] == [(2, "duplicate disagreement"), (3, "duplicate disagreement")]
    assert all('sample_number = "round"' in detail for _, _, detail in aside(store))
