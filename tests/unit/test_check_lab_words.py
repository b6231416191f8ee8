"""Cells of lab sheets: numbers, qualifiers, units, and what a result can plausibly be (limits: common practice, no source)."""

from __future__ import annotations

from typing import Any

import pytest

from pipelines.check.lab_units import to_stored
from pipelines.check.lab_words import RowError, read
from pipelines.plantfile import Layout


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
