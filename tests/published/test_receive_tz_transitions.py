"""Every clock change of the IANA time zone database in tz_transitions.csv, through the receive step's localiser.

Source of the data: tz_transitions.md beside it. Expected instants are computed from the offsets in the file, not from
a time zone library.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipelines.plant.model import Layout
from pipelines.receive.times.stamps import Times
from pipelines.receive.times.zones import AMBIGUOUS, MISSING_HOUR, Localiser

MINUTE = timedelta(minutes=1)
with (Path(__file__).parent / "tz_transitions.csv").open(encoding="utf-8") as source:
    ROWS = list(csv.DictReader(source))


def offset(text: str) -> timedelta:
    """'1:00:00' or '-1 day, 19:00:00', as Python writes a timedelta."""
    days, _, clock = text.rpartition(", ")
    hours, minutes, seconds = (int(part) for part in clock.split(":"))
    return timedelta(days=int(days.split()[0]) if days else 0, hours=hours, minutes=minutes, seconds=seconds)


def localised(zone: str, wall: list[datetime], **layout: object) -> list[tuple[datetime | None, str | None]]:
    block = Layout(id="x", kind="wide", files="*", time_column="t", time_zone=zone, **layout)
    times = Times(pl.Series(wall, dtype=pl.Datetime("us")), None)
    found = Localiser(block, "UTC").to_utc(times)
    return list(zip(found.utc.to_list(), found.reason.to_list(), strict=True))


def test_there_are_104_transitions() -> None:
    assert len(ROWS) == 104
    forward = sum(offset(r["offset_after"]) > offset(r["offset_before"]) for r in ROWS)
    assert 0 < forward < len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['zone']}-{r['utc'][:10]}")
def test_minutes_round_a_transition(row: dict[str, str]) -> None:
    """A minute log of six hours round the change, as a logger on local time writes it: every minute comes back."""
    instant = datetime.fromisoformat(row["utc"]).astimezone(UTC)
    before, after = offset(row["offset_before"]), offset(row["offset_after"])
    assert datetime.fromisoformat(row["local_after"]).astimezone(UTC) == instant
    utc = [instant + k * MINUTE for k in range(-180, 180)]
    wall = [(t + (before if t < instant else after)).replace(tzinfo=None) for t in utc]
    assert localised(row["zone"], wall) == [(t, None) for t in utc]


FORWARD = [r for r in ROWS if offset(r["offset_after"]) > offset(r["offset_before"])]
BACK = [r for r in ROWS if offset(r["offset_after"]) < offset(r["offset_before"])]


@pytest.mark.parametrize("row", FORWARD, ids=lambda r: f"{r['zone']}-{r['utc'][:10]}")
def test_missing_hour_is_refused_to_the_minute(row: dict[str, str]) -> None:
    instant = datetime.fromisoformat(row["utc"]).astimezone(UTC)
    before, after = offset(row["offset_before"]), offset(row["offset_after"])
    first = (instant + before).replace(tzinfo=None)  # the first wall time that does not exist
    last = first + (after - before) - MINUTE
    found = localised(row["zone"], [first - MINUTE, first, last, last + MINUTE])
    assert found == [(instant - MINUTE, None), (None, MISSING_HOUR), (None, MISSING_HOUR), (instant, None)]


@pytest.mark.parametrize("row", BACK, ids=lambda r: f"{r['zone']}-{r['utc'][:10]}")
def test_repeated_hour_both_ways_and_refused_when_order_is_lost(row: dict[str, str]) -> None:
    instant = datetime.fromisoformat(row["utc"]).astimezone(UTC)
    before, after = offset(row["offset_before"]), offset(row["offset_after"])
    shift = before - after
    first = (instant - shift + before).replace(tzinfo=None)  # the first wall time that comes twice
    minutes = int(shift / MINUTE)
    once = [first + k * MINUTE for k in range(minutes)]
    early = [instant - shift + k * MINUTE for k in range(minutes)]
    late = [instant + k * MINUTE for k in range(minutes)]
    lead, tail = [first - k * MINUTE for k in (2, 1)], [first + shift, first + shift + MINUTE]
    in_order = localised(row["zone"], [*lead, *once, *once, *tail])
    assert [t for t, _ in in_order[2:-2]] == early + late
    assert {reason for _, reason in in_order} == {None}
    assert [t for t, _ in localised(row["zone"], [*lead, *once])[2:]] == early  # the log ends in the first pass
    assert [t for t, _ in localised(row["zone"], [*once, *tail])[:-2]] == late  # the log begins in the second
    for lost in ([*lead, *sorted(once + once), *tail], [*lead, *once, *tail], once):
        found = localised(row["zone"], lost)
        inside = [f for f, wall in zip(found, lost, strict=True) if first <= wall < first + shift]
        assert inside == [(None, AMBIGUOUS)] * len(inside)
        assert all(reason is None for f in found if f not in inside for reason in f[1:])
