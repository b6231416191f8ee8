"""Lab sheets: words, units, qualifiers, sample times, duplicates, revisions in any order, sets that contradict themselves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from pipelines import check
from pipelines.base.receipts import Receipt
from pipelines.files.original import Original
from pipelines.files.pieces import Chunk
from pipelines.plant.model import Layout, PlantFile
from pipelines.store import Store
from tests.plants import GPM, US, plant_file

NEW_YORK = ZoneInfo("America/New_York")
RECEIVED = datetime(2026, 1, 20, 4, tzinfo=UTC)
LONG = {
    "id": "lab", "kind": "lab long", "files": "*", "time_column": "t", "time_format": "%Y-%m-%d %H:%M", "point_column": "p", "analyte_column": "a",
    "result_column": "r",
}  # fmt: skip
WIDE = {
    "id": "sheet", "kind": "lab wide", "files": "*", "time_column": "d", "time_format": "%d-%m-%Y", "decimal": ",",
    "results": [
        {"column": "Feed", "line": "line-1", "point": "feed", "analyte": "ts", "unit": "mg/L"},
        {"column": "Cake", "line": "line-1", "point": "cake", "analyte": "ts", "unit": "%", "until": date(2026, 1, 10)},
        {"column": "Cake", "line": "line-1", "point": "cake", "analyte": "moisture", "unit": "%", "since": date(2026, 1, 10)},
    ],
}  # fmt: skip
LAB: dict[str, Any] = {
    "sample_points": [
        {"names": ["BFP 1 Feed", "digester to press"], "line": "line-1", "point": "feed"},
        {"names": ["cake"], "line": "line-1", "point": "cake"},
        {"names": ["filtrate"], "line": "line-1", "point": "filtrate"},
    ],
    "analytes": [
        {"names": ["TS", "Total Solids"], "analyte": "ts"},
        {"names": ["VS"], "analyte": "vs"},
        {"names": ["TSS"], "analyte": "tss"},
        {"names": ["moisture"], "analyte": "moisture"},
    ],
}
PLANT = plant_file(GPM, line=US, layouts=(LONG, WIDE), blocks={"lab": LAB}, units="US", operating_day_start="06:00:00")
TEXTS = (
    "sample", "point_text", "analyte_text", "text", "unit_text", "qualifier_text", "limit_text", "reported_text", "method", "crew",
    "shift_text", "window_from", "window_to", "lot", "column",
)  # fmt: skip
SCHEMA = {
    "line_no": pl.UInt32,
    "stamp_text": pl.String,
    "time_utc": pl.Datetime("us", "UTC"),
    "time_reason": pl.String,
    **dict.fromkeys(TEXTS, pl.String),
}
REFUSED = {"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "raw_text": pl.String}


@dataclass
class Opened:
    parts: list[Chunk]
    layout: Layout
    reader: str = "exact"
    clock_note: str | None = None

    def chunks(self) -> Iterator[Chunk]:
        yield from self.parts


def row(line_no: int = 2, at: str = "2026-01-05 08:30", **given: Any) -> dict[str, Any]:
    """One value of a sheet; a time is New York's."""
    form = "%Y-%m-%d %H:%M" if ":" in at else "%d-%m-%Y"
    when = datetime.strptime(at, form).replace(tzinfo=NEW_YORK).astimezone(UTC)
    usual = {"point_text": "BFP 1 feed", "analyte_text": "TS", "text": "2.4", "unit_text": "%"} if ":" in at else {}
    return {**dict.fromkeys(SCHEMA), **usual, "line_no": line_no, "stamp_text": at, "time_utc": when, **given}


