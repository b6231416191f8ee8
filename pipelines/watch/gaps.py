"""Gaps of several signals at one time have one cause: the export or the logger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipelines.watch.episodes import Episode

SAME_SHARE = 0.5  # of the longer gap: gaps that share so much are one (rule of this project)


def shared(of_role: Mapping[str, Sequence[Episode]]) -> list[tuple[tuple[str, ...], list[Episode]]]:
    """Return (roles, gaps they have in common) for each set of roles; a gap that overlaps no other keeps its own role."""
    groups = list[tuple[list[str], Episode]]()
    for role, found in of_role.items():
        for gap in found:
            same = next((g for g in groups if role not in g[0] and _is_same(g[1], gap)), None)
            if same is None:
                groups.append(([role], gap))
            else:
                same[0].append(role)
                groups[groups.index(same)] = (same[0], _joined(same[1], gap))
    out = dict[tuple[str, ...], list[Episode]]()
    for roles, gap in sorted(groups, key=lambda g: g[1].start):
        out.setdefault(tuple(roles), []).append(gap)
    return list(out.items())


def _is_same(a: Episode, b: Episode) -> bool:
    common = min(a.end, b.end) - max(a.start, b.start)
    return common >= SAME_SHARE * max(a.end - a.start, b.end - b.start)


def _joined(a: Episode, b: Episode) -> Episode:
    """Return the gap that spans both; what it held is the longer of the two."""
    longer = max(a, b, key=lambda e: e.held)
    return replace(longer, start=min(a.start, b.start), end=max(a.end, b.end))
