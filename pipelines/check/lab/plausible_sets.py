"""Plausibility of lab results: rounds that contradict themselves, and methods compared.

Every day that a load touches is judged again from its current results, so the verdict does not depend on the order of
receipt, and a result counts again once the one that contradicted it is revised.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import date, datetime, timedelta
from statistics import fmean
from typing import Any

import polars as pl

from pipelines.check import row_schemas
from pipelines.check.lab.sample_times import days_of
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas import TABLES

INCONSISTENT = "inconsistent sample set"
OTHER_METHOD = "another method of the same sample counts"
_POINTS = ("feed", "cake", "filtrate")  # of a round; strengths, tickets and stock do not belong to it
_PCT_TO_MG_L = 1e4  # at SG 1
# A round below this capture need not be false, but it is no evidence that a result of another, impossible round is true (common practice, no source).
_BEARS_OUT_PCT = 50.0
_SUFFIX = re.compile(r" \[([^\]]+)\]\Z")  # of a sample run by another than the preferred method
_Member = dict[str, Any]


def judge(store: Store, days: set[date], plant_file: PlantFile) -> set[date]:
    """Mark the results of these operating days as used or unused; return the days that changed.

    Of one sample run by several methods the preferred one counts. Filtrate at or above the feed, cake below it, or a
    capture outside 0 to 100 %: which result of the round is wrong is not known, so none of it is used.
    """
    if not days:
        return set()
    rows = store.frame(
        "SELECT h.* FROM lab_results_history h SEMI JOIN lab_results l USING (sample_id, analyte, revision) "
        "WHERE list_contains($days, h.operating_day) ORDER BY h.sample_id, h.analyte",
        days=sorted(days),
    ).to_dicts()
    changed = [new for old, new in zip(rows, judged(rows, plant_file), strict=True) if old["unused_reason"] != new["unused_reason"]]
    frame = pl.DataFrame(changed, schema=TABLES["lab_results"].polars_schema())
    row_schemas.upsert(store, "lab_results", frame)
    row_schemas.upsert(store, "lab_results_history", frame)
    return {day for m in changed for day in days_of(m, plant_file)}


def judged(rows: list[_Member], plant_file: PlantFile) -> list[_Member]:
    """Return results, in their order, with is_used and unused_reason from the rounds of their line and day."""
    sets: dict[tuple[str, date], list[_Member]] = {}
    for row in rows:
        if row["point"] in _POINTS:
            sets.setdefault((row["line"], row["operating_day"]), []).append(row)
    reasons: dict[int, str | None] = {}
    for members in sets.values():
        beside = _other_methods(members, plant_file.lab.methods)
        impossible = impossible_members([m for m in members if id(m) not in beside])
        reasons |= {id(m): OTHER_METHOD if id(m) in beside else INCONSISTENT if id(m) in impossible else None for m in members}
    return [r if id(r) not in reasons else {**r, "is_used": reasons[id(r)] is None, "unused_reason": reasons[id(r)]} for r in rows]


def _other_methods(members: list[_Member], methods: tuple[str, ...]) -> set[int]:
    """Return the ids of results for which a preferred method of the same sample has a result too."""
    if len(methods) < 2:
        return set()
    rank = {m: i for i, m in enumerate(methods)}
    samples: dict[tuple[str, str, str], list[tuple[int, int]]] = {}
    for m in members:
        suffix = _SUFFIX.search(m["sample_id"])
        base = m["sample_id"][: suffix.start()] if suffix and suffix[1] in rank else m["sample_id"]
        samples.setdefault((m["point"], m["analyte"], base), []).append((rank.get(suffix[1], 0) if suffix else 0, id(m)))
    return {who for ranked in samples.values() for place, who in ranked if place > min(ranked)[0]}


def impossible_members(members: list[_Member]) -> set[int]:
    """Return the ids of the results of a line's day that stand in an impossible round and in no possible one.

    A round is a sample with the samples of the other two points nearest to it in time; samples of one point taken in one span count
    as their mean. Which result of an impossible round is wrong is not known, so all of it is unused, except what another round confirms:
    a feed sample of the day is judged with each of the day's filtrates. A round that loses most of the feed's solids confirms nothing.
    """
    samples: dict[tuple[str, datetime, datetime], list[_Member]] = {}
    for m in members:
        samples.setdefault((m["point"], m["from_utc"], m["to_utc"]), []).append(m)
    in_doubt, borne_out = set[int](), set[int]()
    for key in samples:
        taken = {id(m): m for other in _round(key, samples) for m in samples[other]}
        if contradicts_itself(list(taken.values())):
            in_doubt.update(taken)
        elif _bears_out(list(taken.values())):
            borne_out.update(taken)
    return in_doubt - borne_out


def _round(
    key: tuple[str, datetime, datetime], samples: Collection[tuple[str, datetime, datetime]]
) -> list[tuple[str, datetime, datetime]]:
    """Return a sample and, of each other point, those whose middle lies nearest to its own."""
    out = [key]
    for point in _POINTS:
        others = [k for k in samples if k[0] == point and point != key[0]]
        nearest = min((_apart(key, k) for k in others), default=None)
        out += [k for k in others if _apart(key, k) == nearest]
    return out


def _apart(one: tuple[str, datetime, datetime], other: tuple[str, datetime, datetime]) -> timedelta:
    """Return twice the time between the middles of two spans."""
    return abs((one[1] - other[1]) + (one[2] - other[2]))


def contradicts_itself(members: list[_Member]) -> bool:
    """Return whether results cannot be true together: solids neither vanish nor appear in the device. Judged on the mean of each point."""
    feed, cake, lost = _mean(members, "feed", "ts"), _mean(members, "cake", "ts"), _lost_pct(members)
    if feed is None:
        return False
    if any(x >= feed for x in lost) or (cake is not None and cake < feed):
        return True
    return cake is not None and any(not 0.0 <= _capture_pct(feed, cake, x) <= 100.0 for x in lost)


def _bears_out(members: list[_Member]) -> bool:
    """Return whether a possible round is evidence for its results: with a feed and a filtrate, most of the solids are captured."""
    feed = _mean(members, "feed", "ts")
    return feed is None or all(x <= feed * (1.0 - _BEARS_OUT_PCT / 100.0) for x in _lost_pct(members))


def _lost_pct(members: list[_Member]) -> list[float]:
    """Return the solids of the filtrate [% by mass], by each analyte there is."""
    found = (_mean(members, "filtrate", "tss"), _mean(members, "filtrate", "ts"))
    return [x / scale for x, scale in zip(found, (_PCT_TO_MG_L, 1.0), strict=True) if x is not None]


def _capture_pct(feed_pct: float, cake_pct: float, lost_pct: float) -> float:
    """Return R = 100 [1 - X/TS] / [1 - X/C], the capture of an undiluted filtrate [%]; outside 0 to 100 when X >= C."""
    return 100.0 * (1.0 - lost_pct / feed_pct) / (1.0 - lost_pct / cake_pct) if lost_pct < cake_pct else -1.0


def _mean(members: list[_Member], point: str, analyte: str) -> float | None:
    numbers = [m["value"] for m in members if m["point"] == point and m["analyte"] == analyte]
    return fmean(numbers) if numbers else None
