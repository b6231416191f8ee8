"""Every factor of the unit table against pint, and what a quantity in a plant file may look like."""

from __future__ import annotations

import math
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.base import units

# Our word -> pint's expression. Signals without a dimension, and the dose (pound per short dry ton), have theirs below.
PINT = {
    "m3/h": "m**3/hour", "m3/d": "m**3/day", "L/h": "liter/hour", "L/min": "liter/minute", "L/s": "liter/second", "gpm": "gallon/minute",
    "gph": "gallon/hour", "gpd": "gallon/day", "MGD": "megagallon/day", "m3": "m**3", "L": "liter", "gal": "gallon", "kgal": "kilogallon",
    "kPa": "kilopascal", "bar": "bar", "mbar": "millibar", "psi": "psi", "ftH2O": "foot*g_0*1000*kg/m**3", "mH2O": "m*g_0*1000*kg/m**3",
    "m": "m", "mm": "mm", "ft": "foot", "in": "inch", "kW": "kilowatt", "W": "watt", "hp": "horsepower", "kWh": "kilowatt_hour", "MWh": "megawatt_hour",
    "rpm": "revolutions_per_minute", "Hz": "hertz", "A": "ampere", "mA": "milliampere", "%": "percent", "fraction": "dimensionless", "g/kg": "gram/kilogram",
    "mg/L": "milligram/liter", "g/L": "gram/liter", "kg": "kilogram", "t": "metric_ton", "lb": "pound", "short_ton": "short_ton", "long_ton": "long_ton",
    "m/min": "meter/minute", "ft/min": "foot/minute", "mm/s": "millimeter/second", "in/s": "inch/second", "mm/h": "millimeter/hour", "in/h": "inch/hour",
    "C": "degC", "F": "degF", "kg/t": "kilogram/metric_ton", "lb/dt": "pound/short_ton", "kg/L": "kilogram/liter", "kg/m3": "kilogram/m**3",
    "lb/gal": "pound/gallon", "h": "hour", "min": "minute", "s": "second", "d": "day",
}  # fmt: skip
# Words without a counterpart in pint, and why their factor is 1.
NO_COUNTERPART = {
    "counts": "raw counts of a converter have no dimension",
    "state": "on and off have no dimension",
    "ppm": "taken as mg/L of a liquid as heavy as water; pint's ppm is a ratio of masses",
}


@pytest.fixture(scope="module")
def registry() -> Any:
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def test_every_word_has_a_counterpart_or_a_reason() -> None:
    assert set(PINT) | set(NO_COUNTERPART) == set(units.UNITS)
    assert not set(PINT) & set(NO_COUNTERPART)


@pytest.mark.parametrize("word", sorted(PINT))
def test_factor_is_pints(registry: Any, word: str) -> None:
    ours = units.UNITS[word]
    for value in (0.0, 1.0, 37.5):
        theirs = registry.Quantity(value, registry(PINT[word]).units) if word in ("C", "F") else value * registry(PINT[word])
        target = "dimensionless" if ours.si == "%" else PINT[ours.si]
        expected = theirs.to(target).magnitude * (100.0 if ours.si == "%" else 1.0)
        # Fahrenheit goes over kelvin in pint, which costs digits near 0 C.
        absolute = 1e-10 if word in ("C", "F") else 0.0
        assert units.to_si(value, word) == pytest.approx(expected, rel=1e-12, abs=absolute)


@pytest.mark.parametrize("word", sorted(NO_COUNTERPART))
def test_word_without_counterpart_leaves_the_number(word: str) -> None:
    assert units.to_si(12.5, word) == 12.5


def test_one_si_unit_a_dimension() -> None:
    for dimension in {u.dimension for u in units.UNITS.values()} - {"signal"}:  # mA and counts are both raw until scaled
        assert len({u.si for u in units.UNITS.values() if u.dimension == dimension}) == 1, dimension
    for u in units.UNITS.values():
        assert units.UNITS[u.si].factor == 1.0, u.name


@given(st.sampled_from(sorted(units.UNITS)), st.floats(-1e6, 1e6))
def test_there_and_back(word: str, value: float) -> None:
    assert math.isclose(units.from_si(units.to_si(value, word), word), value, rel_tol=1e-12, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("spelling", "word"),
    [
        ("PSIG", "psi"),
        ("US GPM", "gpm"),
        ("gal/min", "gpm"),
        ("m³/h", "m3/h"),
        ("m3/t", "m3/h"),
        ("deg F", "F"),
        ("°C", "C"),
        ("Kw", "kW"),
        ("pct", "%"),
        ("Ton", "short_ton"),
        ("US gal/min", "gpm"),
        ("USgpm", "gpm"),
        ("gallons / minute", "gpm"),
        ("GAL/HR", "gph"),
        ("m³", "m3"),
        ("lbf/in2", "psi"),
        ("x1000 gal", "kgal"),
        ("gal x 1,000", "kgal"),
        ("1000 kWh", "MWh"),
        ("x100 gal", "x100 gal"),
        ("m3 x 10", "x10 m3"),
    ],
)
def test_spellings_met_in_exports(spelling: str, word: str) -> None:
    assert units.unit(spelling).name == word


@pytest.mark.parametrize(
    "spelling", ["furlong", "", "gal per fortnight", "psi/min", "x1000 gpm", "x1 gal", "x10000000 gal", "x100", "x20 m3"]
)
def test_unknown_word_is_refused(spelling: str) -> None:
    with pytest.raises(KeyError):
        units.unit(spelling)


def test_a_multiplier_counts_so_many() -> None:
    assert units.to_si(12.0, "x100 gal") == pytest.approx(1200 * 231 * 0.0254**3, rel=1e-12)  # a US gallon is 231 cubic inches
    assert units.to_si(1.0, "x1000 gal") == units.to_si(1.0, "kgal")
    assert units.from_si(units.to_si(7.0, "x10 m3"), "x10 m3") == 7.0


def test_case_matters_only_where_two_units_differ_by_it() -> None:
    assert units.unit("mA").dimension == "signal"
    assert units.unit("A").dimension == "current"
    assert units.unit("L/H").name == "L/h"


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [("400 gpm", "flow", 90.849882816), ("400gpm", "flow", 90.849882816), (" -2.5 psi ", "pressure", -17.23689323), ("1e3 L/h", "flow", 1.0), (".5 gph", "flow", 0.001892705892), ("68 F", "temperature", 20.0), ("+36 h", "time", 36.0)],
)  # fmt: skip
def test_quantity_is_read(text: str, dimension: str, si: float) -> None:
    assert units.parse_quantity(text, dimension) == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("400", "flow", "not a number with a unit"),
        ("gpm", "flow", "not a number with a unit"),
        ("", "flow", "not a number with a unit"),
        ("4,00 gpm", "flow", "unknown unit"),
        ("400 furlongs", "flow", "unknown unit 'furlongs'"),
        ("400 psi", "flow", "psi is a unit of pressure, here a flow is needed"),
        ("two gpm", "flow", "not a number with a unit"),
    ],
)
def test_quantity_is_refused_with_the_reason(text: str, dimension: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        units.parse_quantity(text, dimension)
