"""Same tag, same time, again: duplicates are counted, conflicts resolved by the stated rule, both kept.

Equal value and quality: a duplicate. Else the better quality wins; at equal quality the one received later.
A later line of one file counts as received later.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.store import Store
from schemas import TABLES

_KEY = ("tag", "time_utc")


@dataclass(frozen=True)
class Outcome:
    """What became of the readings of a chunk: `duplicate_lines` has line_no and is_marker of duplicates."""

    kept: int
    duplicates: pl.DataFrame


def merge(store: Store, incoming: pl.DataFrame, load_id: str) -> Outcome:
    """Write readings (line_no, tag, time_utc, value, quality, is_marker; in file order) into the store.

    Markers are the bad readings that set-aside values leave behind; they compete like any reading but are not counted.
    """
    ordered = _ordered(incoming)
    contested = _contested(store, ordered)
    if contested is None:
        _append(store, ordered, load_id)
        return Outcome(ordered.height - int(ordered["is_marker"].sum()), ordered.head(0).select("line_no", "is_marker"))
    keys, existing = contested
    free = ordered.join(keys, on=_KEY, how="anti", maintain_order="left")
    _append(store, free, load_id)
    rivals = ordered.join(keys, on=_KEY, how="semi", maintain_order="left")
    duplicates = _resolve(store, rivals, existing, load_id)
    kept = ordered.height - int(ordered["is_marker"].sum()) - int((~duplicates["is_marker"]).sum())
    return Outcome(kept, duplicates)


def _ordered(incoming: pl.DataFrame) -> pl.DataFrame:
    return incoming.sort("tag", "time_utc", "line_no", maintain_order=True)


def _contested(store: Store, ordered: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame] | None:
    """Return (keys that occur more than once, what the store has of them), or None when there is none."""
    same = (pl.col("tag") == pl.col("tag").shift(-1)) & (pl.col("time_utc") == pl.col("time_utc").shift(-1))
    twice = ordered.filter(same).select(_KEY)
    first, last = ordered["time_utc"].min(), ordered["time_utc"].max()
    known = store.rows("SELECT 1 FROM readings WHERE time_utc BETWEEN $a AND $b LIMIT 1", {"a": first, "b": last})
    if not known:
        return (twice.unique(maintain_order=True), _nothing()) if twice.height else None
    store.con.register("incoming_keys", ordered.select(_KEY))
    try:
        existing = store.frame(
            "SELECT r.* FROM readings r SEMI JOIN incoming_keys k ON r.tag = k.tag AND r.time_utc = k.time_utc WHERE r.time_utc BETWEEN $a AND $b",
            a=first,
            b=last,
        )
    finally:
        store.con.unregister("incoming_keys")
    keys = pl.concat([twice, existing.select(_KEY)]).unique(maintain_order=True)
    return (keys, existing) if keys.height else None


def _nothing() -> pl.DataFrame:
    return pl.DataFrame(schema=TABLES["readings"].polars_schema())


def _append(store: Store, rows: pl.DataFrame, load_id: str) -> None:
    if rows.height:
        store.append("readings", _as_readings(store, rows, load_id))


def _as_readings(store: Store, rows: pl.DataFrame, load_id: str) -> pl.DataFrame:
    return rows.select(plant=pl.lit(store.plant), tag="tag", time_utc="time_utc", value="value", quality="quality", load_id=pl.lit(load_id))


def _resolve(store: Store, rivals: pl.DataFrame, existing: pl.DataFrame, load_id: str) -> pl.DataFrame:
    """Settle contested keys; returns line_no and is_marker of the duplicates."""
    held = existing.select(*_KEY, held_value="value", held_quality="quality", held_load="load_id")
    joined = rivals.join(held, on=_KEY, how="left", maintain_order="left")
    differs = joined.select(
        *_KEY,
        differs=pl.col("held_load").is_not_null()
        & (pl.col("value").ne_missing(pl.col("held_value")) | (pl.col("quality") != pl.col("held_quality"))),
        value="value",
        quality="quality",
    )
    by_key = differs.group_by(_KEY, maintain_order=True).agg(
        conflict=pl.col("differs").any() | (pl.struct("value", "quality").n_unique() > 1),
    )
    in_conflict = by_key.filter("conflict").select(_KEY)
    calm = joined.join(in_conflict, on=_KEY, how="anti", maintain_order="left") if in_conflict.height else joined
    first = calm.with_columns(nth=pl.int_range(pl.len()).over(_KEY)).with_columns(
        is_new=pl.col("held_load").is_null() & (pl.col("nth") == 0)
    )
    _append(store, first.filter("is_new"), load_id)
    duplicates = [first.filter(~pl.col("is_new")).select("line_no", "is_marker")]
    if in_conflict.height:
        duplicates.append(_fight(store, rivals.join(in_conflict, on=_KEY, how="semi", maintain_order="left"), existing, load_id))
    return pl.concat(duplicates)


def _fight(store: Store, rivals: pl.DataFrame, existing: pl.DataFrame, load_id: str) -> pl.DataFrame:
    """Settle keys whose versions disagree, one after the other in order of receipt."""
    holders = {(r["tag"], r["time_utc"]): r for r in existing.to_dicts()}
    before = set(holders)
    losers: list[dict[str, object]] = []
    duplicates: list[tuple[int, bool]] = []
    touched: dict[tuple[object, object], dict[str, object]] = {}
    for row in rivals.to_dicts():
        key = (row["tag"], row["time_utc"])
        new = {"plant": store.plant, **{k: row[k] for k in ("tag", "time_utc", "value", "quality")}, "load_id": load_id}
        held = touched.get(key, holders.get(key))
        if held is None:
            touched[key] = new
        elif held["value"] == new["value"] and held["quality"] == new["quality"]:
            duplicates.append((row["line_no"], row["is_marker"]))
        else:
            wins = new["quality"] <= held["quality"]  # type: ignore[operator]
            winner, loser = (new, held) if wins else (held, new)
            why = "received later" if new["quality"] == held["quality"] else "better quality"
            losers.append({**loser, "superseded_by": winner["load_id"], "superseded_reason": why})
            touched[key] = winner
    _write_fight(store, touched, before, losers)
    return pl.DataFrame(duplicates, schema={"line_no": pl.UInt32, "is_marker": pl.Boolean}, orient="row")


def _write_fight(
    store: Store,
    touched: dict[tuple[object, object], dict[str, object]],
    before: set[tuple[object, object]],
    losers: list[dict[str, object]],
) -> None:
    del before
    store.upsert("readings", pl.DataFrame(list(touched.values()), schema=TABLES["readings"].polars_schema()))
    history = pl.DataFrame(losers, schema=TABLES["readings_history"].polars_schema())
    # one version a load and key: a load that contradicts itself keeps its last losing value
    store.upsert("readings_history", history.unique(TABLES["readings_history"].key, keep="last", maintain_order=True))