def take(
    store: Store, name: str, *rows: dict[str, Any], layout: dict[str, Any] = LONG, received: datetime = RECEIVED, plant: PlantFile = PLANT
) -> Receipt:
    frame = pl.DataFrame(rows, schema=SCHEMA)
    chunk = Chunk(frame, pl.DataFrame(schema=REFUSED), frame["line_no"].n_unique() + 1, 1)
    load = (name * 16)[:16]
    receipt = check.run(
        store, plant, Original(Path(name), f"{name}.csv", load * 4, 10), name, Opened([chunk], Layout.model_validate(layout)),
        lambda lines: {n: f"raw {n}" for n in lines}, seq=check.next_seq(store), received_utc=received,
    )  # fmt: skip
    assert receipt.balances
    return receipt


def results(
    store: Store, columns: str = "sample_id, analyte, value, revision, load_id[1]", table: str = "lab_results"
) -> list[tuple[Any, ...]]:
    return store.rows(f"SELECT {columns} FROM {table} ORDER BY ALL")


def test_words_are_matched_without_case_and_blanks_and_never_by_likeness(store: Store) -> None:
    receipt = take(
        store, "a",
        row(2, point_text="  bfp 1   FEED ", analyte_text="total solids"), row(3, point_text="BFP 1 fd"), row(4, analyte_text="T.S."), row(5, point_text=None),
    )  # fmt: skip
    assert (receipt.rows_kept, receipt.rows_set_aside) == (1, 3)
    assert store.rows("SELECT line_no, reason, detail, raw_text FROM set_aside ORDER BY 1") == [
        (3, "unknown sample point", "'BFP 1 fd'", "raw 3"), (4, "unknown analyte", "'T.S.'", "raw 4"), (5, "unknown sample point", "''", "raw 5"),
    ]  # fmt: skip


def test_an_inferred_unit_is_noted_beside_the_method(store: Store) -> None:
    take(store, "a", row(2, text="24000", unit_text=None, method="oven"), row(3, at="2026-01-06 08:30"))
    assert results(store, "method, note, is_used, unused_reason") == [("oven", "unit inferred: mg/L", True, None), (None, None, True, None)]


def test_a_non_detect_counts_half_its_limit_and_a_rejected_result_not_at_all(store: Store) -> None:
    filtrate = {"point_text": "filtrate", "analyte_text": "TSS", "unit_text": "g/L"}
    take(store, "a", row(2, text="<0.5", **filtrate), row(3, text="0.8", qualifier_text="R", at="2026-01-06 08:30", **filtrate))
    assert results(store, "value, unit, qualifier, detection_limit, is_used") == [(250.0, "mg/L", "<", 500.0, True)]
    assert store.rows("SELECT reason, detail, raw_text FROM set_aside") == [("qualifier rejects result", "0.8 R", "raw 3")]


def test_thousands_and_decimal_comma_as_declared(store: Store) -> None:
    take(store, "a", row(2, text="24.300,5", unit_text="mg/L"), layout=LONG | {"decimal": ",", "thousands": "."})
    take(store, "b", row(2, at="2026-01-06 08:30", text="24.300", unit_text="mg/L"), layout=LONG | {"decimal": ","})
    assert results(store, "value") == [(pytest.approx(2.43005),)]
    assert store.rows("SELECT reason, detail FROM set_aside") == [("text in number", "'24.300'")]


def test_a_stated_time_and_a_bare_date(store: Store) -> None:
    take(store, "a", row(2, at="2026-01-05 05:59"), row(3, at="2026-01-05 06:00"))
    take(store, "b", row(2, "05-01-2026", column="Feed", text="24000"), layout=WIDE)
    columns = "sample_id, from_utc, to_utc, time_basis, operating_day"
    early, late = datetime(2026, 1, 5, 10, 59, tzinfo=UTC), datetime(2026, 1, 5, 11, tzinfo=UTC)
    assert results(store, columns) == [
        ("line-1/feed/2026-01-05", late, late + timedelta(days=1), "day", date(2026, 1, 5)),
        ("line-1/feed/2026-01-05T05:59-05:00", early, early, "stated", date(2026, 1, 4)),
        ("line-1/feed/2026-01-05T06:00-05:00", late, late, "stated", date(2026, 1, 5)),
    ]
    dates_only = PLANT.model_copy(update={"lab": PLANT.lab.model_copy(update={"time_is_stated": False})})
    take(store, "c", row(2, at="2026-01-07 00:00"), plant=dates_only)
    assert ("line-1/feed/2026-01-07", "day") in results(store, "sample_id, time_basis")
    # lab sheets do not stretch the span of the minutes
    assert store.rows("SELECT count(first_utc) FROM loads") == [(0,)]


