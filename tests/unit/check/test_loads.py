"""A whole file through check: receipts, set-aside rows, duplicates and versions, work lists, nothing half-written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import check
from pipelines.base.errors import InternalError
from pipelines.base.receipts import Receipt
from pipelines.check import receipts
from pipelines.files.original import FileRefusedError, Original
from pipelines.files.pieces import Chunk
from pipelines.plant.model import Layout
from pipelines.store import Store
from tests.plants import FLOW, LONG, RUN, SPEED, plant_file

T0 = datetime(2026, 1, 5, 12, tzinfo=UTC)
RECEIVED = datetime(2026, 1, 7, 4, tzinfo=UTC)
PLANT = plant_file(FLOW, SPEED | {"range": [0, 3000]}, RUN, operating_day_start="06:00:00")
LAYOUT = Layout.model_validate(LONG | {"quality_column": "q"})
SCHEMA = {
    "line_no": pl.UInt32,
    "time_utc": pl.Datetime("us", "UTC"),
    "time_reason": pl.String,
    "tag": pl.String,
    "text": pl.String,
    "quality_text": pl.String,
}
REFUSED = {"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "raw_text": pl.String}
Value = tuple[int, int | None, str, str] | tuple[int, int | None, str, str, str]  # line, second, tag, text[, quality]


@dataclass
class Opened:
    """A file already cut into chunks; an exception among them ends it."""

    parts: list[Chunk | Exception]
    layout: Layout = field(default=LAYOUT)
    reader: str = "exact"
    clock_note: str | None = None

    def chunks(self) -> Iterator[Chunk]:
        for part in self.parts:
            if isinstance(part, Exception):
                raise part
            yield part


def chunk(*values: Value, refused: list[tuple[int, str, str, str]] | None = None, dropped: int = 0) -> Chunk:
    rows = [
        (
            v[0],
            None if v[1] is None else T0 + timedelta(seconds=v[1]),
            "time stamp unreadable" if v[1] is None else None,
            v[2],
            v[3],
            v[4] if len(v) > 4 else None,
        )
        for v in values
    ]
    frame = pl.DataFrame(rows, schema=SCHEMA, orient="row")
    gone = pl.DataFrame(refused or [], schema=REFUSED, orient="row")
    return Chunk(frame, gone, frame["line_no"].n_unique() + gone.height + dropped, dropped)


def take(store: Store, name: str, *parts: Chunk | Exception, received: datetime = RECEIVED) -> Receipt:
    load = (name * 16)[:16]
    return check.run(
        store, PLANT, Original(Path(name), f"{name}.csv", load * 4, 10), f"1_{name}.csv", Opened(list(parts)),
        lambda lines: {n: f"raw {n} " + "x" * 5000 for n in lines}, seq=check.next_seq(store), received_utc=received,
    )  # fmt: skip


def readings(store: Store) -> list[tuple[Any, ...]]:
    return [
        (t, (at - T0).total_seconds(), v, q, load[0])
        for t, at, v, q, load in store.rows("SELECT tag, time_utc, value, quality, load_id FROM readings ORDER BY ALL")
    ]


def history(store: Store) -> list[tuple[Any, ...]]:
    rows = store.rows("SELECT tag, time_utc, value, quality, load_id, superseded_by, superseded_reason FROM readings_history ORDER BY ALL")
    return [(t, (at - T0).total_seconds(), v, q, load[0], by[0], why) for t, at, v, q, load, by, why in rows]


def counts(receipt: Receipt) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """(rows read, kept, duplicate, dropped, set aside), (values read, kept, duplicate, set aside)."""
    r = receipt
    return (
        (r.rows_read, r.rows_kept, r.rows_duplicate, r.rows_dropped, r.rows_set_aside),
        (r.values_read, r.values_kept, r.values_duplicate, r.values_set_aside),
    )


def test_a_clean_file(store: Store) -> None:
    receipt = take(store, "a", chunk((2, 0, "ST", "100"), (3, 0, "FT", "50"), (4, 60, "FT", "51"), dropped=1))
    assert counts(receipt) == ((4, 3, 0, 1, 0), (3, 3, 0, 0))
    assert receipt.balances
    assert (receipt.status, receipt.layout, receipt.reader, receipt.reasons) == ("taken", "long", "exact", {})
    assert (receipt.first_utc, receipt.last_utc) == (T0, T0 + timedelta(seconds=60))
    assert readings(store) == [("FT", 0, 50.0, 0, "a"), ("FT", 60, 51.0, 0, "a"), ("ST", 0, 100.0, 0, "a")]
    row = store.rows("SELECT file_name, archived_as, received_seq, version, status, rows_read, values_kept, first_utc FROM loads")
    assert row == [("a.csv", "1_a.csv", 1, 1, "taken", 4, 3, T0)]
    assert check.is_loaded(store, "a" * 16)
    assert not check.is_loaded(store, "b" * 16)
    assert check.next_seq(store) == 2


def test_a_wide_row_is_kept_partly_and_set_aside_once_with_its_first_reason(store: Store) -> None:
    receipt = take(store, "a", chunk((2, 0, "FT", "1e400"), (2, 0, "ST", "text"), (2, 0, "YI", "run"), (2, 0, "??", "7")))
    assert counts(receipt) == ((1, 1, 0, 0, 0), (4, 1, 0, 2))
    assert receipt.values_untied == 1
    assert store.rows("SELECT tag, value_count, first_line_no FROM untied_tags") == [("??", 1, 2)]
    rows = store.rows(
        "SELECT line_no, reason, detail, is_partial, value_count, tags, first_utc, length(raw_text), rule_version, disposition FROM set_aside"
    )
    assert rows == [(2, "text in number", "ST: text", True, 2, "FT, ST", T0, 4000, receipts.RULE_VERSION, None)]
    # a bad reading without value stands at the time of what was set aside, but not for a tag that is no tag
    assert readings(store) == [("FT", 0, None, 2, "a"), ("ST", 0, None, 2, "a"), ("YI", 0, 1.0, 0, "a")]


def test_a_row_without_any_value_kept_is_set_aside_whole(store: Store) -> None:
    receipt = take(
        store, "a",
        chunk((2, None, "FT", "1"), (2, None, "ST", "1"), (3, 0, "FT", "x"), refused=[(4, "row has too few fields", "1 field", "raw as read")], dropped=2),
    )  # fmt: skip
    assert counts(receipt) == ((5, 0, 0, 2, 3), (3, 0, 0, 3))
    assert receipt.reasons == {"row has too few fields": 1, "time stamp unreadable": 1, "text in number": 1}
    rows = store.rows("SELECT line_no, reason, is_partial, value_count, left(raw_text, 11) FROM set_aside ORDER BY 1")
    assert rows == [
        (2, "time stamp unreadable", False, 2, "raw 2 xxxxx"), (3, "text in number", False, 1, "raw 3 xxxxx"), (4, "row has too few fields", False, 0, "raw as read"),
    ]  # fmt: skip


def test_equal_values_are_duplicates_within_a_file_and_across_files(store: Store) -> None:
    first = take(store, "a", chunk((2, 0, "FT", "50"), (3, 0, "FT", "50.0"), (4, 0, "ST", "7")))
    assert counts(first) == ((3, 2, 1, 0, 0), (3, 2, 1, 0))
    again = take(store, "b", chunk((2, 0, "FT", "5e1"), (2, 0, "ST", "8"), (3, 0, "ST", "8")))
    # line 2 keeps one value (a new version of ST), line 3 says what line 2 said
    assert counts(again) == ((2, 1, 1, 0, 0), (3, 1, 2, 0))
    assert readings(store) == [("FT", 0, 50.0, 0, "a"), ("ST", 0, 8.0, 0, "b")]
    assert history(store) == [("ST", 0, 7.0, 0, "a", "b", "received later")]
    assert store.rows("SELECT DISTINCT load_id FROM load_days ORDER BY 1") == [("a" * 16,), ("b" * 16,)]


def test_a_row_of_duplicates_and_values_set_aside_is_no_row_set_aside_whole(store: Store) -> None:
    wide = ((2, 0, "FT", "50"), (2, 0, "ST", "text"))
    assert counts(take(store, "a", chunk(*wide))) == ((1, 1, 0, 0, 0), (2, 1, 0, 1))
    assert counts(take(store, "b", chunk(*wide, dropped=1))) == ((2, 0, 1, 1, 0), (2, 0, 1, 1))
    assert store.rows("SELECT is_partial, value_count FROM set_aside") == [(True, 1), (True, 1)]


def test_better_quality_wins_whoever_comes_later(store: Store) -> None:
    take(store, "a", chunk((2, 0, "FT", "50", "Uncertain"), (3, 0, "ST", "1", "Good"), (4, 9, "FT", "x", "Bad")))
    receipt = take(store, "b", chunk((2, 0, "FT", "60", "Good"), (3, 0, "ST", "2", "Uncertain"), (4, 9, "FT", "3", "Good")))
    assert counts(receipt) == ((3, 3, 0, 0, 0), (3, 3, 0, 0))  # the one that lost is kept in history
    assert readings(store) == [("FT", 0, 60.0, 0, "b"), ("FT", 9, 3.0, 0, "b"), ("ST", 0, 1.0, 0, "a")]
    assert history(store) == [
        ("FT", 0, 50.0, 1, "a", "b", "better quality"), ("FT", 9, None, 2, "a", "b", "better quality"), ("ST", 0, 2.0, 1, "b", "a", "better quality"),
    ]  # fmt: skip


def test_within_a_file_the_later_line_counts_as_received_later(store: Store) -> None:
    values = (
        (2, 0, "FT", "1", "Good"),
        (3, 0, "FT", "2", "Uncertain"),
        (4, 0, "FT", "3", "Good"),
        (5, 0, "FT", "3", "Good"),
        (6, 0, "FT", "4", "Good"),
    )
    receipt = take(store, "a", chunk(*values))
    assert counts(receipt) == ((5, 4, 1, 0, 0), (5, 4, 1, 0))
    assert readings(store) == [("FT", 0, 4.0, 0, "a")]
    assert history(store) == [("FT", 0, 3.0, 0, "a", "a", "received later")]  # a load keeps its last losing version of a key


def test_the_same_when_the_lines_come_in_different_chunks(store: Store) -> None:
    values = (
        (2, 0, "FT", "1", "Good"),
        (3, 0, "FT", "2", "Uncertain"),
        (4, 0, "FT", "3", "Good"),
        (5, 0, "FT", "3", "Good"),
        (6, 0, "FT", "4", "Good"),
    )
    receipt = take(store, "a", *(chunk(v) for v in values))
    assert counts(receipt) == ((5, 4, 1, 0, 0), (5, 4, 1, 0))
    assert readings(store) == [("FT", 0, 4.0, 0, "a")]
    assert history(store) == [("FT", 0, 3.0, 0, "a", "a", "received later")]


def test_a_value_set_aside_does_not_displace_a_good_one_and_a_good_one_heals_it(store: Store) -> None:
    take(store, "a", chunk((2, 0, "FT", "50"), (3, 5, "FT", "oops")))
    take(store, "b", chunk((2, 0, "FT", "oops"), (3, 5, "FT", "55")))
    assert readings(store) == [("FT", 0, 50.0, 0, "a"), ("FT", 5, 55.0, 0, "b")]
    assert [h[4:] for h in history(store)] == [("b", "a", "better quality"), ("a", "b", "better quality")]
    third = take(store, "c", chunk((2, 5, "FT", "oops again")))
    assert counts(third) == ((1, 0, 0, 0, 1), (1, 0, 0, 1))


def test_a_third_version_supersedes_the_second_only(store: Store) -> None:
    for name, text in (("a", "1"), ("b", "2"), ("c", "3")):
        take(store, name, chunk((2, 0, "FT", text)))
    assert readings(store) == [("FT", 0, 3.0, 0, "c")]
    assert [h[2:] for h in history(store)] == [(1.0, 0, "a", "b", "received later"), (2.0, 0, "b", "c", "received later")]


def test_a_file_name_seen_again_counts_its_versions(store: Store) -> None:
    for number, load in enumerate(("a", "b", "c"), start=1):
        original = Original(Path("x"), "same.csv", load * 64, 1)
        check.run(store, PLANT, original, "x", Opened([chunk((2, number, "FT", "1"))]), lambda _: {}, seq=number, received_utc=RECEIVED)
    assert store.rows("SELECT version FROM loads ORDER BY received_seq") == [(1,), (2,), (3,)]


def test_a_refusal_midway_leaves_nothing_and_is_then_written_whole(store: Store) -> None:
    refused = FileRefusedError("parse rate too low", "30 of 40 rows")
    with pytest.raises(FileRefusedError):
        take(store, "a", chunk((2, 0, "FT", "50")), refused)
    tables = ("readings", "set_aside", "loads", "load_days", "pending_hours", "pending_days")
    assert [store.rows(f"SELECT count(*) FROM {t}")[0][0] for t in tables] == [0] * 6
    receipt = check.refuse(store, PLANT, Original(Path("a"), "a.csv", "a" * 64, 9), "1_a.csv", refused, seq=1, received_utc=RECEIVED)
    assert (receipt.status, receipt.reason, receipt.detail, receipt.rows_read) == ("set aside", "parse rate too low", "30 of 40 rows", 0)
    assert store.rows("SELECT line_no, reason, detail, value_count FROM set_aside") == [
        (0, "parse rate too low", "a.csv: 30 of 40 rows", 0)
    ]
    assert store.rows("SELECT status, reason, layout, reader, rows_read, first_utc FROM loads") == [
        ("set aside", "parse rate too low", None, None, 0, None)
    ]
    assert check.is_loaded(store, "a" * 16)


def test_a_receipt_that_does_not_balance_is_an_internal_error_and_leaves_nothing(store: Store) -> None:
    fine = chunk((2, 0, "FT", "50"))
    with pytest.raises(InternalError, match="does not balance"):
        take(store, "a", Chunk(fine.values, fine.refused, fine.rows_read + 1, 0))
    assert store.rows("SELECT count(*) FROM readings") == [(0,)]


def test_a_frame_outside_its_schema_is_an_internal_error(store: Store) -> None:
    wrong = chunk((2, 0, "FT", "50"), refused=[(3, "no such reason", "", "raw")])
    with pytest.raises(InternalError, match="set_aside"):
        take(store, "a", wrong)
    assert store.rows("SELECT count(*) FROM readings") == [(0,)]


def test_an_empty_file_and_a_file_without_usable_rows(store: Store) -> None:
    assert counts(take(store, "a", chunk(dropped=3))) == ((3, 0, 0, 3, 0), (0, 0, 0, 0))
    assert counts(take(store, "b"))[0] == (0, 0, 0, 0, 0)
    assert take(store, "c", chunk((2, None, "FT", "1"))).first_utc is None
    assert store.rows("SELECT count(*) FROM pending_hours") == [(0,)]


def hours(store: Store) -> list[datetime]:
    return [h for (h,) in store.rows("SELECT hour_utc FROM pending_hours ORDER BY 1")]


def emptied(store: Store) -> None:
    store.rows("DELETE FROM pending_hours")
    store.clear_days("compute")


def test_hours_and_days_that_a_load_touches(store: Store) -> None:
    # operating days begin 06:00 in New York, 11:00 UTC: the first load makes its whole days new
    take(store, "a", chunk((2, 0, "FT", "50"), (3, 3 * 86400, "FT", "50")), received=T0 + timedelta(days=9))
    begin, end = datetime(2026, 1, 5, 11, tzinfo=UTC), datetime(2026, 1, 9, 11, tzinfo=UTC)
    assert hours(store) == [begin + timedelta(hours=h) for h in range(4 * 24)]
    assert store.pending_days("compute") == [date(2026, 1, 5), date(2026, 1, 8)]
    emptied(store)
    # one more reading at 18:10 the next day: from 17:40 (30 minutes before) to 18:10 a day later (24 hours after)
    at = int((datetime(2026, 1, 6, 18, 10, tzinfo=UTC) - T0).total_seconds())
    take(store, "b", chunk((2, at, "FT", "50")), received=T0 + timedelta(days=9))
    assert hours(store) == [datetime(2026, 1, 6, 17, tzinfo=UTC) + timedelta(hours=h) for h in range(26)]
    assert store.pending_days("compute") == [date(2026, 1, 6)]
    emptied(store)
    # close to the end: not past the last operating day with readings
    take(store, "c", chunk((2, 3 * 86400 - 60, "FT", "50")), received=T0 + timedelta(days=9))
    assert (hours(store)[0], hours(store)[-1]) == (datetime(2026, 1, 8, 11, tzinfo=UTC), end - timedelta(hours=1))
    emptied(store)
    # what is known already touches no hour, but its days carry the load in their version
    take(store, "d", chunk((9, at, "FT", "50.00")), received=T0 + timedelta(days=9))
    assert hours(store) == []
    assert store.pending_days("compute") == [date(2026, 1, 6)]


def test_hours_between_old_and_new_ends_are_marked(store: Store) -> None:
    take(store, "a", chunk((2, 0, "FT", "50")), received=T0 + timedelta(days=30))
    emptied(store)
    take(store, "b", chunk((2, 5 * 86400, "FT", "50")), received=T0 + timedelta(days=30))
    assert (hours(store)[0], hours(store)[-1], len(hours(store))) == (T0, datetime(2026, 1, 11, 10, tzinfo=UTC), 6 * 24 - 1)
    emptied(store)
    take(store, "c", chunk((2, -3 * 86400, "FT", "50")), received=T0 + timedelta(days=30))
    assert (hours(store)[0], hours(store)[-1]) == (datetime(2026, 1, 2, 11, tzinfo=UTC), T0 - timedelta(hours=1))


def test_operating_days_over_a_change_of_the_clock(store: Store) -> None:
    # 8 March 2026, New York: 06:00 is 11:00 UTC on the 7th (EST) and 10:00 UTC from the 8th on (EDT)
    def at(*when: int) -> int:
        return int((datetime(*when, tzinfo=UTC) - T0).total_seconds())  # type: ignore[arg-type]

    edges = [at(2026, 3, 7, 10, 59, 59), at(2026, 3, 7, 11), at(2026, 3, 8, 9, 59, 59), at(2026, 3, 8, 10), at(2026, 3, 9, 9, 59, 59)]
    for line, second in enumerate(edges):
        take(store, "abcde"[line], chunk((2, second, "FT", "50")), received=datetime(2026, 4, 1, tzinfo=UTC))
    days = store.rows("SELECT left(load_id, 1), operating_day FROM load_days ORDER BY 1")
    assert days == [
        ("a", date(2026, 3, 6)),
        ("b", date(2026, 3, 7)),
        ("c", date(2026, 3, 7)),
        ("d", date(2026, 3, 8)),
        ("e", date(2026, 3, 8)),
    ]
    take(store, "f", chunk(*((2 + i, s + 1, "ST", "50") for i, s in enumerate(edges))), received=datetime(2026, 4, 1, tzinfo=UTC))
    assert store.rows("SELECT operating_day FROM load_days WHERE load_id LIKE 'f%' ORDER BY 1") == [(date(2026, 3, d),) for d in (7, 8, 9)]
