"""Properties of check: receipts balance for any content, chunks do not matter, order of files that agree does not matter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines import check
from pipelines.base.receipts import Receipt
from pipelines.files.original import Original
from pipelines.files.pieces import Chunk
from pipelines.plant.model import Layout
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from tests.plants import FLOW, LONG, RUN, plant_file

T0 = datetime(2026, 1, 5, 9, 59, 58, tzinfo=UTC)
PLANT = plant_file(FLOW, RUN, time_zone="UTC", operating_day_start="10:00:00")
LAYOUT = Layout.model_validate(LONG | {"quality_column": "q"})
SCHEMA = {
    "line_no": pl.UInt32,
    "time_utc": pl.Datetime("us", "UTC"),
    "time_reason": pl.String,
    "tag": pl.String,
    "text": pl.String,
    "quality_text": pl.String,
}
REFUSED = pl.DataFrame(schema={"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "raw_text": pl.String})
FEW = settings(max_examples=15)

Cell = tuple[str, str, str | None]  # tag, text, quality
Row = tuple[int | None, tuple[Cell, ...]]  # second or None for an unreadable stamp, the values of one line
cells = st.tuples(
    st.sampled_from(["FT", "FT", "YI", "??"]),
    st.sampled_from(["1", "1.0", "0", "2", "101.1", "x", "1e400", "run"]),
    st.sampled_from([None, "good", "Uncertain", "bad", "what"]),
)
rows = st.lists(st.tuples(st.one_of(st.integers(0, 4), st.none()), st.lists(cells, min_size=1, max_size=4).map(tuple)), max_size=12)


@dataclass
class Opened:
    parts: list[Chunk]
    layout: Layout = LAYOUT
    reader: str = "fast"
    clock_note: str | None = None

    def chunks(self) -> Iterator[Chunk]:
        yield from self.parts


def frame(lines: list[tuple[int, Row]]) -> pl.DataFrame:
    flat = [
        (number, None if at is None else T0 + timedelta(seconds=at), "time stamp unreadable" if at is None else None, tag, text, quality)
        for number, (at, values) in lines
        for tag, text, quality in values
    ]
    return pl.DataFrame(flat, schema=SCHEMA, orient="row")


def cut(content: list[Row], sizes: list[int]) -> list[Chunk]:
    """Whole rows to chunks of the given sizes, the rest to a last one."""
    numbered, parts = list(enumerate(content, start=2)), []
    for size in [*sizes, len(numbered)]:
        taken, numbered = numbered[:size], numbered[size:]
        parts.append(Chunk(frame(taken), REFUSED, len(taken), 0))
    return parts


def take(store: Store, load: str, parts: list[Chunk]) -> Receipt:
    original = Original(Path(load), f"{load}.csv", load * 64, 1)
    return check.run(
        store,
        PLANT,
        original,
        load,
        Opened(parts),
        lambda lines: dict.fromkeys(lines, "raw"),
        seq=check.next_seq(store),
        received_utc=T0 + timedelta(days=1),
    )


def hashes(store: Store, *, by_order: bool = False) -> dict[str, str]:
    """Content of every table that check writes; `by_order` leaves out what tells who came first by its nature."""
    lineage = {"readings": {"load_id"}, "readings_history": {"superseded_by"}} if by_order else {}
    found = {}
    for table in ("readings", "readings_history", "set_aside", "load_days", "pending_hours", "pending_days"):
        columns = [
            c
            for (c,) in store.rows("SELECT column_name FROM duckdb_columns() WHERE table_name = $t AND schema_name = 'main'", {"t": table})
        ]
        found[table] = content_hash(store.con, table, [c for c in columns if c not in lineage.get(table, set())])
    return found


@FEW
@given(rows, st.lists(rows, max_size=2))
def test_receipts_balance_and_tell_what_is_stored(content: list[Row], more: list[list[Row]]) -> None:
    with Store(Path(":memory:"), "p") as store:
        for number, one in enumerate([content, *more]):
            receipt = take(store, "abc"[number], cut(one, []))
            assert receipt.balances
            assert receipt.rows_read == len(one)
            assert receipt.values_read == sum(len(values) for _, values in one)
            aside = store.rows(
                "SELECT count(*), coalesce(sum(value_count), 0), count(*) FILTER (NOT is_partial) FROM set_aside WHERE load_id[1] = $l",
                {"l": "abc"[number]},
            )[0]
            assert aside[1] == receipt.values_set_aside
            assert aside[0] == sum(receipt.reasons.values())
            assert aside[2] == receipt.rows_set_aside
        keys = store.rows(
            "SELECT count(*), count(DISTINCT (tag, time_utc)), count(*) FILTER (value IS NULL AND quality < 2) FROM readings"
        )[0]
        assert keys[0] == keys[1]
        assert keys[2] == 0


@FEW
@given(rows, st.lists(st.integers(0, 5), max_size=4))
def test_how_a_file_is_cut_does_not_matter(content: list[Row], sizes: list[int]) -> None:
    seen = []
    for parts in (cut(content, []), cut(content, sizes)):
        with Store(Path(":memory:"), "p") as store:
            receipt = take(store, "a", parts)
            facts = {k: v for k, v in vars(receipt).items() if k != "seconds"}
            seen.append((facts, hashes(store)))
    assert seen[0] == seen[1]


@FEW
@given(rows, st.lists(st.tuples(st.integers(0, 11), st.integers(0, 1)), max_size=12), st.permutations([0, 1]))
def test_order_does_not_matter_for_files_that_agree(content: list[Row], dealt: list[tuple[int, int]], order: list[int]) -> None:
    # one value per tag and second, so that nothing disagrees; then the rows are dealt to two files, some to both
    said: dict[tuple[str, int], tuple[str, str | None]] = {}
    agreed: list[Row] = []
    for at, values in content:
        agreed.append(
            (
                at,
                tuple(
                    (tag, *(said.setdefault((tag, at), (text, quality)) if at is not None else (text, quality)))
                    for tag, text, quality in values
                ),
            )
        )
    files: tuple[list[Row], list[Row]] = ([], [])
    for index, one in enumerate(agreed):
        for file in {file for at, file in dealt if at == index} or {0, 1}:
            files[file].append(one)
    seen = []
    for turn in ([0, 1], order):
        with Store(Path(":memory:"), "p") as store:
            for file in turn:
                take(store, "ab"[file], cut(files[file], []))
            seen.append(hashes(store, by_order=True))
    assert seen[0] == seen[1]