def test_an_operating_day_is_as_long_as_its_clock_says(store: Store) -> None:
    take(store, "a", row(2, "07-03-2026", column="Feed", text="24000"), layout=WIDE, received=datetime(2026, 4, 1, tzinfo=UTC))
    # 06:00 EST is 11:00 UTC, 06:00 EDT the next day is 10:00 UTC
    assert results(store, "from_utc, to_utc") == [(datetime(2026, 3, 7, 11, tzinfo=UTC), datetime(2026, 3, 8, 10, tzinfo=UTC))]


def test_columns_of_a_wide_sheet_mean_what_they_mean_on_that_date(store: Store) -> None:
    # a date in the plant file begins with the operating day, a bare date in the sheet with the calendar day
    receipt = take(
        store, "a",
        row(2, "05-01-2026", column="Cake", text="22,5"), row(2, "05-01-2026", column="Feed", text="24000"), row(3, "12-01-2026", column="Cake", text="77,5"),
        row(4, "12-01-2026", column="Else", text="1"), layout=WIDE,
    )  # fmt: skip
    assert (receipt.rows_read, receipt.rows_kept, receipt.rows_set_aside, receipt.values_kept) == (4, 2, 1, 3)
    assert results(store, "operating_day, point, value") == [
        (date(2026, 1, 5), "cake", 22.5), (date(2026, 1, 5), "feed", pytest.approx(2.4)), (date(2026, 1, 12), "cake", 22.5),
    ]  # fmt: skip


def test_unreadable_and_future_times(store: Store) -> None:
    take(
        store, "a",
        row(2, time_utc=None, time_reason="time stamp unreadable"), row(3, at="2026-01-21 22:59"), row(4, at="2026-01-20 23:01"), row(5, at="2026-01-20 22:59"),
    )  # fmt: skip
    # received 20 January 04:00 UTC; a day later is 20 January 23:00 in New York
    assert store.rows("SELECT line_no, reason FROM set_aside ORDER BY 1") == [
        (2, "time stamp unreadable"),
        (3, "time in the future"),
        (4, "time in the future"),
    ]


def test_duplicates_become_their_mean_with_rpd(store: Store) -> None:
    # RPD = 100 |a - b| / mean = 100 x 0.2 / 2.4 = 8.333 %; trade: common practice, no source
    receipt = take(
        store, "a", row(2, sample="S1", text="2.3"), row(3, sample="S1", text="2.5"), row(4, sample="S2", at="2026-01-06 09:00", text="2.0")
    )
    assert receipt.values_kept == 3
    assert results(store, "sample_id, value, replicates, rpd_pct, is_used, line_no") == [
        ("S1", pytest.approx(2.4), 2, pytest.approx(100 * 0.2 / 2.4), True, 2), ("S2", 2.0, 1, None, True, 4),
    ]  # fmt: skip
    again = take(store, "b", row(7, sample="S1", text="2.5"), row(8, sample="S1", text="2.3"))
    assert (again.values_duplicate, again.rows_duplicate, again.values_kept) == (2, 2, 0)


def test_a_sheet_without_sample_numbers_averages_what_has_the_same_point_and_time(store: Store) -> None:
    take(store, "a", row(2, text="2.3"), row(3, text="2.5"), row(4, text="2.7", at="2026-01-05 08:31"))
    assert results(store, "replicates, value") == [(1, 2.7), (2, pytest.approx(2.4))]


