"""Unit words of exports and plant files, and their factors to the internal SI unit.

The table is small and exact on purpose (the exports name few units, start-up must stay quick);
`tests/unit/test_units.py` compares every factor with pint.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

# Exact by definition: inch, avoirdupois pound, US gallon (231 in3), standard gravity.
_FT_M = 0.3048
_LB_KG = 0.45359237
_US_GAL_M3 = 0.003785411784
_PSI_KPA = _LB_KG * 9.80665 / 0.0254**2 / 1000.0
_HP_KW = 550.0 * _FT_M * _LB_KG * 9.80665 / 1000.0  # mechanical horsepower, 550 ft lbf/s
_WATER_KPA_M = 9.80665  # kPa per metre of water at 1000 kg/m3


@dataclass(frozen=True)
class Unit:
    """One unit word: SI value = raw * factor + offset, in `si` of `dimension`."""

    name: str
    dimension: str
    si: str
    factor: float
    offset: float = 0.0


def _table(*rows: tuple[str, str, str, float] | tuple[str, str, str, float, float]) -> dict[str, Unit]:
    return {row[0]: Unit(*row) for row in rows}


UNITS: dict[str, Unit] = _table(
    ("m3/h", "flow", "m3/h", 1.0),
    ("m3/d", "flow", "m3/h", 1.0 / 24.0),
    ("L/h", "flow", "m3/h", 0.001),
    ("L/min", "flow", "m3/h", 0.06),
    ("L/s", "flow", "m3/h", 3.6),
    ("gpm", "flow", "m3/h", _US_GAL_M3 * 60.0),
    ("gph", "flow", "m3/h", _US_GAL_M3),
    ("gpd", "flow", "m3/h", _US_GAL_M3 / 24.0),
    ("MGD", "flow", "m3/h", _US_GAL_M3 * 1e6 / 24.0),
    ("m3", "volume", "m3", 1.0),
    ("L", "volume", "m3", 0.001),
    ("gal", "volume", "m3", _US_GAL_M3),
    ("kgal", "volume", "m3", _US_GAL_M3 * 1000.0),
    ("kPa", "pressure", "kPa", 1.0),
    ("bar", "pressure", "kPa", 100.0),
    ("mbar", "pressure", "kPa", 0.1),
    ("psi", "pressure", "kPa", _PSI_KPA),
    ("ftH2O", "pressure", "kPa", _FT_M * _WATER_KPA_M),
    ("mH2O", "pressure", "kPa", _WATER_KPA_M),
    ("m", "length", "m", 1.0),
    ("mm", "length", "m", 0.001),
    ("ft", "length", "m", _FT_M),
    ("in", "length", "m", 0.0254),
    ("kW", "power", "kW", 1.0),
    ("W", "power", "kW", 0.001),
    ("hp", "power", "kW", _HP_KW),
    ("kWh", "energy", "kWh", 1.0),
    ("MWh", "energy", "kWh", 1000.0),
    ("rpm", "speed", "rpm", 1.0),
    ("Hz", "frequency", "Hz", 1.0),
    ("A", "current", "A", 1.0),
    ("mA", "signal", "mA", 1.0),
    ("counts", "signal", "counts", 1.0),
    ("%", "fraction", "%", 1.0),
    ("fraction", "fraction", "%", 100.0),
    ("g/kg", "fraction", "%", 0.1),
    ("mg/L", "concentration", "mg/L", 1.0),
    ("g/L", "concentration", "mg/L", 1000.0),
    ("ppm", "concentration", "mg/L", 1.0),
    ("kg", "mass", "kg", 1.0),
    ("t", "mass", "kg", 1000.0),
    ("lb", "mass", "kg", _LB_KG),
    ("short_ton", "mass", "kg", _LB_KG * 2000.0),
    ("long_ton", "mass", "kg", _LB_KG * 2240.0),
    ("m/min", "velocity", "m/min", 1.0),
    ("ft/min", "velocity", "m/min", _FT_M),
    ("mm/s", "vibration", "mm/s", 1.0),
    ("in/s", "vibration", "mm/s", 25.4),
    ("mm/h", "rain", "mm/h", 1.0),
    ("in/h", "rain", "mm/h", 25.4),
    ("C", "temperature", "C", 1.0),
    ("F", "temperature", "C", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
    ("kg/t", "dose", "kg/t", 1.0),
    ("lb/dt", "dose", "kg/t", 0.5),  # pound per short dry ton: exactly half
    ("kg/L", "density", "kg/m3", 1000.0),
    ("kg/m3", "density", "kg/m3", 1.0),
    ("lb/gal", "density", "kg/m3", _LB_KG / _US_GAL_M3),
    ("h", "time", "h", 1.0),
    ("min", "time", "h", 1.0 / 60.0),
    ("s", "time", "h", 1.0 / 3600.0),
    ("d", "time", "h", 24.0),
    ("state", "state", "state", 1.0),
)

# Spellings met in the unit row of exports, lower case without blanks and dots.
ALIASES = {
    "gal/min": "gpm", "usgpm": "gpm", "gal/h": "gph", "gal/hr": "gph", "m³/h": "m3/h", "m^3/h": "m3/h", "cmh": "m3/h",
    "m3/t": "m3/h", "m3/hr": "m3/h", "l/t": "L/h", "lph": "L/h", "lpm": "L/min", "lps": "L/s", "mgd": "MGD",
    "psig": "psi", "barg": "bar", "kpag": "kPa", "percent": "%", "pct": "%", "prosent": "%", "hz": "Hz",
    "r/min": "rpm", "1/min": "rpm", "o/min": "rpm", "kw": "kW", "kwh": "kWh", "mwh": "MWh", "gallons": "gal",
    "lbs": "lb", "tonne": "t", "tonnes": "t", "ton": "short_ton", "degc": "C", "°c": "C", "degf": "F", "°f": "F",
    "mg/l": "mg/L", "g/l": "g/L", "amps": "A", "a": "A", "ma": "mA", "onoff": "state", "on/off": "state",
    "kpa": "kPa", "m3/hour": "m3/h", "feet": "ft",
    "usgal/min": "gpm", "usgal/h": "gph", "usgal/hr": "gph", "usgal/d": "gpd", "usgal/day": "gpd", "usgal": "gal", "usgph": "gph", "usgpd": "gpd",
    "gal/minute": "gpm", "gallons/min": "gpm", "gallons/minute": "gpm", "gal/hour": "gph", "gallons/hour": "gph", "gal/d": "gpd", "gal/day": "gpd",
    "gallon": "gal", "mgal/d": "MGD", "mgal/day": "MGD", "m³/hr": "m3/h", "m³/d": "m3/d", "m^3/d": "m3/d", "m3/day": "m3/d", "m³": "m3", "m^3": "m3",
    "cbm": "m3", "l/hr": "L/h", "l/sec": "L/s", "liter": "L", "litre": "L", "lbf/in2": "psi", "lb/in2": "psi", "lb/in²": "psi", "psi(g)": "psi",
    "inch": "in", "rev/min": "rpm", "amp": "A", "milliamp": "mA", "cnt": "counts", "cnts": "counts", "raw": "counts", "horsepower": "hp",
}  # fmt: skip
_BY_FOLDED = {name.lower(): name for name in UNITS} | ALIASES
# A register that counts in tens or thousands says so beside its unit: "x1000 gal", "gal x 100", "1000 m3".
_MULTIPLIER, _OF = r"(?P<times>10{1,6})", r"(?P<unit>[a-z³^/0-9]*[a-z³][a-z³^/0-9]*)"
_MULTIPLIED = (re.compile(rf"[x×*]?{_MULTIPLIER}[x×*]?{_OF}"), re.compile(rf"{_OF}[x×*]{_MULTIPLIER}"))
_QUANTITY = re.compile(r"\s*([-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?)\s*([^\s\d.].*?)\s*$")


def unit(word: str) -> Unit:
    """Return the unit a word of an export or plant file means; KeyError with the word if unknown."""
    folded = re.sub(r"[\s.]", "", word).lower()
    if word in UNITS:
        return UNITS[word]
    return UNITS[_BY_FOLDED[folded]] if folded in _BY_FOLDED else _multiplied(word, folded.replace(",", ""))


def _multiplied(word: str, folded: str) -> Unit:
    """Return the unit of a register with a multiplier (powers of ten to a million); KeyError if it is none."""
    for pattern in _MULTIPLIED:
        found = pattern.fullmatch(folded)
        if found and found["unit"] in _BY_FOLDED:
            base = UNITS[_BY_FOLDED[found["unit"]]]
            if base.dimension in ("volume", "energy", "mass"):
                return _named(base, int(found["times"]))
    raise KeyError(word)


def _named(base: Unit, times: int) -> Unit:
    """Return a multiple of a unit, under the name it already has (kgal, MWh) if it has one."""
    factor = base.factor * times
    same = [u for u in UNITS.values() if u.dimension == base.dimension and math.isclose(u.factor, factor, rel_tol=1e-12)]
    return same[0] if same else Unit(f"x{times} {base.name}", base.dimension, base.si, factor)


def to_si(value: float, word: str) -> float:
    """Return `value` given in the unit `word` as the internal SI value of its dimension."""
    u = unit(word)
    return value * u.factor + u.offset


def from_si(value: float, word: str) -> float:
    """Return an internal SI value in the unit `word`."""
    u = unit(word)
    return (value - u.offset) / u.factor


def parse_quantity(text: str, dimension: str) -> float:
    """Return "400 gpm" as SI; ValueError when there is no unit or it is of another dimension."""
    match = _QUANTITY.match(text)
    if not match:
        raise ValueError(f"not a number with a unit: {text!r}")
    try:
        u = unit(match[2])
    except KeyError:
        raise ValueError(f"unknown unit {match[2]!r}") from None
    if u.dimension != dimension:
        raise ValueError(f"{u.name} is a unit of {u.dimension}, here a {dimension} is needed")
    return float(match[1]) * u.factor + u.offset
