"""Lab results into the store: duplicates, revisions with history, and sets that contradict themselves kept out of KPIs.

The result that stands is the one the lab reported last; where the sheet does not say when, the one received last. A
result equal to the standing one is a duplicate; a stated later time of report then moves the standing one's time on, and
one equal to an older version (value and stated time of report) changes nothing: so the order of receipt does not matter
wherever the lab says when it reported.
"""

from __future__ import annotations

from datetime import date
from statistics import fmean
from typing import Any

import polars as pl

from pipelines.check import guard
from pipelines.check.lab import Result
from pipelines.check.versions import Outcome
from pipelines.store import Store
from schemas import TABLES

INCONSISTENT = "inconsistent sample set"
SUPERSEDED = "superseded by a later revision"
_COMPARED = ("value", "qualifier", "detection_limit", "line", "point", "from_utc", "to_utc")
_Key = tuple[str, str]
_PCT_TO_MG_L = 1e4  # at SG 1


def merge(store: Store, samples: list[Result], load_id: str) -> tuple[Outcome, set[date]]:
    """Write the results of one load; returns what became of its values, and the operating days of results that changed."""
    history = _history(store, {s["sample_id"] for s in samples})
    touched: dict[_Key, list[dict[str, Any]]] = {}
    days: set[date] = set()
    confirmed: set[date] = set()
    duplicate_lines: list[int] = []
    for sample in samples:
        key = (sample["sample_id"], sample["analyte"])
        versions = history.get(key, [])
        repeated = _repeated(sample, versions)
        if repeated is not None:
            duplicate_lines += sample["lines"]
            if repeated is versions[-1] and sample["is_reported"] and sample["reported_utc"] > repeated["reported_utc"]:
                repeated["reported_utc"] = sample["reported_utc"]
                touched[key] = versions
                confirmed.add(repeated["operating_day"])
            continue
        days |= {v["operating_day"] for v in versions} | {sample["operating_day"]}
        touched[key] = _with(versions, _as_version(store, sample, load_id))
    _write(store, touched)
    _judge_sets(store, days | confirmed)
    counted = sum(len(s["lines"]) for s in samples)
    lines = pl.DataFrame({"line_no": duplicate_lines}, schema={"line_no": pl.UInt32}).with_columns(is_mark=False, is_duplicate=True)
    return Outcome(counted - len(duplicate_lines), len(duplicate_lines), lines), days


def _history(store: Store, sample_ids: set[str]) -> dict[_Key, list[dict[str, Any]]]:
    """Return all versions of the results of some samples, in order of report (then receipt), with `is_reported`."""
    if not sample_ids:
        return {}
    rows = store.frame(
        "SELECT h.*, h.reported_utc <> l.received_utc AS is_reported FROM lab_results_history h JOIN loads l USING (load_id) "
        "WHERE list_contains($ids, h.sample_id) ORDER BY h.revision",
        ids=sorted(sample_ids),
    )
    found: dict[_Key, list[dict[str, Any]]] = {}
    for row in rows.to_dicts():
        found.setdefault((row["sample_id"], row["analyte"]), []).append(row)
    return found


def _repeated(sample: Result, versions: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the known version that a result repeats, or None."""
    equal = [v for v in versions if all(v[c] == sample[c] for c in _COMPARED)]
    if equal and equal[-1] is versions[-1]:
        return equal[-1]
    return next((v for v in equal if sample["is_reported"] and v["reported_utc"] == sample["reported_utc"]), None)


def _as_version(store: Store, sample: Result, load_id: str) -> dict[str, Any]:
    return {**sample, "plant": store.plant, "load_id": load_id, "is_used": True, "unused_reason": None, "revision": 1}


def _with(versions: list[dict[str, Any]], new: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the versions with a new one, in order of report; of equals the one received later comes last."""
    ordered = sorted([*versions, new], key=lambda v: v["reported_utc"])
    for number, version in enumerate(ordered, start=1):
        version["revision"] = number
    return ordered


def _write(store: Store, touched: dict[_Key, list[dict[str, Any]]]) -> None:
    if not touched:
        return
    schema = TABLES["lab_results_history"].polars_schema()
    history, latest = [], []
    for versions in touched.values():
        for version in versions[:-1]:
            version |= {"is_used": False, "unused_reason": SUPERSEDED}
        versions[-1] |= {"is_used": True, "unused_reason": None}
        history += [{name: v[name] for name in schema} for v in versions]
        latest.append({name: versions[-1][name] for name in schema})
    guard.upsert(store, "lab_results_history", pl.DataFrame(history, schema=schema))
    guard.upsert(store, "lab_results", pl.DataFrame(latest, schema=schema))


def _judge_sets(store: Store, days: set[date]) -> None:
    """Keep results out of use when those of a line and day cannot be true together, and take them back when they can.

    Filtrate TSS at or above feed TS, or cake below feed: which of them is wrong is not known, so none is used. Judged on
    the means of the day; polymer solution strength is no part of the set.
    """
    if not days:
        return
    rows = store.frame(
        "SELECT h.* FROM lab_results_history h SEMI JOIN lab_results l USING (sample_id, analyte, revision) "
        "WHERE list_contains($days, h.operating_day) ORDER BY h.sample_id, h.analyte",
        days=sorted(days),
    ).to_dicts()
    changed = [new for old, new in zip(rows, judged(rows), strict=True) if old["unused_reason"] != new["unused_reason"]]
    frame = pl.DataFrame(changed, schema=TABLES["lab_results"].polars_schema())
    guard.upsert(store, "lab_results", frame)
    guard.upsert(store, "lab_results_history", frame)


def judged(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return results with is_used and unused_reason by what those of their line and day say together, in their order."""
    sets: dict[tuple[str, date], list[dict[str, Any]]] = {}
    for row in rows:
        if row["point"] != "polymer solution":
            sets.setdefault((row["line"], row["operating_day"]), []).append(row)
    verdicts = {key: INCONSISTENT if _contradicts_itself(members) else None for key, members in sets.items()}
    return [
        row
        if row["point"] == "polymer solution"
        else {**row, "is_used": (verdict := verdicts[row["line"], row["operating_day"]]) is None, "unused_reason": verdict}
        for row in rows
    ]


def _contradicts_itself(members: list[dict[str, Any]]) -> bool:
    feed = _mean(members, "feed", "ts")
    cake, filtrate = _mean(members, "cake", "ts"), _mean(members, "filtrate", "tss")
    if feed is None:
        return False
    return (filtrate is not None and filtrate >= feed * _PCT_TO_MG_L) or (cake is not None and cake < feed)


def _mean(members: list[dict[str, Any]], point: str, analyte: str) -> float | None:
    numbers = [m["value"] for m in members if m["point"] == point and m["analyte"] == analyte]
    return fmean(numbers) if numbers else None
