"""From "the rule holds in this minute" to episodes: persistence, clearing, merging."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
Values = NDArray[np.float64]
Facts = Mapping[str, float | int | str | None]

MERGE_MIN = 30  # [min] episodes closer than this are one (common practice, no source)


@dataclass(frozen=True)
class Episode:
    """Minutes `start` to `end` (exclusive), counted from the start of the series; `held` of them fulfil the rule."""

    start: int
    end: int
    held: int
    facts: Facts = field(default_factory=dict)


def runs(mask: Mask) -> list[tuple[int, int]]:
    """Return the maximal runs of true minutes as (start, end exclusive)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def merged(spans: list[tuple[int, int]], closer_than: int) -> list[tuple[int, int]]:
    """Join spans (sorted by start) that overlap or lie less than `closer_than` minutes apart."""
    out: list[tuple[int, int]] = []
    for start, end in spans:
        if out and start - out[-1][1] < closer_than:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def episodes(holds: Mask, persistence: int, *, stays: Mask | None = None, merge: int = MERGE_MIN) -> list[Episode]:
    """Return the episodes of a rule over contiguous minutes.

    An episode opens with `persistence` minutes in a row in which the rule holds. With `stays` (the rule at its lower,
    clearing limit; true wherever `holds` is) it goes on until twice the persistence in a row does not stay.
    """
    opened = [(a, b) for a, b in runs(holds) if b - a >= persistence]
    if stays is not None:
        groups = merged(runs(stays | holds), 2 * persistence)
        opened = [(a, next(end for start, end in groups if start <= a < end)) for a, _ in opened]
    return [Episode(a, b, int(holds[a:b].sum())) for a, b in merged(opened, merge)]