def test_one_sample_number_at_two_places_is_no_sample(store: Store) -> None:
    receipt = take(
        store,
        "a",
        row(2, sample="S1"),
        row(3, sample="S1", point_text="cake", text="22"),
        row(4, sample="S1", analyte_text="VS", text="64"),
    )
    assert (receipt.values_set_aside, receipt.values_kept) == (2, 1)
    assert {r for (r,) in store.rows("SELECT reason FROM set_aside")} == {"duplicate disagreement"}


def test_a_cumulative_sheet_adds_only_what_is_new(store: Store) -> None:
    old = [row(2 + i, f"{5 + i:02d}-01-2026", column="Feed", text="24000") for i in range(3)]
    take(store, "a", *old, layout=WIDE)
    receipt = take(store, "b", *old, row(9, "08-01-2026", column="Feed", text="25000"), layout=WIDE)
    assert (receipt.rows_kept, receipt.rows_duplicate, receipt.values_duplicate) == (1, 3, 3)
    assert store.rows("SELECT count(*) FROM lab_results_history") == [(4,)]


def test_a_later_file_revises_and_every_version_is_kept(store: Store) -> None:
    take(store, "a", row(sample="S1", text="2.4"))
    receipt = take(store, "b", row(sample="S1", text="2.1"), received=RECEIVED + timedelta(days=1))
    assert (receipt.values_kept, receipt.values_duplicate) == (1, 0)
    assert results(store) == [("S1", "ts", 2.1, 2, "b")]
    assert results(store, "value, revision, is_used, unused_reason, load_id[1]", "lab_results_history") == [
        (2.1, 2, True, None, "b"), (2.4, 1, False, "superseded by a later revision", "a"),
    ]  # fmt: skip


REPORTED = LONG | {"reported_column": "rep"}


@pytest.mark.parametrize("order", ["abc", "acb", "bac", "bca", "cab", "cba"])
def test_stated_times_of_report_decide_whatever_the_order_of_receipt(store: Store, order: str) -> None:
    sheets = {"a": ("2.4", "2026-01-06 10:00"), "b": ("2.1", "2026-01-09 10:00"), "c": ("2.3", "2026-01-08 10:00")}
    for hour, name in enumerate(order):
        text, reported = sheets[name]
        take(store, name, row(sample="S1", text=text, reported_text=reported), layout=REPORTED, received=RECEIVED + timedelta(hours=hour))
    assert results(store, "value, revision, reported_utc") == [(2.1, 3, datetime(2026, 1, 9, 15, tzinfo=UTC))]
    assert results(store, "revision, value", "lab_results_history") == [(1, 2.4), (2, 2.3), (3, 2.1)]


@pytest.mark.parametrize("order", ["abcd", "dcba", "bdac", "cadb"])
def test_confirmed_values_and_repeated_old_ones_do_not_depend_on_order(store: Store, order: str) -> None:
    # b confirms the standing value of d at a later time; c repeats a word for word
    sheets = {
        "a": ("2.4", "2026-01-06 10:00"),
        "b": ("2.1", "2026-01-09 10:00"),
        "c": ("2.4", "2026-01-06 10:00"),
        "d": ("2.1", "2026-01-08 10:00"),
    }
    for hour, name in enumerate(order):
        text, reported = sheets[name]
        take(store, name, row(sample="S1", text=text, reported_text=reported), layout=REPORTED, received=RECEIVED + timedelta(hours=hour))
    assert results(store, "value, reported_utc, is_used") == [(2.1, datetime(2026, 1, 9, 15, tzinfo=UTC), True)]
    assert results(store, "value", "lab_results_history") == [(2.1,), (2.4,)]


def test_a_revision_inside_one_file(store: Store) -> None:
    rows = (
        row(2, sample="S1", text="2.4", reported_text="2026-01-06 10:00"),
        row(3, sample="S1", text="2.1", reported_text="2026-01-08 10:00"),
    )
    receipt = take(store, "a", *rows, layout=REPORTED)
    assert receipt.values_kept == 2
    assert results(store, "value, replicates, line_no") == [(2.1, 1, 3)]


