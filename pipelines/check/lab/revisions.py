"""Lab results into the store: duplicates, revisions with history.

The result in force is the one the lab reported last; without a stated time of report, the one received last. A
result equal to the standing one is a duplicate; a stated later time of report then moves the standing one's time on, and
one equal to an older version (value and stated time of report) changes nothing: so the order of receipt does not matter
wherever the lab says when it reported.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl

from pipelines.check import row_schemas
from pipelines.check.lab import plausible_sets
from pipelines.check.lab.sample_times import days_of
from pipelines.check.lab.sheet import Result
from pipelines.check.readings.duplicates import Outcome
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas import TABLES

SUPERSEDED = "superseded by a later revision"
_COMPARED = ("value", "qualifier", "detection_limit", "value_at_zero", "value_at_limit", "line", "point", "from_utc", "to_utc", "lot")
_Key = tuple[str, str]


def merge(store: Store, samples: list[Result], load_id: str, plant_file: PlantFile) -> tuple[Outcome, set[date]]:
    """Write the results of one load; return the outcome of its values and the operating days that changed."""
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
        days |= {day for v in (*versions, sample) for day in days_of(v, plant_file)}
        touched[key] = _with(versions, _as_version(store, sample, load_id))
    _write(store, touched)
    days |= plausible_sets.judge(store, days | confirmed, plant_file)
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
    row_schemas.upsert(store, "lab_results_history", pl.DataFrame(history, schema=schema))
    row_schemas.upsert(store, "lab_results", pl.DataFrame(latest, schema=schema))
