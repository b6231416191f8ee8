"""Text to values: numbers as layouts write them, states, scaling, units, ranges on both sides of their edges."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from pipelines.check.readings.signals import Signals
from pipelines.check.readings.values import typed
from tests.unit.check.typed_texts import FLOW, GPM, NOON, RECEIVED, check, layout, plant, rows, value


def test_a_clean_number_becomes_si() -> None:
    assert value("100") == pytest.approx(100 * GPM, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "keys", "number"),
    [
        ("12,5", {"decimal": ","}, 12.5),
        ("1.234,5", {"decimal": ",", "thousands": "."}, 1234.5),
        ("1,234.5", {"thousands": ","}, 1234.5),
        ("1 234", {"thousands": " "}, 1234.0),
        ("+1.5e2", {}, 150.0),
        ("-3", {}, -3.0),
    ],
)
def test_numbers_as_layouts_write_them(text: str, keys: dict[str, str], number: float) -> None:
    signal = {"role": "pump_speed", "tag": "ST", "unit": "rpm", "range": [-10, 3000]}
    assert value(text, signal, **keys) == pytest.approx(number, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ("1,234", {}),  # no comma is declared: neither 1.234 nor 1234
        ("1.234", {"decimal": ","}),  # no point is declared: neither 1.234 nor 1234
        ("Bad Input", {}),
        ("12 gpm", {}),
        ("--", {}),
        ("0x10", {}),
        ("1_000", {}),
    ],
)
def test_text_in_a_number_is_set_aside(text: str, keys: dict[str, str]) -> None:
    assert value(text, **keys) == "text in number"


@pytest.mark.parametrize("text", ["nan", "NaN"])
def test_the_word_for_no_number_is_text(text: str) -> None:
    assert value(text) == "text in number"


@pytest.mark.parametrize("text", ["inf", "-inf", "1e400", "-1e400"])
def test_numbers_that_are_not_finite(text: str) -> None:
    assert value(text) == "value outside physical range"


def test_transmitter_range_with_one_percent_of_span_on_both_sides() -> None:
    # span 0-400 gpm, 1 % = 4 gpm: -4 and 404 are inside, anything further is out
    assert value("404") == pytest.approx(404 * GPM)
    assert value("-4.0") == pytest.approx(-4 * GPM)
    assert value("404.001") == value("-4.001") == "value outside transmitter range"


def test_a_range_that_does_not_start_at_zero_and_a_unit_with_offset() -> None:
    suction = {"role": "pump_suction_pressure", "tag": "PT", "unit": "psi", "range": [-14, 30]}
    assert value("30.44", suction) == pytest.approx(30.44 * 6.894757293168361)  # 1 psi = 6.894757293168361 kPa, exact
    assert value("30.441", suction) == "value outside transmitter range"
    assert value("-14.44", suction) == pytest.approx(-14.44 * 6.894757293168361)
    # -15 psi gauge is below absolute vacuum: the physical limit comes first
    assert value("-15", suction) == "value outside physical range"


def test_physical_range_stands_above_a_wide_transmitter_range() -> None:
    solids = {"role": "feed_solids", "tag": "AT", "unit": "%", "range": [0, 40]}
    assert value("15", solids) == 15.0
    assert value("15.01", solids) == "value outside physical range"


def test_scaling_comes_before_the_unit() -> None:
    # 60 Hz of the drive turns the pump at 240 rpm
    speed = {"role": "pump_speed", "tag": "ST", "unit": "rpm", "range": [0, 300], "scaling": {"raw": [0, 60], "reads": [0, 240]}}
    assert value("45", speed) == pytest.approx(180.0)
    assert value("75.75", speed) == pytest.approx(303.0)  # the edge: 300 + 1 %
    assert value("75.8", speed) == "value outside transmitter range"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4", 0.0),
        ("12", 500.0),
        ("20", 1000.0),
        ("3.8", -12.5),  # saturated: the transmitter still measures (NE 43, from memory), (3.8 - 4)/16 x 1000
        ("3.799", "value outside transmitter range"),
        ("3.6", "value outside transmitter range"),  # NE 43: failure lies below 3.6 mA, not at it
        ("3.59", "transmitter failure level"),
        ("20.5", 1031.25),
        ("20.501", "value outside transmitter range"),
        ("21", "value outside transmitter range"),
        ("21.01", "transmitter failure level"),
        ("0", "transmitter failure level"),
    ],
)
def test_milliamperes(text: str, expected: float | str) -> None:
    signal = {
        "role": "pump_discharge_pressure",
        "tag": "PT",
        "unit": "kPa",
        "range": [0, 1000],
        "scaling": {"raw": [4, 20], "reads": [0, 1000]},
    }
    found = value(text, signal)
    assert found == expected if isinstance(expected, str) else found == pytest.approx(expected, abs=1e-9)


def test_a_falling_scaling_keeps_its_limits() -> None:
    signal = {
        "role": "mixing_valve_position",
        "tag": "ZT",
        "unit": "%",
        "range": [0, 100],
        "scaling": {"raw": [0, 1000], "reads": [100, 0]},
    }
    assert value("250", signal) == pytest.approx(75.0)
    assert value("1010", signal) == pytest.approx(-1.0)
    assert value("1011", signal) == "value outside transmitter range"


def test_totalisers_keep_their_register_and_refuse_only_the_impossible() -> None:
    total = {"role": "sludge_total", "tag": "FQ", "unit": "gal", "scaling": {"raw": [0, 1], "reads": [0, 10]}, "rollover": 9_999_990.0}
    assert value("123456", total) == pytest.approx(1_234_560 * 0.003785411784, rel=1e-12)
    assert value("0", total) == 0.0
    assert value("-0.1", total) == "value outside physical range"


RUN = {"role": "pump_run", "tag": "YI", "unit": "state", "on_words": ["RUN", "In Service"], "off_words": ["Stop"]}


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("RUN", 1.0),
        ("run", 1.0),
        (" r u n ", 1.0),
        ("INSERVICE", 1.0),
        ("stop", 0.0),
        ("1", 1.0),
        ("1.0", 1.0),
        ("0", 0.0),
        ("0.0", 0.0),
        ("0.25", 0.25),  # share of an interval
        ("1.0001", "unknown state word"),
        ("-0.1", "unknown state word"),
        ("2", "unknown state word"),
        ("nan", "unknown state word"),
        ("Fault", "unknown state word"),
        ("running", "unknown state word"),  # the signal's own words replace the usual ones
    ],
)
def test_states(text: str, expected: float | str) -> None:
    assert value(text, RUN) == expected


def test_a_state_word_may_mean_a_part_of_the_interval() -> None:
    partly = RUN | {"part_words": ["Partly", "mixed"]}
    assert [value(text, partly) for text in ("partly", "MIXED", "RUN", "Stop", "other")] == [0.5, 0.5, 1.0, 0.0, "unknown state word"]


def test_state_words_go_before_numbers() -> None:
    inverted = RUN | {"on_words": ["0"], "off_words": ["1"]}
    assert value("0", inverted) == value("0.0", inverted) == 1.0
    assert value("1", inverted) == 0.0
    assert value("0.5", inverted) == "unknown state word"
    enumerated = RUN | {"on_words": ["2", "3"], "off_words": ["0", "1", "4"]}
    assert [value(t, enumerated) for t in ("0", "1", "2", "3", "4")] == [0.0, 0.0, 1.0, 1.0, 0.0]


def test_quality_words() -> None:
    words = {"good": ["Good", "Good, local override"], "uncertain": ["Uncertain"], "bad": ["Bad", "No comm"]}
    frame = rows(
        ("FT", "1", "GOOD"),
        ("FT", "2", "good, local override"),
        ("FT", "3", "uncertain"),
        ("FT", "4", "No Comm"),
        ("FT", "x", "bad"),
        ("FT", "5", ""),
        ("FT", "6", "192"),
    )
    done = check(frame, FLOW, quality_column="q", quality_words=words)
    assert done.readings["quality"].to_list() == [0, 0, 1, 2, 2, 0, 2]
    assert [v is None for v in done.readings["value"]] == [False, False, False, True, True, False, True]
    assert done.failed.select("line_no", "reason").rows() == [(8, "unknown quality word")]
    assert done.readings["is_mark"].to_list() == [False] * 6 + [True]


def test_a_bad_value_is_kept_as_bad_whatever_its_text() -> None:
    done = check(rows(("FT", "9999", "Bad"), ("FT", "Fault", "Bad")), FLOW, quality_column="q")
    assert done.failed.height == 0
    assert done.readings.select("value", "quality").rows() == [(None, 2), (None, 2)]


def test_declared_fill_values_and_blanks_are_bad_readings_and_nothing_is_held_across_them() -> None:
    done = check(rows(("FT", "-999", "Good"), ("FT", "", "Good"), ("FT", "7", "Good")), FLOW, quality_column="q", fill_values=["-999"])
    assert done.failed.height == 0
    assert done.readings["quality"].to_list() == [2, 2, 0]
    assert check(rows(("FT", "-999")), FLOW).failed["reason"].to_list() == ["value outside physical range"]  # not declared


def test_fill_values_do_not_mind_case() -> None:
    done = check(
        rows(("FT", "NoData", "Good"), ("FT", "NODATA", "Good"), ("FT", "nothing", "Good")),
        FLOW,
        quality_column="q",
        fill_values=["NoData"],
    )
    assert done.readings["quality"].to_list() == [2, 2, 2]  # the third leaves a mark
    assert done.failed["reason"].to_list() == ["text in number"]


def test_time_reasons_and_the_future_leave_no_reading() -> None:
    late = RECEIVED + timedelta(days=1)
    done = check(
        rows(
            ("FT", "1", None, None, "time stamp unreadable"),
            ("FT", "1", None, NOON, "ambiguous local time"),
            ("FT", "1", None, None, None),
            ("FT", "1", None, late, None),
            ("FT", "1", None, late + timedelta(microseconds=1), None),
            ("FT", "x", None, late + timedelta(days=9), None),
        ),
        FLOW,
    )
    assert done.failed["reason"].to_list() == [
        "time stamp unreadable", "ambiguous local time", "time stamp unreadable", "time in the future", "time in the future",
    ]  # fmt: skip
    assert done.readings["time_utc"].to_list() == [late]


def test_the_first_reason_of_the_closed_list_is_the_reason() -> None:
    done = check(rows((None, "x", "?"), ("no such tag", "x", "?"), ("FT", "x", "?"), ("FT", "1e400", "Good")), FLOW, quality_column="q")
    assert done.failed["reason"].to_list() == ["unknown tag", "unknown tag", "unknown quality word", "value outside physical range"]
    assert done.readings.height == 2


def test_a_tag_means_what_the_plant_file_says_for_that_time() -> None:
    # plant-local dates begin with the operating day: 5 January 06:00 in New York is 11:00 UTC
    old = FLOW | {"until": date(2026, 1, 5)}
    new = FLOW | {"unit": "m3/h", "range": [0, 100], "since": date(2026, 1, 5), "until": date(2026, 1, 6)}
    edge = datetime(2026, 1, 5, 11, tzinfo=UTC)
    at = [edge - timedelta(microseconds=1), edge, edge + timedelta(hours=24) - timedelta(microseconds=1), edge + timedelta(hours=24)]
    frame = rows(*(("FT", "50", None, t, None) for t in at))
    done = check(frame, old, new)
    assert done.readings["value"].to_list() == pytest.approx([50 * GPM, 50.0, 50.0])
    assert done.failed.select("line_no", "reason").rows() == [(5, "scaling not known for date")]


def test_readings_come_in_the_order_of_tag_time_and_line() -> None:
    other = {"role": "pump_speed", "tag": "AA", "unit": "rpm", "range": [0, 3000]}
    frame = rows(("FT", "1"), ("AA", "2"), ("FT", "3"), ("AA", "bad"), ("FT", "4", None, NOON))
    done = check(frame, FLOW, other)
    assert done.readings["tag"].to_list() == ["AA", "AA", "FT", "FT", "FT"]
    assert done.readings["line_no"].to_list() == [3, 5, 2, 6, 4]


def test_details_name_value_and_limits() -> None:
    done = check(rows(("FT", "500"), ("FT", "x")), FLOW)
    assert done.failed["detail"].to_list() == [
        "FT: 500 is not within -0.908 to 91.758 (SI, 1 % of span added), range 0 to 400 gpm",
        "FT: x",
    ]


@pytest.mark.parametrize(
    ("unit", "reason"),
    [
        ("gpm", None),
        (" GPM ", None),
        ("gal/min", None),
        ("", None),
        (None, None),
        ("m3/h", "unit implausible"),
        ("widgets", "unit implausible"),
    ],
)
def test_a_long_file_that_states_another_unit_is_not_believed(unit: str | None, reason: str | None) -> None:
    frame = rows((FLOW["tag"], "100"), (FLOW["tag"], "101")).with_columns(unit_text=pl.Series([unit, "gpm"], dtype=pl.String))
    done = check(frame, FLOW)
    assert done.failed["reason"].to_list() == ([reason] if reason else [])
    assert done.readings["quality"].to_list() == [2 if reason else 0, 0]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("9000", "value outside physical range"),  # sludge flow: 9000 gpm are 2044 m3/h, 2000 are possible
        ("500", "value outside transmitter range"),
        ("100", "unit implausible"),
    ],
)
def test_what_is_wrong_with_a_value_comes_before_the_unit_its_file_states(text: str, reason: str) -> None:
    done = check(rows((FLOW["tag"], text)).with_columns(unit_text=pl.lit("m3/h")), FLOW)
    assert done.failed["reason"].to_list() == [reason]


@pytest.mark.parametrize(("since", "reasons"), [(None, []), (date(2026, 1, 5), ["time before data_since"])])
def test_a_stamp_before_the_plants_data_is_set_aside(since: date | None, reasons: list[str]) -> None:
    file = plant(FLOW)
    file = file.model_copy(update={"plant": file.plant.model_copy(update={"data_since": since})})
    frame = rows((FLOW["tag"], "100"), (FLOW["tag"], "101"))
    old = datetime(2022, 1, 1, tzinfo=UTC)
    frame = frame.with_columns(time_utc=pl.Series([old, frame["time_utc"][1]], dtype=frame.schema["time_utc"]))
    done = typed(frame, Signals.of(file), layout(), datetime(2026, 2, 1, tzinfo=UTC))
    assert done.failed["reason"].to_list() == reasons
    assert done.readings["quality"].to_list() == [0] * (2 - len(reasons))  # no bad reading is left at a time that is none