def sample_set(feed: str, cake: str, filtrate: str) -> list[dict[str, Any]]:
    return [
        row(2, sample="F", text=feed),
        row(3, sample="C", point_text="cake", text=cake),
        row(4, sample="X", point_text="filtrate", analyte_text="TSS", text=filtrate, unit_text="mg/L"),
    ]


@pytest.mark.parametrize(
    ("feed", "cake", "filtrate", "fine"),
    [
        ("2.4", "22", "800", True),
        ("2.4", "2.4", "800", True),
        ("2.4", "2.39", "800", False),  # cake below feed
        ("2.4", "22", "23999", True),
        ("2.4", "22", "24000", False),  # filtrate as thick as the feed
    ],
)
def test_a_set_that_contradicts_itself_is_not_used(store: Store, feed: str, cake: str, filtrate: str, fine: bool) -> None:
    receipt = take(store, "a", *sample_set(feed, cake, filtrate))
    assert receipt.values_kept == 3  # nothing is set aside: which one is wrong is not known
    assert set(results(store, "is_used, unused_reason")) == {(True, None) if fine else (False, "inconsistent sample set")}


def test_swapped_bottles_are_used_again_after_a_revision(store: Store) -> None:
    take(store, "a", *sample_set("0.1", "22", "24000"), row(9, sample="other day", at="2026-01-07 09:00"))
    assert results(store, "sample_id, is_used") == [("C", False), ("F", False), ("X", False), ("other day", True)]
    take(store, "b", row(2, sample="F", text="2.5"), received=RECEIVED + timedelta(days=1))
    assert {u for u, _ in results(store, "is_used, unused_reason")} == {True}
    history = results(store, "sample_id, revision, is_used, unused_reason", "lab_results_history")
    assert ("F", 1, False, "superseded by a later revision") in history
    assert ("C", 1, True, None) in history


def test_the_verdict_on_a_set_does_not_depend_on_which_file_came_first() -> None:
    seen = []
    for order in ((0, 1, 2), (2, 1, 0), (1, 2, 0)):
        with Store(Path(":memory:"), "p") as store:
            rows = sample_set("2.4", "2.0", "800")
            for n in order:
                take(store, "abc"[n], rows[n])
            seen.append([results(store, "sample_id, value, is_used, unused_reason", t) for t in ("lab_results", "lab_results_history")])
    assert seen[0] == seen[1] == seen[2]
    assert seen[0][0][0][2] is False


def test_days_to_compute_again(store: Store) -> None:
    take(store, "a", row(sample="S1", at="2026-01-05 08:30"))
    assert store.pending_days("compute") == [date(2026, 1, 5) + timedelta(days=k) for k in range(15)]
    store.clear_days("compute")
    # the revision says the sample is of another day: the day it leaves is touched too
    take(store, "b", row(sample="S1", at="2026-01-03 08:30"), received=RECEIVED + timedelta(days=1))
    assert store.pending_days("compute") == [date(2026, 1, 3) + timedelta(days=k) for k in range(17)]
    assert store.rows("SELECT load_id[1], operating_day FROM load_days ORDER BY 1") == [("a", date(2026, 1, 5)), ("b", date(2026, 1, 3))]
    assert store.rows("SELECT count(*) FROM pending_hours") == [(0,)]


def test_half_a_limit_is_no_measurement_of_feed_or_cake(store: Store) -> None:
    take(
        store, "a",
        row(2, text="<3"), row(3, point_text="cake", text="20", qualifier_text="U"), row(4, point_text="filtrate", text="<0.2"), row(5, analyte_text="VS", text="<60"),
    )  # fmt: skip
    assert results(store, "point, value, detection_limit") == [("filtrate", pytest.approx(0.1), 0.2)]
    assert {r for (r,) in store.rows("SELECT reason FROM set_aside")} == {"qualifier rejects result"}
