"""Days of the work list as spans, and spans in pieces."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines import publish
from pipelines.publish import database


def test_contiguous_days() -> None:
    d = [date(2026, 1, 30), date(2026, 1, 31), date(2026, 2, 1), date(2026, 2, 3)]
    assert publish.contiguous(d) == [(d[0], d[2]), (d[3], d[3])]
    assert publish.contiguous([]) == []


def test_pieces_cover_a_span_once() -> None:
    first, last = date(2024, 1, 1), date(2024, 12, 31)
    pieces = database._pieces(first, last)
    covered = [a + timedelta(days=k) for a, b in pieces for k in range((b - a).days + 1)]
    assert covered == [first + timedelta(days=k) for k in range(366)]
