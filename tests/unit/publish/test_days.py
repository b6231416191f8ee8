"""Spans of days in pieces."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines.publish import database


def test_pieces_cover_a_span_once() -> None:
    first, last = date(2024, 1, 1), date(2024, 12, 31)
    pieces = database._pieces(first, last)
    covered = [a + timedelta(days=k) for a, b in pieces for k in range((b - a).days + 1)]
    assert covered == [first + timedelta(days=k) for k in range(366)]
