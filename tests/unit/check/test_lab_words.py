"""Cells of lab sheets: numbers, qualifiers, units, and what a result can plausibly be (limits: common practice, no source)."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.check.lab.qualifiers import Number, RowError, read
from pipelines.check.lab.result_units import to_stored
from pipelines.plant.model import Layout
from schemas.vocabulary import REASONS


def sheet(**more: Any) -> Layout:
    return Layout.model_validate({"id": "x", "kind": "wide", "files": "*", "time_column": "t", **more})


@pytest.mark.parametrize(
    ("text", "flag", "value", "qualifier", "is_limit"),
    [
        ("500", None, 500.0, None, False),
        (" .5e3 ", "", 500.0, None, False),
        ("<500", None, 500.0, "<", True),
        ("< 500", None, 500.0, "<", True),
        ("<=500", None, 500.0, "<", True),
        ("500 U", None, 500.0, "U", True),
        ("500", "nd", 500.0, "ND", True),
        ("ND 500", None, 500.0, "ND", True),
        ("500", "UJ", 500.0, "UJ", True),
        (">500", None, 500.0, ">", False),
        ("~500", None, 500.0, "~", False),
        ("500J", None, 500.0, "J", False),
        ("500", " j ", 500.0, "J", False),
        ("<500", "J", 500.0, "<,J", True),
        ("500", "X9", 500.0, "X9", False),  # a local flag: kept as reported
        ("0", None, 0.0, None, False),
    ],
)
def test_numbers_and_qualifiers(text: str, flag: str | None, value: float, qualifier: str | None, is_limit: bool) -> None:
    found = read(text, flag, sheet())
    assert (found.value, found.qualifier, found.is_limit) == (value, qualifier, is_limit)


@pytest.mark.parametrize(
    ("text", "flag", "reason"),
    [
        ("21.1e9994", None, "text in number"),
        ("< 1e999", None, "text in number"),
        ("500 R", None, "qualifier rejects result"),
        ("<500", "r", "qualifier rejects result"),
        ("ND", None, "text in number"),
        ("U", None, "text in number"),
        ("press down", None, "text in number"),
        ("500x", None, "text in number"),
        ("XY 500", None, "text in number"),
        ("1,500", None, "text in number"),  # no thousands separator is declared
        ("inf", None, "text in number"),
        ("5 6", None, "text in number"),
        ("", None, "text in number"),
        ("-5", None, "value outside physical range"),
    ],
)
def test_cells_that_are_no_result(text: str, flag: str | None, reason: str) -> None:
    with pytest.raises(RowError) as caught:
        read(text, flag, sheet())
    assert caught.value.reason == reason


def test_separators_as_declared() -> None:
    assert read("24.300,5", None, sheet(decimal=",", thousands=".")).value == 24300.5
    assert read("24,300.5", None, sheet(thousands=",")).value == 24300.5
    assert read("24,3", None, sheet(decimal=",")).value == 24.3
    with pytest.raises(RowError):
        read("24.300", None, sheet(decimal=","))  # neither 24.3 nor 24300


@pytest.mark.parametrize(
    ("value", "analyte", "point", "unit", "stored"),
    [
        (2.4, "ts", "feed", "%", 2.4),
        (24000, "ts", "feed", "mg/L", 2.4),  # 24,000 mg/L = 2.4 % at SG 1
        (24, "ts", "feed", "g/L", 2.4),
        (24, "ts", "feed", " G/KG", 2.4),
        (24000, "ts", "feed", None, 2.4),
        (2.4, "ts", "feed", None, 2.4),
        (15, "ts", "feed", "%", 15.0),
        (0.05, "ts", "feed", "%", 0.05),
        (60, "ts", "cake", "%", 60.0),
        (78, "moisture", "cake", "%", 22.0),
        (97.6, "moisture", "feed", "percent", 2.4),
        (30, "vs", "feed", "% of TS", 30.0),
        (64, "vs", "feed", None, 64.0),
        (850, "tss", "filtrate", None, 850.0),
        (0.85, "tss", "filtrate", "g/L", 850.0),
        (0.085, "tss", "filtrate", "%", 850.0),
        (0.4, "strength", "polymer solution", "%", 0.4),
        (4, "strength", "polymer solution", "g/L", 0.4),
    ],
)
def test_units(value: float, analyte: str, point: str, unit: str | None, stored: float) -> None:
    name, number, note = to_stored(value, analyte, point, unit)
    assert name == ("ts" if analyte == "moisture" else analyte)
    assert number == pytest.approx(stored, rel=1e-12)
    inferred = unit is None and (analyte == "tss" or value > 100)
    assert note == ("unit inferred: mg/L" if inferred else None)


@pytest.mark.parametrize(
    ("value", "analyte", "point", "unit"),
    [
        (15.1, "ts", "feed", "%"),
        (24000, "ts", "feed", "%"),
        (2.4, "ts", "feed", "mg/L"),  # per cent called mg/L
        (100.1, "ts", "feed", None),  # taken for mg/L, and then too thin for a feed
        (99.9, "ts", "feed", None),
        (60.1, "ts", "cake", "%"),  # moisture for solids
        (101, "moisture", "cake", "%"),
        (101, "ts", "filtrate", "%"),
        (29.9, "vs", "feed", "% of TS"),
        (100.1, "vs", "feed", None),
        (64, "ts", "feed", "% of TS"),
        (5.1, "strength", "polymer solution", "%"),
        (1.1e6, "tss", "filtrate", "mg/L"),
        (2.4, "ts", "feed", "furlong"),
        (850, "tss", "filtrate", "% of TS"),
    ],
)
def test_units_that_make_a_value_implausible(value: float, analyte: str, point: str, unit: str | None) -> None:
    with pytest.raises(RowError) as caught:
        to_stored(value, analyte, point, unit)
    assert caught.value.reason == "unit implausible"


LOCAL = {"below": "ND", "n. best.": "ND", "void": "R"}


@pytest.mark.parametrize(
    ("text", "flag", "limit", "value", "qualifier", "is_limit", "is_estimated"),
    [
        ("below", None, "50", 50.0, "ND", True, False),
        ("n. best. 50", None, None, 50.0, "ND", True, False),
        ("n.d.", None, "<50", 50.0, "ND", True, False),
        ("", "U", "50", 50.0, "U", True, False),
        ("80", "U", "50", 50.0, "U", True, False),  # the limit's column says what the limit is
        ("<80", None, "50", 80.0, "<", True, False),  # unless the cell does
        ("80", None, "50", 80.0, None, False, False),
        ("30", None, "50", 30.0, None, False, False),  # a number below its limit without a qualifier is a number
        ("30", "J", "50", 30.0, "J", False, True),
        ("<5 J", None, None, 5.0, "<,J", True, True),
        ("5 UJ", None, None, 5.0, "UJ", True, True),
        ("~ 5", None, None, 5.0, "~", False, True),
        ("\u2264 5", None, None, 5.0, "<", True, False),
        ("5", "U, H", None, 5.0, "U,H", True, False),
        ("5", "U Q", None, 5.0, "U,Q", True, False),  # Q is a local letter
        ("5", "J;B", None, 5.0, "J,B", False, True),
        ("5", "below", None, 5.0, "ND", True, False),
        ("5", "see book R", None, 5.0, "SEE BOOK R", False, False),
    ],
)
def test_words_limits_and_combinations(
    text: str, flag: str | None, limit: str | None, value: float, qualifier: str | None, is_limit: bool, is_estimated: bool
) -> None:
    assert read(text, flag, sheet(), limit, LOCAL) == Number(value, qualifier, is_limit, is_estimated)


@pytest.mark.parametrize(
    ("text", "flag", "limit", "reason"),
    [
        ("void", None, None, "qualifier rejects result"),
        ("void 12", None, None, "qualifier rejects result"),
        ("12", "J R", None, "qualifier rejects result"),
        ("", "ND", None, "text in number"),
        ("ND", None, "low", "text in number"),
        ("press down", "U", "50", "text in number"),  # a remark is no result, whatever stands beside it
        ("<", None, None, "text in number"),
        ("belowground", None, "50", "text in number"),
        ("ND", None, "-5", "value outside physical range"),
    ],
)
def test_words_that_leave_no_result(text: str, flag: str | None, limit: str | None, reason: str) -> None:
    with pytest.raises(RowError) as caught:
        read(text, flag, sheet(), limit, LOCAL)
    assert caught.value.reason == reason


@given(
    st.text("0123456789.,<>~ NnDdUuJjRrEe-+n.d", max_size=12),
    st.none() | st.text("UJRND<; ", max_size=5),
    st.none() | st.text("0123<.-", max_size=4),
)
def test_any_cell_is_a_finite_number_or_refused_with_a_reason(text: str, flag: str | None, limit: str | None) -> None:
    found: Number | RowError
    try:
        found = read(text, flag, sheet(), limit)
    except RowError as error:
        found = error
    if isinstance(found, RowError):
        assert found.reason in REASONS
    else:
        assert found.value >= 0.0
        assert not found.is_limit or found.qualifier


@pytest.mark.parametrize(
    ("value", "analyte", "point", "unit", "stored"),
    [
        (100, "wet_mass", "cake haul", "t", 100.0),
        (0.05, "wet_mass", "cake haul", "t", 0.05),
        (1.5, "wet_mass", "cake haul", "long_ton", 1.5240703632),  # 2,240 lb of 0.45359237 kg
        (1, "delivered_mass", "polymer store", "kg", 1.0),
        (50, "delivered_mass", "polymer store", "t", 50_000.0),
        (0, "stock_mass", "polymer store", "gal", 0.0),
        (1, "cst", "feed", None, 1.0),
        (10_000, "cst", "feed", "sec", 10_000.0),
        (1.6, "vs", "feed", "% of wet", 1.6),
        (16, "vs", "feed", "g/kg", 1.6),
        (60, "tss", "filtrate", "g/kg", 60_000.0),
    ],
)
def test_units_of_amounts_and_times(value: float, analyte: str, point: str, unit: str | None, stored: float) -> None:
    assert to_stored(value, analyte, point, unit, density_kg_m3=1000.0)[1] == pytest.approx(stored, rel=1e-9)


@pytest.mark.parametrize(
    ("value", "analyte", "point", "unit", "reason"),
    [
        (100.1, "wet_mass", "cake haul", "t", "unit implausible"),
        (0.04, "wet_mass", "cake haul", "t", "unit implausible"),
        (18, "wet_mass", "cake haul", "m3", "unit implausible"),
        (18, "wet_mass", "cake haul", "%", "unit implausible"),
        (0, "delivered_mass", "polymer store", "kg", "unit implausible"),
        (50_001, "delivered_mass", "polymer store", "kg", "unit implausible"),
        (500_001, "stock_mass", "polymer store", "kg", "unit implausible"),
        (18, "stock_mass", "polymer store", "tins", "unit implausible"),
        (18, "stock_mass", "polymer store", None, "unit missing"),
        (0.9, "cst", "feed", "s", "unit implausible"),
        (10_001, "cst", "feed", "s", "unit implausible"),
        (22, "moisture", "cake", "%", "unit implausible"),  # solids for moisture: 78 % TS
    ],
)
def test_amounts_and_times_that_cannot_be(value: float, analyte: str, point: str, unit: str | None, reason: str) -> None:
    with pytest.raises(RowError) as caught:
        to_stored(value, analyte, point, unit, density_kg_m3=1000.0)
    assert caught.value.reason == reason


def test_cake_solids_like_moisture_are_said_to_be() -> None:
    with pytest.raises(RowError) as caught:
        to_stored(78, "ts", "cake", "%")
    assert caught.value.detail == "cake ts of 78 % is not within 0 to 60; moisture?"
