"""Sets of days and the draw of their order."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from pipelines.compare.plan import Draw, Head, Set, Span


def drawn_sets(head: Head, draw: Draw) -> tuple[Set, ...]:
    """Return the sets of a plan from its first day on: two blocks each, their order drawn by seed; the same seed, the same sets.

    A day with both arms (within-day crossover) is given as two blocks of one date; their hours are the plant's to set.
    """
    rng = np.random.default_rng(draw.seed)
    days = 1 if head.design == "within-day crossover" else draw.block_days
    found, start = [], head.first_day
    for swap in rng.integers(0, 2, draw.sets):
        arms = (head.arm_to, head.arm_from) if swap else (head.arm_from, head.arm_to)
        blocks = []
        for arm in arms:
            last = start + timedelta(days=days - 1)
            blocks.append(Span(arm=arm, first=start, last=last))
            start = start if head.design == "within-day crossover" else last + timedelta(days=1)
        start = start + timedelta(days=1) if head.design == "within-day crossover" else start
        found.append(Set(blocks=tuple(blocks)))
    return tuple(found)


def drawn_rungs(draw: Draw, sets: int) -> list[list[float]]:
    """Return the order of ladder steps [% of the present dose] of each set, drawn by seed."""
    rng = np.random.default_rng([draw.seed, 1])
    return [rng.permutation(draw.rungs_pct).tolist() for _ in range(sets)]


def as_toml(sets: tuple[Set, ...]) -> str:
    """Return the sets as the plan file has them."""
    rows = []
    for one in sets:
        blocks = ", ".join(f'{{ arm = "{b.arm}", first = {b.first}, last = {b.last} }}' for b in one.blocks)
        rows.append(f"[[sets]]\nblocks = [{blocks}]\n")
    return "\n".join(rows)


def set_of(sets: tuple[Set, ...], day: date) -> tuple[int, str] | None:
    """Return number (from 1) and arm of the block a day lies in; None outside every set."""
    for k, one in enumerate(sets, 1):
        for block in one.blocks:
            if _day(block.first) <= day <= _day(block.last):
                return k, block.arm
    return None


def _day(at: date) -> date:
    return date(at.year, at.month, at.day)
