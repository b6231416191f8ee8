"""The words of lab sheets: numbers with qualifiers, units, and what a result can plausibly be."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipelines import units
from pipelines.plantfile import Layout
from schemas.vocabulary import ANALYTES

HIGHEST_FEED_TS_PCT = 15.0  # a feed sludge thicker than this is a slip of unit (common practice, no source)
LOWEST_FEED_TS_PCT = 0.05  # and so is one thinner than this: 500 mg/L (common practice, no source)
MOISTURE_LIKE_PCT = 60.0  # "cake solids" above this are probably moisture (common practice, no source)
VS_PCT = (30.0, 100.0)  # volatile solids as % of TS outside this are a slip (common practice, no source)
HIGHEST_STRENGTH_PCT = 5.0  # polymer solutions are made down far below this (common practice, no source)
HIGHEST_TSS_MG_L = 1e6  # a litre of water weighs no more
MG_L_ABOVE = 100.0  # a feed TS without unit above this is mg/L (common practice, no source)
# Qualifiers as agencies use them (R rejected, U not detected, J estimated); "~" is about.
REJECTS = frozenset({"R", "UR"})
NON_DETECTS = frozenset({"<", "U", "ND", "UJ"})
_IN_CELL = frozenset({"J", "B", "H"}) | REJECTS | NON_DETECTS  # letters that may follow a number in its cell
_RESULT = re.compile(r"\s*(ND|[<>~]=?|[A-Z]{1,2}(?=\s*\d))?\s*([-+]?\d*\.?\d+(?:E[-+]?\d+)?)\s*([A-Z]{1,2})?\s*\Z")
# to % by mass at SG 1, and to mg/L
_TO_PCT = {"%": 1.0, "g/kg": 0.1, "g/l": 0.1, "mg/l": 1e-4, "mg/kg": 1e-4, "ppm": 1e-4, "% of ts": 1.0, "fraction": 100.0}
_TO_MG_L = {"mg/l": 1.0, "g/l": 1000.0, "g/m3": 1.0, "kg/m3": 1000.0, "ppm": 1.0, "mg/kg": 1.0, "%": 1e4}
_SAME_UNIT = {
    "percent": "%", "pct": "%", "wt%": "%", "wt %": "%", "% w/w": "%", "%w/w": "%", "% ts": "% of ts", "%ts": "% of ts", "% of total solids": "% of ts",
    "% tr": "% of ts", "mg/litre": "mg/l", "g/litre": "g/l",
}  # fmt: skip
STORED_UNIT = ANALYTES
_MASSES = {"wet_mass": 1e-3, "delivered_mass": 1.0, "stock_mass": 1.0}  # analyte -> its stored unit per kg


class RowError(Exception):
    """A lab row that cannot be used: reason from the closed list, and what exactly was wrong."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(reason)
        self.reason, self.detail = reason, detail


@dataclass(frozen=True)
class Number:
    """A result as written: number, qualifier as reported (null for none), whether the number is a detection limit."""

    value: float
    qualifier: str | None
    is_limit: bool


def folded(text: str | None) -> str:
    """Return text in lower case with single blanks, trimmed."""
    return " ".join((text or "").split()).lower()


def read(text: str, qualifier_text: str | None, layout: Layout) -> Number:
    """Read a result cell; the qualifier may stand before or after the number, or in its own column.

    RowError "text in number" for anything else, "qualifier rejects result" for R, "value outside physical range" below zero.
    """
    flag = (qualifier_text or "").strip().upper()
    match = _RESULT.match(_plain(text, layout).upper())
    if match is None:
        hint = ": a non-detect needs its limit" if text.strip().upper() in NON_DETECTS or flag in NON_DETECTS else ""
        raise RowError("text in number", repr(text) + hint)
    sign, number, letters = match.groups()
    if (letters and letters not in _IN_CELL) or (sign and sign.isalpha() and sign not in _IN_CELL):
        raise RowError("text in number", repr(text))
    told = [w for w in ((sign or "").removesuffix("="), letters or "", flag) if w]
    if REJECTS & set(told):
        raise RowError("qualifier rejects result", " ".join([text, flag]).strip())
    if float(number) < 0.0:
        raise RowError("value outside physical range", repr(text))
    return Number(float(number), told[0] if told else None, bool(NON_DETECTS & set(told)))


def _plain(text: str, layout: Layout) -> str:
    """Return a number as Python reads it; a sign the layout does not declare stays and makes the cell unreadable."""
    if layout.thousands:
        text = text.replace(layout.thousands, "")
    if layout.decimal == ",":
        return text.replace(".", "?").replace(",", ".")
    return text


def to_stored(value: float, analyte: str, point: str, unit_text: str | None) -> tuple[str, float, str | None]:
    """Return (analyte, value in its stored unit, note on an inferred unit); moisture becomes total solids.

    RowError "unit implausible" for a unit that cannot be the analyte's, or a value its unit makes implausible.
    """
    if analyte in _MASSES:
        return analyte, _mass_kg(value, analyte, unit_text) * _MASSES[analyte], None
    unit, note = _SAME_UNIT.get(folded(unit_text), folded(unit_text)), None
    if not unit:
        unit, note = _inferred(value, analyte, point)
    table = _TO_MG_L if analyte == "tss" else _TO_PCT
    if unit not in table or (unit == "% of ts" and analyte != "vs"):
        raise RowError("unit implausible", f"{analyte} in {unit!r}")
    number = value * table[unit]
    if analyte == "moisture":
        _within(100.0 - number, "ts", point, 0.0, 100.0)
        return "ts", 100.0 - number, note
    _within(number, analyte, point, *_plausible(analyte, point))
    return analyte, number, note


def _mass_kg(value: float, analyte: str, unit_text: str | None) -> float:
    try:
        u = units.unit(unit_text or "")
    except KeyError:
        raise RowError("unit missing" if not unit_text else "unit implausible", f"{analyte} in {unit_text!r}") from None
    if u.dimension != "mass":
        raise RowError("unit implausible", f"{analyte} in {unit_text!r}")
    return value * u.factor


def _inferred(value: float, analyte: str, point: str) -> tuple[str, str | None]:
    if analyte == "tss" or (analyte == "ts" and point == "feed" and value > MG_L_ABOVE):
        return "mg/l", "unit inferred: mg/L"
    return ("% of ts", None) if analyte == "vs" else ("%", None)


def _plausible(analyte: str, point: str) -> tuple[float, float]:
    if analyte == "ts":
        return {"feed": (LOWEST_FEED_TS_PCT, HIGHEST_FEED_TS_PCT), "cake": (0.0, MOISTURE_LIKE_PCT)}.get(point, (0.0, 100.0))
    return {"vs": VS_PCT, "tss": (0.0, HIGHEST_TSS_MG_L), "strength": (0.0, HIGHEST_STRENGTH_PCT)}[analyte]


def _within(number: float, analyte: str, point: str, low: float, high: float) -> None:
    if not low <= number <= high:
        raise RowError("unit implausible", f"{point} {analyte} of {number:g} {STORED_UNIT[analyte]} is not within {low:g} to {high:g}")
