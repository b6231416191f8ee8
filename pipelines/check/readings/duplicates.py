"""Duplicates (same tag, same time): equal ones are counted, conflicts resolved by the stated rule, both versions kept.

Equal value and quality: a duplicate. Else the better quality wins; at equal quality the one received later. A later
line of one file counts as received later. All of it in columns, and nothing at all where nothing overlaps.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import polars as pl

from pipelines.check import row_schemas
from pipelines.check.readings import sorting
from pipelines.store import Store
from schemas import TABLES

_KEY = ["tag", "time_utc"]
_KEPT = ["line_no", "is_mark", "is_duplicate"]


@dataclass(frozen=True)
class Outcome:
    """Outcome of merging readings: `lines` has line_no, is_mark, is_duplicate; None when none is a duplicate or mark.

    `superseded` of those kept went to the history, because another version of their tag and time stands. Of a load's tags and
    times (`keys`) `repeated` stand in it more than once, `contested` of them with differing values.
    """

    kept: int
    duplicates: int
    lines: pl.DataFrame | None
    superseded: int = 0
    keys: int = 0
    repeated: int = 0
    contested: int = 0


@dataclass
class Stored:
    """The span of stored readings, kept current while the chunks of a load are written; None: no readings.

    A chunk outside the span, as on most nights, has no duplicates and needs no query. Neither does a chunk in time order that
    starts at the end of the previous one with other tags: `newest` is the chunk that extended `last`.
    """

    first: datetime | None
    last: datetime | None
    newest: pl.DataFrame | None = None

    @classmethod
    def of(cls, store: Store) -> Stored:
        """Query the store once, before the first chunk."""
        return cls(*store.rows("SELECT min(time_utc), max(time_utc) FROM packed_readings")[0])

    def overlap(self, ordered: pl.DataFrame) -> tuple[datetime, datetime] | None:
        """Return the time span that incoming readings share with the store, or None."""
        low, high = ordered["time_utc"].min(), ordered["time_utc"].max()
        if self.first is None or self.last is None or not isinstance(low, datetime) or not isinstance(high, datetime):
            return None
        first, last = max(low, self.first), min(high, self.last)
        if first == self.last and self.newest is not None and _tags_at(self.newest, first).isdisjoint(_tags_at(ordered, first)):
            return None
        return (first, last) if first <= last else None

    def take(self, ordered: pl.DataFrame) -> None:
        """Extend the span by readings that will be written."""
        before = self.last
        self.first, self.last = sorting.widened(self.first, self.last, ordered["time_utc"])
        reaches_on = self.last != before or self.newest is None or ordered["time_utc"].max() != before
        self.newest = (ordered if self.last != before else self.newest) if reaches_on else None


def _tags_at(ordered: pl.DataFrame, at: datetime) -> frozenset[str]:
    return frozenset(ordered.filter(pl.col("time_utc") == at)["tag"].cast(pl.String))


def merge(store: Store, ordered: pl.DataFrame, load_id: str, stored: Stored, *, has_repeats: bool) -> Outcome:
    """Write readings (line_no, tag, time_utc, value, quality, is_mark; in tag, time, line order) of a load into the store.

    `has_repeats`: a tag and time may occur more than once. Marks (bad readings that values set aside leave behind) compete like any reading but are not counted.
    """
    shared = stored.overlap(ordered)
    held = None if shared is None else _held(store, ordered, *shared)
    stored.take(ordered)
    if held is None and not has_repeats:
        _append(store, ordered, load_id)
        marks = int(ordered["is_mark"].sum())
        lines = ordered.select("line_no", "is_mark", is_duplicate=pl.lit(False)) if marks else None
        return Outcome(ordered.height - marks, 0, lines, keys=ordered.height)
    rivals = _with_holders(ordered, held, load_id)
    settled = _settled(rivals)
    _write(store, settled, load_id)
    lines = settled.filter("is_incoming").select(_KEPT)
    counted = lines.filter(~pl.col("is_mark"))
    duplicates = int(counted["is_duplicate"].sum())
    return Outcome(counted.height - duplicates, duplicates, lines, *_rivalry(settled, load_id))


def _rivalry(settled: pl.DataFrame, load_id: str) -> tuple[int, int, int, int]:
    """Return of a load's readings: superseded ones; and tags and times: all, repeated within the load, with differing values."""
    c = pl.col
    keyed = settled.with_columns(key=c("is_new_key").cum_sum(), is_own=(c("load_id") == load_id) & ~c("is_mark"))
    later = keyed.filter(~c("is_new_key"))
    losers = later.filter(~c("is_duplicate")).select(at=pl.when("wins").then("holder_before").otherwise("at"))["at"]
    superseded = int(settled[losers].select(((c("load_id") == load_id) & ~c("is_mark")).sum()).item()) if len(losers) else 0
    own_before = keyed["is_own"].gather(later["at"] - 1)  # rows of a key stand together
    again = later.filter(c("is_own") & own_before)
    contested = again.filter(~c("is_duplicate"))
    keys = keyed.filter(c("is_incoming"))["key"].n_unique()
    return superseded, keys, again["key"].n_unique(), contested["key"].n_unique()


