"""Units of lab results: to the stored unit of the analyte, and what a result can plausibly be."""

from __future__ import annotations

from pipelines.base import units
from pipelines.check.lab.qualifiers import RowError, folded
from schemas.vocabulary import ANALYTES

STORED_UNIT = ANALYTES

HIGHEST_FEED_TS_PCT = 15.0  # a feed sludge thicker than this is a slip of unit (common practice, no source)
LOWEST_FEED_TS_PCT = 0.05  # and so is one thinner than this: 500 mg/L (common practice, no source)
MOISTURE_LIKE_PCT = 60.0  # "cake solids" above this are probably moisture (common practice, no source)
VS_PCT = (30.0, 100.0)  # volatile solids as % of TS outside this are a slip (common practice, no source)
HIGHEST_STRENGTH_PCT = 5.0  # polymer solutions are made down far below this (common practice, no source)
HIGHEST_TSS_MG_L = 1e6  # a litre of water weighs no more
MG_L_ABOVE = 100.0  # a feed TS without unit above this is mg/L (common practice, no source)
CST_S = (1.0, 10_000.0)  # clean water takes some 5 s, the worst sludges thousands (from memory)
# Net loads and amounts: more than a lorry or a tank farm holds, or nothing at all, is a slip (common practice, no source).
WET_MASS_T = (0.05, 100.0)
DELIVERED_KG = (1.0, 50_000.0)
STOCK_KG = (0.0, 500_000.0)  # a store may be empty
MASSES = {"wet_mass": WET_MASS_T, "delivered_mass": DELIVERED_KG, "stock_mass": STOCK_KG}
VS_OF_WET = "vs of wet"  # until the TS of the sample turns it into % of TS
# to % by mass at SG 1, and to mg/L
_TO_PCT = {"%": 1.0, "g/kg": 0.1, "g/l": 0.1, "mg/l": 1e-4, "mg/kg": 1e-4, "ppm": 1e-4, "fraction": 100.0}
_TO_VS = {"% of ts": 1.0, "%": 1.0, "fraction": 100.0}
_TO_VS_OF_WET = {"% of wet": 1.0} | {w: f for w, f in _TO_PCT.items() if w not in _TO_VS}
_TO_MG_L = {"mg/l": 1.0, "g/l": 1000.0, "g/m3": 1.0, "kg/m3": 1000.0, "ppm": 1.0, "mg/kg": 1.0, "g/kg": 1000.0, "%": 1e4}
_TO_S = {"s": 1.0, "sec": 1.0, "seconds": 1.0, "min": 60.0}
_SAME_UNIT = {
    "percent": "%", "pct": "%", "wt%": "%", "wt %": "%", "% w/w": "%", "%w/w": "%", "% ts": "% of ts", "%ts": "% of ts", "% of total solids": "% of ts",
    "% tr": "% of ts", "mg/litre": "mg/l", "g/litre": "g/l", "% wet": "% of wet", "% of wet mass": "% of wet", "% wet weight": "% of wet",
    "% of wet weight": "% of wet", "% ww": "% of wet", "short ton": "short_ton", "short tons": "short_ton", "us ton": "short_ton", "us tons": "short_ton",
    "metric ton": "t", "metric tons": "t", "tonne": "t", "tonnes": "t", "kgs": "kg", "pounds": "lb", "gallons": "gal", "gals": "gal", "us gal": "gal",
    "litre": "l", "litres": "l", "liter": "l", "liters": "l",
}  # fmt: skip
_TONS = ("ton", "tons")  # short where the plant counts in US units; elsewhere they may be metric or long


