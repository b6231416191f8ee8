"""Limit how long states are held when a whole line is silent: a missing export is not a stopped line."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import numpy as np

from pipelines.align.grid import RoleMinutes, Span
from pipelines.align.segments import Times, Truth
from pipelines.plant import limits
from pipelines.store.reading_series import Series
from schemas.roles import ROLES

_TICK = timedelta(microseconds=1)


def without_held_states(
    roles: Mapping[str, RoleMinutes], spans: Mapping[str, list[Span]], series: Mapping[str, Series], edges: Times
) -> dict[str, RoleMinutes]:
    """Return the roles of a line on the intervals between the edges [us], states unknown after a long silence of the line.

    A state whose signal sets `hold_limit` is held that long regardless of the line's silence.
    """
    held = [name for name, found in spans.items() if ROLES[name].kind == "state" and all(s.signal.hold_limit is None for s in found)]
    if not held or len(held) == len(spans):
        return dict(roles)
    silent = _silent(spans, series, edges)
    return {name: found.without(silent) if name in held else found for name, found in roles.items()} if silent.any() else dict(roles)


def _silent(spans: Mapping[str, list[Span]], series: Mapping[str, Series], edges: Times) -> Truth:
    """Return the intervals that end more than limits.LONGEST_SILENCE after the last reading of any tag of the line."""
    last = np.full(len(edges) - 1, np.iinfo(np.int64).min // 2)
    for tag in {span.signal.tag for found in spans.values() for span in found}:
        times = series[tag].t if tag in series else edges[:0]
        before = np.searchsorted(times, edges[1:]) - 1
        said = before >= 0
        last[said] = np.maximum(last[said], times[before[said]])
    return np.asarray(edges[1:] - last > limits.LONGEST_SILENCE // _TICK)