def _held(store: Store, ordered: pl.DataFrame, first: datetime, last: datetime) -> pl.DataFrame | None:
    """Return the stored readings at the tags and times from `first` to `last` of the incoming readings, or None."""
    keys = ordered.filter(pl.col("time_utc").is_between(first, last)).select("tag", "time_utc")
    numbers = store.numbers("tag", keys["tag"])
    anything = "SELECT 1 FROM packed_readings WHERE time_utc BETWEEN $a AND $b AND list_contains($tags, tag_no) LIMIT 1"
    if not store.rows(anything, {"a": first, "b": last, "tags": numbers.unique().to_list()}):
        return None
    incoming_keys = keys.select(numbers, "time_utc")
    found = store.con.sql(
        "SELECT t.tag, r.time_utc, r.value, r.quality, l.load_id FROM (SELECT * FROM packed_readings WHERE time_utc BETWEEN $a AND $b) r "
        "SEMI JOIN incoming_keys k ON r.tag_no = k.tag_no AND r.time_utc = k.time_utc JOIN tag_numbers t USING (tag_no) JOIN load_numbers l USING (load_no)",
        params={"a": first, "b": last},
    ).pl()
    del incoming_keys
    return found.with_columns(pl.col("tag").cast(ordered["tag"].dtype)) if found.height else None


def _with_holders(ordered: pl.DataFrame, held: pl.DataFrame | None, load_id: str) -> pl.DataFrame:
    """Return incoming readings and those of the store at the same keys, in (tag, time, order of receipt) order."""
    incoming = ordered.with_columns(load_id=pl.lit(load_id), is_incoming=pl.lit(True))
    if held is None:
        return incoming
    stored = held.with_columns(line_no=pl.lit(0, dtype=pl.UInt32), is_mark=pl.lit(False), is_incoming=pl.lit(False))
    return sorting.by_key(pl.concat([stored.select(incoming.columns), incoming]))


def _settled(rivals: pl.DataFrame) -> pl.DataFrame:
    """Apply the precedence rule per key, in order of receipt.

    Adds is_new_key, at (row number), holder_before and holder (row number of the version that stood before and stands after
    the row), is_duplicate. The version that stands is always the last of the best quality so far; an equal one adds nothing.
    """
    c = pl.col
    start = ((c("tag") != c("tag").shift(1)) | (c("time_utc") != c("time_utc").shift(1))).fill_null(True)
    frame = rivals.with_columns(is_new_key=start, at=pl.int_range(pl.len(), dtype=pl.Int64))
    key = c("is_new_key").cum_sum()
    depth = 1 + int(frame.select((c("at") - pl.when("is_new_key").then("at").forward_fill()).max()).item())
    best = (
        c("quality").cum_min().over(key)
        if depth > 2
        else pl.when(c("is_new_key")).then("quality").otherwise(pl.min_horizontal("quality", c("quality").shift(1)))
    )
    frame = frame.with_columns(wins=c("is_new_key") | (c("quality") == best))
    # the row whose value stands after each row; at a key's first row it is the row itself
    standing = pl.when("wins").then("at").forward_fill()
    frame = frame.with_columns(before=pl.when(~c("is_new_key")).then(standing.shift(1)))
    gather = c("before").fill_null(c("at"))
    equal = c("value").eq_missing(c("value").gather(gather)) & (c("quality") == c("quality").gather(gather))
    frame = frame.with_columns(is_duplicate=~c("is_new_key") & equal)
    holder = pl.when(c("wins") & ~c("is_duplicate")).then("at").forward_fill()
    return frame.with_columns(holder=holder, holder_before=pl.when(~c("is_new_key")).then(holder.shift(1)))


