"""Days that the watch takes together: cut where no curve reaches over, and where a piece grows long."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines import watch


def day_of(k: int) -> date:
    return date(2026, 1, 5) + timedelta(days=k)


def test_pieces_are_cut_where_no_curve_reaches_over() -> None:
    days = [*(day_of(k) for k in range(40)), day_of(53), day_of(68)]
    cut = [(p[0], p[-1], len(p)) for p in watch.pieces(days)]
    assert cut == [(day_of(0), day_of(30), 31), (day_of(31), day_of(53), 10), (day_of(68), day_of(68), 1)]
    assert watch.pieces([]) == []
