"""Lab results into the store: revisions with history, and sets that contradict themselves kept out of KPIs."""

from __future__ import annotations

from typing import Any

import polars as pl

from pipelines.store import Store
from schemas import TABLES

INCONSISTENT = "inconsistent sample set"
_COMPARED = ("value", "qualifier", "line", "point", "from_utc", "to_utc")


def merge(store: Store, found: list[dict[str, Any]], load_id: str) -> list[dict[str, Any]]:
    """Write the results of one load; returns those that say what is known already (duplicates)."""
    duplicates, fresh = [], []
    for row in found:
        latest = store.frame(
            "SELECT * FROM lab_results WHERE sample_id = $s AND analyte = $a", s=row["sample_id"], a=row["analyte"]
        ).to_dicts()
        if latest and all(latest[0][c] == row[c] for c in _COMPARED):
            duplicates.append(row)
        else:
            fresh.append(row)
    for row in fresh:
        _revise(
            store,
            {
                **{k: v for k, v in row.items() if k != "lines"},
                "plant": store.plant,
                "load_id": load_id,
                "is_used": True,
                "unused_reason": None,
                "revision": 1,
            },
        )
    _judge_sets(store, {(r["line"], r["operating_day"]) for r in fresh})
    return duplicates


def _revise(store: Store, row: dict[str, Any]) -> None:
    """Add a version; the latest reported one (of equals the one received later) is the result."""
    schema = TABLES["lab_results_history"].polars_schema()
    store.upsert("lab_results_history", pl.DataFrame([{k: row.get(k) for k in schema}], schema=schema))
    versions = store.frame(
        "SELECT h.*, l.received_seq FROM lab_results_history h LEFT JOIN loads l USING (load_id) WHERE sample_id = $s AND analyte = $a ORDER BY reported_utc, received_seq NULLS LAST",
        s=row["sample_id"],
        a=row["analyte"],
    ).drop("received_seq")
    numbered = versions.with_columns(revision=pl.int_range(1, pl.len() + 1, dtype=pl.Int32))
    store.upsert("lab_results_history", numbered)
    store.upsert("lab_results", numbered.tail(1))


def _judge_sets(store: Store, sets: set[tuple[str, Any]]) -> None:
    """Mark results of a line and day unused when they cannot be true together: filtrate above feed, cake below feed."""
    for line, day in sorted(sets):
        means = dict(
            store.rows(
                "SELECT point || ' ' || analyte, avg(value) FROM lab_results WHERE line = $line AND operating_day = $day AND analyte IN ('ts', 'tss') GROUP BY 1",
                {"line": line, "day": day},
            )
        )
        feed, cake, filtrate = means.get("feed ts"), means.get("cake ts"), means.get("filtrate tss")
        wrong = feed is not None and ((filtrate is not None and filtrate / 1e4 >= feed) or (cake is not None and cake <= feed))
        store.con.execute(
            "UPDATE lab_results SET is_used = $used, unused_reason = CASE WHEN $used THEN NULL ELSE $why END WHERE line = $line AND operating_day = $day",
            {"used": not wrong, "why": INCONSISTENT, "line": line, "day": day},
        )