def _write(store: Store, settled: pl.DataFrame, load_id: str) -> None:
    """Write the outcome of the rule to readings and their history."""
    c = pl.col
    last = settled.filter(c("is_new_key").shift(-1).fill_null(True))
    standing = settled[last["holder"]]
    fresh = standing.filter("is_incoming")
    replaced = settled.filter(c("is_new_key") & ~c("is_incoming")).join(fresh.select(_KEY), on=_KEY, how="semi")
    if replaced.height:
        _delete(store, replaced)
    _append(store, fresh.select("tag", "time_utc", "value", "quality"), load_id)
    contested = settled.filter(~c("is_new_key") & ~c("is_duplicate"))
    if contested.height:
        _write_history(store, settled, contested)


def _write_history(store: Store, settled: pl.DataFrame, contested: pl.DataFrame) -> None:
    """Keep the loser of each contest; a load that contradicts itself keeps its last losing version of a key."""
    held = settled[contested["holder_before"]]
    loser_at = contested.select(pl.when("wins").then("holder_before").otherwise("at"))["holder_before"]
    winner_at = contested.select(pl.when("wins").then("at").otherwise("holder_before"))["at"]
    losers = settled[loser_at].select("tag", "time_utc", "value", "quality", "load_id")
    equal_quality = contested["quality"] == held["quality"]
    reason = pl.select(pl.when(equal_quality).then(pl.lit("received later")).otherwise(pl.lit("better quality")).alias("superseded_reason"))
    history = losers.with_columns(
        pl.lit(store.plant).alias("plant"),
        pl.col("tag").cast(pl.String),
        settled["load_id"].gather(winner_at).alias("superseded_by"),
        reason.to_series(),
    ).select(TABLES["readings_history"].column_names)
    history = history.unique(TABLES["readings_history"].key, keep="last", maintain_order=True)
    row_schemas.require_schema(store.plant, "readings_history", history)
    store.upsert("readings_history", history)


def _delete(store: Store, rows: pl.DataFrame) -> None:
    first, last = rows["time_utc"].min(), rows["time_utc"].max()
    assert isinstance(first, datetime)
    assert isinstance(last, datetime)
    incoming_keys = rows.select(store.numbers("tag", rows["tag"]), "time_utc")
    store.con.execute(
        "DELETE FROM main.packed_readings r USING incoming_keys k WHERE r.tag_no = k.tag_no AND r.time_utc = k.time_utc AND r.time_utc BETWEEN $a AND $b",
        {"a": first, "b": last},
    )
    del incoming_keys


def _append(store: Store, rows: pl.DataFrame, load_id: str) -> None:
    """Append readings in their order; texts go as dictionaries, which the store turns into numbers."""
    if rows.height == 0:
        return
    plant, load = pl.Enum([store.plant]), pl.Enum([load_id])
    frame = rows.select(
        plant=pl.lit(store.plant, dtype=plant),
        tag="tag",
        time_utc="time_utc",
        value="value",
        quality="quality",
        load_id=pl.lit(load_id, dtype=load),
    )
    row_schemas.require_schema(store.plant, "readings", frame)
    store.append("readings", frame)
