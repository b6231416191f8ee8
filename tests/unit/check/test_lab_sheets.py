"""Lab sheets as text, from file to store: shifts and windows, limits and qualifiers, blocks of dates, tickets, methods."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pipelines import check, receive
from pipelines.base.receipts import Receipt
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from tests import plants
from tests.unit.check.test_loads import counts

RECEIVED = datetime(2026, 1, 20, 4, tzinfo=UTC)
POLYMERS = [
    plants.EMULSION | {"product": "old", "density": "1.00 kg/L", "since": date(2025, 1, 1)},
    plants.EMULSION | {"product": "new", "density": "1.04 kg/L", "since": date(2026, 1, 10)},
]
LAB: dict[str, Any] = {
    "shift_words": {"day": ["A", "1st"], "night": ["B"]},
    "qualifier_words": {"ND": ["below", "u.d."], "R": ["void"], "J": ["ca."]},
    "methods": ["oven", "moisture balance"],
    "sample_points": [
        {"names": ["feed"], "line": "line-1", "point": "feed"},
        {"names": ["filtrate"], "line": "line-1", "point": "filtrate"},
        {"names": ["truck scale"], "line": "line-1", "point": "cake haul"},
        {"names": ["tote farm"], "line": "line-1", "point": "polymer store"},
    ],
    "analytes": [
        {"names": ["TS"], "analyte": "ts", "unit": "%"}, {"names": ["VS"], "analyte": "vs"}, {"names": ["TSS"], "analyte": "tss", "unit": "mg/L"},
        {"names": ["CST"], "analyte": "cst"}, {"names": ["net"], "analyte": "wet_mass"}, {"names": ["delivery"], "analyte": "delivered_mass"},
        {"names": ["on hand"], "analyte": "stock_mass"},
    ],
}  # fmt: skip
WIDE: dict[str, Any] = {
    "id": "sheet", "kind": "lab wide", "files": "*", "time_column": "Date", "time_format": "%m/%d/%Y",
    "results": [{"column": "TS", "line": "line-1", "point": "feed", "analyte": "ts", "unit": "%"}],
}  # fmt: skip
LONG: dict[str, Any] = {
    "id": "lab", "kind": "lab long", "files": "*", "time_column": "Date", "time_format": "%m/%d/%Y", "point_column": "Where",
    "analyte_column": "What", "result_column": "Result", "unit_column": "Unit",
}  # fmt: skip
Take = Callable[..., Receipt]


def with_sheet(layout: dict[str, Any], *, lab: dict[str, Any] | None = None, **of_plant: Any) -> PlantFile:
    """A plant of day and night shifts whose polymer changes on 10 January, with one layout."""
    blocks = {"polymers": POLYMERS, "lab": lab or {}}
    own = {"units": "US", "operating_day_start": "06:00:00", "shifts": plants.DAY_AND_NIGHT} | of_plant
    return plants.plant_file(plants.GPM, line=plants.US, layouts=(layout,), blocks=blocks, **own)


@pytest.fixture
def take(store: Store, tmp_path: Path) -> Take:
    """Take a sheet in: its layout, its text."""

    def taken(layout: dict[str, Any], text: str, *, lab: dict[str, Any] | None = None, plant: dict[str, Any] | None = None) -> Receipt:
        plant_file = with_sheet(layout, lab={**LAB, **(lab or {})}, **(plant or {}))
        seq = check.next_seq(store)
        path = tmp_path / f"{seq}.csv"
        path.write_text(text, encoding="utf-8")
        opened = receive.open_file(path, path.name, plant_file)
        return check.run(
            store, plant_file, receive.fingerprint(path), path.name, opened, lambda n: receive.raw_lines(path, opened.layout, n), seq=seq,
            received_utc=RECEIVED + timedelta(hours=seq),
        )  # fmt: skip

    return taken


def results(store: Store, columns: str) -> list[tuple[Any, ...]]:
    return store.rows(f"SELECT {columns} FROM lab_results ORDER BY ALL")


def aside(store: Store) -> list[tuple[Any, ...]]:
    return store.rows("SELECT line_no, reason, detail FROM set_aside ORDER BY ALL")


def utc(day: int, hour: int, minute: int = 0) -> datetime:
    """A wall time of New York in January (EST, five hours behind) as UTC."""
    return datetime(2026, 1, day, tzinfo=UTC) + timedelta(hours=hour + 5, minutes=minute)


SHIFTS = WIDE | {"shift_column": "Crew", "crew_column": "Crew"}
SPAN = "from_utc, to_utc, half_width_h, time_basis"


def test_a_crew_letter_a_shift_name_and_no_word_at_all(store: Store, take: Take) -> None:
    take(SHIFTS, "Date,Crew,TS\n1/5/2026,A,2.1\n1/6/2026, NIGHT ,2.2\n1/7/2026,,2.3\n1/8/2026,C,2.4\n1/9/2026,1ST,2.5\n")
    assert results(store, f"sample_id, {SPAN}, crew") == [
        ("line-1/feed/2026-01-05/day", utc(5, 6), utc(5, 18), 6.0, "shift", "A"),
        ("line-1/feed/2026-01-06/night", utc(6, 18), utc(7, 6), 6.0, "shift", "NIGHT"),
        ("line-1/feed/2026-01-07", utc(7, 6), utc(8, 6), 12.0, "day", None),
        ("line-1/feed/2026-01-09/day", utc(9, 6), utc(9, 18), 6.0, "shift", "1ST"),
    ]
    assert aside(store) == [(5, "unknown shift word", "'C'")]


def test_two_shifts_of_a_day_are_two_samples(store: Store, take: Take) -> None:
    take(SHIFTS, "Date,Crew,TS\n1/5/2026,A,2.1\n,B,2.3\n")
    assert results(store, "value, replicates, from_utc") == [(2.1, 1, utc(5, 6)), (2.3, 1, utc(5, 18))]


@pytest.mark.parametrize(
    ("word", "start", "end"),
    [("AM", utc(5, 6), utc(5, 12)), ("pm", utc(5, 12), utc(5, 24)), ("a.m.", utc(5, 6), utc(5, 12))],
)
def test_am_and_pm_are_halves_of_the_calendar_day_cut_to_ours(store: Store, take: Take, word: str, start: datetime, end: datetime) -> None:
    take(SHIFTS, f"Date,Crew,TS\n1/5/2026,{word},2.1\n")
    assert results(store, "from_utc, to_utc, operating_day") == [(start, end, date(2026, 1, 5))]


def test_am_can_be_the_word_of_a_shift(store: Store, take: Take) -> None:
    take(SHIFTS, "Date,Crew,TS\n1/5/2026,PM,2.1\n", lab={"shift_words": {"night": ["PM"]}})
    assert results(store, "from_utc, to_utc") == [(utc(5, 18), utc(6, 6))]


def test_a_shift_over_the_start_of_the_operating_day_is_cut_to_its_longer_piece(store: Store, take: Take) -> None:
    # nights from 22:00 to 06:00 while the day begins at 04:00: of night and date the operating day holds 22:00 to 04:00
    shifts = [{"name": "night", "start": "22:00:00", "end": "06:00:00"}]
    take(SHIFTS, "Date,Crew,TS\n1/5/2026,night,2.1\n", lab={"shift_words": {}}, plant={"shifts": shifts, "operating_day_start": "04:00:00"})
    assert results(store, "from_utc, to_utc, half_width_h") == [(utc(5, 22), utc(6, 4), 3.0)]


def test_a_night_has_the_hours_of_its_clock(store: Store, take: Take) -> None:
    # 9 March 2025, 02:00: clocks go forward; the night from 18:00 EST (23:00 UTC) to 06:00 EDT (10:00 UTC) has eleven hours
    take(SHIFTS, "Date,Crew,TS\n3/8/2025,B,2.1\n")
    assert results(store, "from_utc, to_utc, half_width_h") == [
        (datetime(2025, 3, 8, 23, tzinfo=UTC), datetime(2025, 3, 9, 10, tzinfo=UTC), 5.5)
    ]


def test_a_shift_the_plant_file_does_not_have_is_refused_with_the_plant_file() -> None:
    with pytest.raises(ValueError, match="no shift 'late'"):
        with_sheet(SHIFTS, lab={"shift_words": {"late": ["C"]}})


WINDOWS = WIDE | {"from_column": "From", "to_column": "To"}


def test_a_composite_takes_its_stated_window(store: Store, take: Take) -> None:
    text = (
        "Date,From,To,TS\n1/5/2026,08:00,14:00,2.1\n1/6/2026,22:00,04:00,2.2\n1/8/2026,2026-01-07 10:00,2026-01-08 10:00,2.3\n"
        "1/9/2026,09:30,,2.4\n1/10/2026,,,2.5\n1/11/2026,noon,14:00,2.6\n1/12/2026,2026-01-01 00:00,2026-01-12 00:00,2.7\n"
        "1/13/2026,2026-01-13 09:00,2026-01-13 08:00,2.8\n"
    )
    take(WINDOWS, text)
    assert results(store, f"value, {SPAN}, operating_day") == [
        (2.1, utc(5, 8), utc(5, 14), 3.0, "composite", date(2026, 1, 5)),
        (2.2, utc(6, 22), utc(7, 4), 3.0, "composite", date(2026, 1, 6)),
        (2.3, utc(7, 10), utc(8, 10), 12.0, "composite", date(2026, 1, 7)),
        (2.5, utc(10, 6), utc(11, 6), 12.0, "day", date(2026, 1, 10)),
    ]
    assert [(n, r) for n, r, _ in aside(store)] == [(n, "time stamp unreadable") for n in (5, 7, 8, 9)]


def test_a_window_over_the_edge_of_the_day_touches_both_days(store: Store, take: Take) -> None:
    take(WINDOWS, "Date,From,To,TS\n1/6/2026,2026-01-06 02:00,2026-01-06 12:00,2.2\n")
    assert results(store, "operating_day") == [(date(2026, 1, 6),)]  # of its middle, 07:00
    assert store.rows("SELECT min(operating_day), max(operating_day) FROM load_days") == [(date(2026, 1, 5), date(2026, 1, 6))]
    assert min(store.pending_days("compute")) == date(2026, 1, 5)


def test_a_window_takes_all_of_the_repeated_hour_and_none_of_the_missing_one(store: Store, take: Take) -> None:
    # 2 November 2025, 02:00 EDT: clocks go back; 01:00 first stands for 05:00 UTC, 01:30 last for 06:30 UTC
    take(WINDOWS, "Date,From,To,TS\n11/2/2025,01:00,01:30,2.1\n3/9/2025,02:30,05:00,2.2\n")
    assert results(store, "from_utc, to_utc") == [(datetime(2025, 11, 2, 5, tzinfo=UTC), datetime(2025, 11, 2, 6, 30, tzinfo=UTC))]
    assert aside(store) == [(3, "local time does not exist", "'02:30'")]


LIMITS = WIDE | {
    "results": [
        {"column": "TSS 1", "line": "line-1", "point": "filtrate", "analyte": "tss", "unit": "mg/L", "qualifier_column": "Q 1", "limit_column": "DL 1"},
        {"column": "TS", "line": "line-1", "point": "feed", "analyte": "ts", "unit": "%"},
    ]
}  # fmt: skip


def test_each_column_of_a_wide_sheet_has_its_own_qualifiers_and_limit(store: Store, take: Take) -> None:
    take(
        LIMITS,
        "Date,TSS 1,Q 1,DL 1,TS\n1/5/2026,,U,20,2.1\n1/6/2026,35,J,20,2.2\n1/7/2026,,,20,2.3\n1/8/2026,12,R,20,\n1/9/2026,,ND,,2.4\n",
    )
    columns = "operating_day, value, qualifier, detection_limit, value_at_zero, value_at_limit, is_estimated"
    assert store.rows(f"SELECT {columns} FROM lab_results WHERE analyte = 'tss' ORDER BY 1") == [
        (date(2026, 1, 5), 10.0, "U", 20.0, 0.0, 20.0, False),
        (date(2026, 1, 6), 35.0, "J", None, None, None, True),
    ]
    assert store.rows("SELECT count(*) FROM lab_results WHERE analyte = 'ts'") == [(4,)]
    assert aside(store) == [
        (5, "qualifier rejects result", "12 R"), (6, "text in number", "'': a non-detect needs its limit"),
    ]  # fmt: skip


def test_local_words_a_limit_column_and_comments_of_a_long_sheet(store: Store, take: Take) -> None:
    text = (
        "Date,Where,What,Result,Unit,DL\n1/5/2026,filtrate,TSS,below,mg/L,50\n1/6/2026,filtrate,TSS,U.D.,g/L,0.05\n1/7/2026,filtrate,TSS,ca. 80,,\n"
        "1/8/2026,filtrate,TSS,void,,\n1/9/2026,filtrate,TSS,press down,,\n1/10/2026,filtrate,TSS,<60 J,,50\n1/11/2026,filtrate,TSS,void 70,,\n"
    )
    take(LONG | {"limit_column": "DL"}, text)
    assert results(store, "operating_day, value, qualifier, detection_limit, is_estimated") == [
        (date(2026, 1, 5), 25.0, "ND", 50.0, False), (date(2026, 1, 6), 25.0, "ND", 50.0, False), (date(2026, 1, 7), 80.0, "J", None, True),
        (date(2026, 1, 10), 30.0, "<,J", 60.0, True),
    ]  # fmt: skip
    assert aside(store) == [
        (5, "qualifier rejects result", "void"), (6, "text in number", "'press down'"), (8, "qualifier rejects result", "void 70"),
    ]  # fmt: skip
    assert store.rows("SELECT raw_text FROM set_aside WHERE line_no = 6") == [("1/9/2026,filtrate,TSS,press down,,",)]


def test_a_replicate_given_twice_counts_once(store: Store, take: Take) -> None:
    sheet = "Date,No,Rep,TS\n1/5/2026,7,1,2.0\n1/5/2026,7,2,2.2\n1/5/2026,7,2,2.4\n1/6/2026,8,,3.0\n1/6/2026,8,,3.2\n"
    receipt = take(WIDE | {"sample_column": "No", "replicate_column": "Rep"}, sheet)
    assert counts(receipt)[0] == (6, 5, 0, 1, 0)  # every row is spoken for; the header is dropped
    assert results(store, "value, replicates") == [(pytest.approx(2.2), 2), (pytest.approx(3.1), 2)]


def test_replicates_partly_detected_keep_both_ends(store: Store, take: Take) -> None:
    take(LONG, "Date,Where,What,Result,Unit\n1/5/2026,filtrate,TSS,100,mg/L\n1/5/2026,filtrate,TSS,<60,mg/L\n")
    # half: (100 + 30)/2, zero: 100/2, limit: (100 + 60)/2; RPD 100 x 70/65 = 107.7 %, above the 20 % of TSS
    assert results(store, "value, value_at_zero, value_at_limit, detection_limit, replicates, is_estimated, note") == [
        (65.0, 50.0, 80.0, 60.0, 2, True, "duplicates 108 % apart, limit 20 %")
    ]


@pytest.mark.parametrize(("second", "apart"), [("2.21", False), ("2.22", True)])
def test_duplicates_further_apart_than_the_limit_are_marked_and_used(store: Store, take: Take, second: str, apart: bool) -> None:
    # RPD of 2.00 and 2.21: 100 x 0.21/2.105 = 9.976 %; of 2.00 and 2.22: 100 x 0.22/2.11 = 10.43 %; the limit of TS is 10 %
    take(LONG, f"Date,Where,What,Result,Unit\n1/5/2026,feed,TS,2.00,%\n1/5/2026,feed,TS,{second},%\n")
    assert results(store, "is_used, is_estimated, note") == [(True, apart, "duplicates 10.4 % apart, limit 10 %" if apart else None)]


def test_a_stated_limit_for_duplicates_itself_passes(store: Store, take: Take) -> None:
    # 3 and 5: RPD = 100 x 2/4 = 50 % exactly
    take(LONG, "Date,Where,What,Result,Unit\n1/5/2026,feed,TS,3,%\n1/5/2026,feed,TS,5,%\n", lab={"duplicate_limit_pct": {"ts": 50}})
    assert results(store, "rpd_pct, is_estimated") == [(50.0, False)]


def test_dates_in_the_first_row_of_a_block_and_totals_rows(store: Store, take: Take) -> None:
    text = "Where,Date,What,Result,Unit\nfeed,1/5/2026,TS,2.1,%\nfiltrate,,TSS,80,mg/L\n,,,,\nTotal,,,82.1,\nfeed,1/6/2026,TS,2.2,%\n"
    layout = LONG | {"footer_words": ["total"]}
    take(layout, text)  # without the option a blank date is unreadable
    assert aside(store) == [(3, "time stamp unreadable", "")]
    receipt = take(layout | {"date_fills_down": True}, text + "\n")
    assert (receipt.rows_kept, receipt.rows_duplicate, receipt.rows_dropped) == (1, 2, 4)
    assert results(store, "operating_day, point") == [
        (date(2026, 1, 5), "feed"),
        (date(2026, 1, 5), "filtrate"),
        (date(2026, 1, 6), "feed"),
    ]


def test_only_the_date_fills_down_where_the_time_has_its_own_column(store: Store, take: Take) -> None:
    layout = WIDE | {"date_column": "Date", "time_column": "Time", "time_format": "%m/%d/%Y %H:%M"}
    take(layout, "Date,Time,TS\n1/5/2026,08:00,2.1\n,14:00,2.2\n1/6/2026,09:00,2.3\n")
    assert results(store, "from_utc, value") == [(utc(5, 8), 2.1), (utc(5, 14), 2.2), (utc(6, 9), 2.3)]


def test_volatile_solids_of_wet_sludge_become_per_cent_of_ts(store: Store, take: Take) -> None:
    text = (
        "Date,Where,What,Result,Unit\n1/5/2026,feed,TS,2.5,%\n1/5/2026,feed,VS,1.6,% of wet\n1/6/2026,feed,VS,16000,mg/L\n1/6/2026,feed,TS,2.5,%\n"
        "1/7/2026,feed,VS,1.6,% of wet\n1/8/2026,feed,TS,2.5,%\n1/8/2026,feed,VS,2.6,% of wet\n1/9/2026,feed,TS,2.5,%\n1/9/2026,feed,VS,0.5,% of wet\n"
    )
    take(LONG, text)
    # 100 x 1.6/2.5 = 64 % of TS
    assert results(store, "operating_day, analyte, value, unit") == [
        (date(2026, 1, 5), "ts", 2.5, "%"), (date(2026, 1, 5), "vs", pytest.approx(64.0), "% of TS"),
        (date(2026, 1, 6), "ts", 2.5, "%"), (date(2026, 1, 6), "vs", pytest.approx(64.0), "% of TS"), (date(2026, 1, 9), "ts", 2.5, "%"),
    ]  # fmt: skip
    assert [(n, r) for n, r, _ in aside(store)] == [
        (6, "unit implausible"), (7, "inconsistent sample set"), (8, "inconsistent sample set"), (10, "unit implausible"),
    ]  # fmt: skip


TICKETS = LONG | {"sample_column": "Ticket", "lot_column": "Lot"}
HEAD = "Date,Ticket,Where,What,Result,Unit,Lot\n"


def test_tickets_are_results_of_their_own_in_tonnes(store: Store, take: Take) -> None:
    text = (
        HEAD
        + "1/5/2026,1001,truck scale,net,20,tons,\n1/5/2026,1002,truck scale,net,20,short ton,\n1/5/2026,1003,truck scale,net,44092.45,lb,\n"
    )
    text += "1/5/2026,1004,truck scale,net,18.5,t,\n1/5/2026,1005,truck scale,net,18500,kg,\n1/5/2026,1006,truck scale,net,0,t,\n"
    take(TICKETS, text + "1/5/2026,1007,truck scale,net,20,,\n1/5/2026,1008,truck scale,net,<20,t,\n")
    # a short ton is 2,000 lb of 0.45359237 kg: 20 short tons = 18.1436948 t; 44,092.45 lb = 19.99999889 t
    assert results(store, "sample_id, value, unit, replicates") == [
        ("1001", pytest.approx(18.1436948), "t", 1), ("1002", pytest.approx(18.1436948), "t", 1), ("1003", pytest.approx(19.999999, abs=1e-5), "t", 1),
        ("1004", 18.5, "t", 1), ("1005", 18.5, "t", 1),
    ]  # fmt: skip
    assert [(n, r) for n, r, _ in aside(store)] == [(7, "unit implausible"), (8, "unit missing"), (9, "qualifier rejects result")]


def test_a_ton_of_a_metric_plant_is_asked_about(store: Store, take: Take) -> None:
    take(TICKETS, HEAD + "1/5/2026,1001,truck scale,net,20,ton,\n1/5/2026,1002,truck scale,net,20,t,\n", plant={"units": "SI"})
    assert results(store, "sample_id, value") == [("1002", 20.0)]
    assert [(n, r) for n, r, _ in aside(store)] == [(2, "unit implausible")]


def test_a_ticket_number_twice_is_one_ticket_or_none(store: Store, take: Take) -> None:
    text = HEAD + "1/5/2026,1001,truck scale,net,18,t,\n1/5/2026,1001,truck scale,net,18,t,\n1/5/2026,1002,truck scale,net,18,t,\n"
    take(TICKETS, text + "1/5/2026,1002,truck scale,net,19,t,\n")
    assert results(store, "sample_id, value, replicates, rpd_pct") == [("1001", 18.0, 1, None)]
    assert [(n, r) for n, r, _ in aside(store)] == [(4, "duplicate disagreement"), (5, "duplicate disagreement")]


def test_amounts_without_a_number_are_told_apart_by_their_order(store: Store, take: Take) -> None:
    text = HEAD + "1/5/2026,,truck scale,net,18,t,\n1/5/2026,,truck scale,net,18,t,\n1/6/2026,,truck scale,net,17,t,\n"
    take(TICKETS, text)
    base = "line-1/cake haul/2026-01-0"
    assert results(store, "sample_id, value") == [(f"{base}5", 18.0), (f"{base}5/2", 18.0), (f"{base}6", 17.0)]
    again = take(TICKETS, text + "1/6/2026,,truck scale,net,16,t,\n")  # the sheet grows at its end
    assert (again.values_duplicate, again.values_kept) == (3, 1)
    assert store.rows("SELECT sum(value) FROM lab_results") == [(69.0,)]


def test_deliveries_and_stock_in_kilograms_by_the_density_of_the_product_then(store: Store, take: Take) -> None:
    text = (
        HEAD
        + "1/5/2026,D1,tote farm,delivery,275,gal,L-77\n1/12/2026,D2,tote farm,delivery,1000,L,L-78\n1/12/2026,D3,tote farm,delivery,2300,lb,\n"
    )
    text += "1/12/2026,K1,tote farm,on hand,0,kg,\n1/12/2026,K2,tote farm,on hand,1.2,t,\n1/12/2026,K3,tote farm,TS,2,%,\n1/12/2026,K4,feed,net,2,t,\n"
    take(TICKETS, text + "1/5/2024,D0,tote farm,delivery,275,gal,\n1/12/2026,D4,truck scale,net,10,gal,\n")
    # 275 US gal x 3.785411784 L x 1.00 kg/L (the product until 10 January); 1,000 L x 1.04; 2,300 lb x 0.45359237
    assert results(store, "sample_id, analyte, value, unit, lot") == [
        ("D1", "delivered_mass", pytest.approx(1040.9882406), "kg", "L-77"), ("D2", "delivered_mass", pytest.approx(1040.0), "kg", "L-78"),
        ("D3", "delivered_mass", pytest.approx(1043.262451), "kg", None), ("K1", "stock_mass", 0.0, "kg", None),
        ("K2", "stock_mass", pytest.approx(1200.0), "kg", None),
    ]  # fmt: skip
    assert [(n, r) for n, r, _ in aside(store)] == [
        (7, "unknown analyte"), (8, "unknown analyte"), (9, "unit implausible"), (10, "unit implausible"),
    ]  # fmt: skip


def test_suction_time_and_its_bounds(store: Store, take: Take) -> None:
    take(
        LONG,
        "Date,Where,What,Result,Unit\n1/5/2026,feed,CST,85,s\n1/6/2026,feed,CST,2,min\n1/7/2026,feed,CST,0.5,s\n1/8/2026,filtrate,CST,85,s\n",
    )
    assert results(store, "value, unit, is_used") == [(85.0, "s", True), (120.0, "s", True)]
    assert [(n, r) for n, r, _ in aside(store)] == [(4, "unit implausible"), (5, "unknown analyte")]


METHODS = LONG | {"sample_column": "No", "method_column": "Method"}


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_preferred_method_counts_and_the_other_stays_beside_it(store: Store, take: Take, order: tuple[int, int]) -> None:
    head = "Date,No,Where,What,Result,Unit,Method\n"
    sheets = [
        "1/5/2026,S1,feed,TS,2.4,%,Oven\n",
        "1/5/2026,S1,feed,TS,2.5,%,moisture  balance\n1/6/2026,S2,feed,TS,2.6,%,moisture balance\n",
    ]
    for i in order:
        take(METHODS, head + sheets[i])
    assert results(store, "sample_id, value, method, is_used, unused_reason") == [
        ("S1", 2.4, "oven", True, None),
        ("S1 [moisture balance]", 2.5, "moisture balance", False, "another method of the same sample counts"),
        ("S2 [moisture balance]", 2.6, "moisture balance", True, None),
    ]


def test_methods_that_are_not_declared_are_averaged_and_said_to_be_mixed(store: Store, take: Take) -> None:
    text = "Date,No,Where,What,Result,Unit,Method\n1/5/2026,S1,feed,TS,2.4,%,oven\n1/5/2026,S1,feed,TS,2.5,%,microwave\n"
    take(METHODS, text, lab={"methods": []})
    assert results(store, "value, replicates, note") == [(pytest.approx(2.45), 2, "methods mixed: microwave, oven")]


def test_a_column_of_a_wide_sheet_can_be_a_method(store: Store, take: Take) -> None:
    both = [
        {"column": "oven %", "line": "line-1", "point": "feed", "analyte": "ts", "unit": "%", "method": "oven"},
        {"column": "MB %", "line": "line-1", "point": "feed", "analyte": "ts", "unit": "%", "method": "moisture balance"},
    ]
    take(WIDE | {"results": both}, "Date,oven %,MB %\n1/5/2026,2.4,2.5\n")
    assert results(store, "value, method, is_used") == [(2.4, "oven", True), (2.5, "moisture balance", False)]


def test_filtrate_solids_at_the_feed_contradict_the_set_and_tickets_are_no_part_of_it(store: Store, take: Take) -> None:
    text = "Date,Where,What,Result,Unit\n1/5/2026,feed,TS,2.4,%\n1/5/2026,filtrate,TS,2.4,%\n1/5/2026,truck scale,net,18,t\n"
    take(LONG, text)
    assert results(store, "point, is_used") == [("cake haul", True), ("feed", False), ("filtrate", False)]


def test_points_and_analytes_that_do_not_belong_together_are_refused_with_the_plant_file() -> None:
    wrong = {"column": "x", "line": "line-1", "point": "cake haul", "analyte": "ts", "unit": "%"}
    with pytest.raises(ValueError, match="no result of the point 'cake haul'"):
        with_sheet(WIDE | {"results": [wrong]})
    with pytest.raises(ValueError, match="give both or none"):
        with_sheet(WIDE | {"from_column": "From"})