def to_stored(
    value: float, analyte: str, point: str, unit_text: str | None, *, density_kg_m3: float | None = None, is_us: bool = False
) -> tuple[str, float, str | None]:
    """Return (analyte, value in its stored unit, note on an inferred unit); moisture becomes total solids.

    VS of wet sludge comes back as "vs of wet" in % of wet mass. `density_kg_m3` is the product's, for volumes. RowError
    "unit implausible" for a unit that cannot be the analyte's, or a value its unit makes implausible; "unit missing" for a
    mass without unit.
    """
    unit, note = _SAME_UNIT.get(folded(unit_text), folded(unit_text)), None
    if analyte in MASSES:
        number = _mass(value, unit, analyte, density_kg_m3, is_us=is_us)
        _within(number, analyte, point, *MASSES[analyte])
        return analyte, number, None
    if not unit:
        unit, note = _inferred(value, analyte, point)
    if analyte == "vs" and unit in _TO_VS_OF_WET:
        _within(value * _TO_VS_OF_WET[unit], "ts", point, 0.0, 100.0)
        return VS_OF_WET, value * _TO_VS_OF_WET[unit], note
    table = {"tss": _TO_MG_L, "cst": _TO_S, "vs": _TO_VS}.get(analyte, _TO_PCT)
    if unit not in table:
        raise RowError("unit implausible", f"{analyte} in {unit!r}")
    number = value * table[unit]
    if analyte == "moisture":
        _within(100.0 - number, "ts", point, *_plausible("ts", point))
        return "ts", 100.0 - number, note
    _within(number, analyte, point, *_plausible(analyte, point))
    return analyte, number, note


def within_vs(pct_of_ts: float, point: str) -> None:
    """Refuse volatile solids [% of TS] that cannot be."""
    _within(pct_of_ts, "vs", point, *VS_PCT)


def _mass(value: float, unit: str, analyte: str, density_kg_m3: float | None, *, is_us: bool) -> float:
    """Return a mass in the stored unit of its analyte [t or kg]; volumes by the density of the product."""
    if not unit:
        raise RowError("unit missing", f"{analyte} {value:g}: name its unit in the sheet or the plant file")
    if unit in _TONS and not is_us:
        raise RowError("unit implausible", f"{analyte} in {unit!r}: short, metric or long? Write short_ton, t or long_ton")
    try:
        found = units.unit("short_ton" if unit in _TONS else unit)
    except KeyError:
        raise RowError("unit implausible", f"{analyte} in {unit!r}") from None
    kg = value * found.factor
    if found.dimension == "volume" and analyte != "wet_mass":
        if density_kg_m3 is None:
            raise RowError("unit implausible", f"{analyte} in {unit!r}: no [[polymers]] block with a density holds on this date")
        kg *= density_kg_m3
    elif found.dimension != "mass":
        raise RowError("unit implausible", f"{analyte} in {unit!r}")
    return kg / 1000.0 if STORED_UNIT[analyte] == "t" else kg


def _inferred(value: float, analyte: str, point: str) -> tuple[str, str | None]:
    if analyte == "tss" or (analyte == "ts" and point == "feed" and value > MG_L_ABOVE):
        return "mg/l", "unit inferred: mg/L"
    if analyte == "cst":
        return "s", None
    return ("% of ts", None) if analyte == "vs" else ("%", None)


def _plausible(analyte: str, point: str) -> tuple[float, float]:
    if analyte == "ts":
        return {"feed": (LOWEST_FEED_TS_PCT, HIGHEST_FEED_TS_PCT), "cake": (0.0, MOISTURE_LIKE_PCT)}.get(point, (0.0, 100.0))
    return {"vs": VS_PCT, "tss": (0.0, HIGHEST_TSS_MG_L), "strength": (0.0, HIGHEST_STRENGTH_PCT), "cst": CST_S}[analyte]


def _within(number: float, analyte: str, point: str, low: float, high: float) -> None:
    if not low <= number <= high:
        hint = "; moisture?" if (point, analyte) == ("cake", "ts") and number > high else ""
        raise RowError(
            "unit implausible", f"{point} {analyte} of {number:g} {STORED_UNIT[analyte]} is not within {low:g} to {high:g}{hint}"
        )
