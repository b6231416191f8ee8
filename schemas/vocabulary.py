"""Closed vocabularies: reasons, states, severities, qualities. Published words; nothing else is ever written."""

from __future__ import annotations

# Reasons a row or file is set aside, in order of precedence (the first that applies is the primary one).
REASONS: tuple[str, ...] = (
    "file not readable",
    "unknown layout",
    "unit row disagrees with plant file",
    "parse rate too low",
    "several values under one stamp",
    "row has too many fields",
    "row has too few fields",
    "partial last row",
    "time stamp unreadable",
    "local time does not exist",
    "ambiguous local time",
    "time in the future",
    "time before data_since",
    "unknown tag",
    "scaling not known for date",
    "unknown sample point",
    "unknown analyte",
    "unknown shift word",
    "unknown quality word",
    "unknown state word",
    "text in number",
    "transmitter failure level",
    "value outside physical range",
    "value outside transmitter range",
    "unit missing",
    "unit implausible",
    "qualifier rejects result",
    "duplicate disagreement",
    "inconsistent sample set",
)
RUNNING_STATES: tuple[str, ...] = ("stopped", "idle running", "start-up", "processing", "shutdown", "unknown")
SEVERITIES: tuple[str, ...] = ("note", "check this week", "check today")
QUALITY_WORDS: tuple[str, ...] = ("good", "uncertain", "bad")  # codes 0, 1, 2: OPC UA Part 8 severities
GOOD, UNCERTAIN, BAD = 0, 1, 2
DEVICES: tuple[str, ...] = (
    "belt press", "centrifuge", "screw press", "rotary press",
    "gravity belt thickener", "rotary drum thickener", "thickening centrifuge",
)  # fmt: skip
PUMP_KINDS: tuple[str, ...] = ("rotodynamic", "displacement")
SERVICE_KINDS: tuple[str, ...] = ("service", "overhaul", "new pump", "impeller", "rotor", "stator", "lobes", "wear plate")
LAB_POINTS: tuple[str, ...] = ("feed", "cake", "filtrate", "polymer solution", "cake haul", "polymer store")
ANALYTES: dict[str, str] = {  # analyte -> unit stored
    "ts": "%", "vs": "% of TS", "tss": "mg/L", "strength": "%", "cst": "s", "wet_mass": "t", "delivered_mass": "kg", "stock_mass": "kg",
}  # fmt: skip
# Analytes of one point only: scale tickets, deliveries and stock, capillary suction time. The point "cake haul" or "polymer store" has no others.
ANALYTES_OF_POINT: dict[str, str] = {
    "cst": "feed", "wet_mass": "cake haul", "delivered_mass": "polymer store", "stock_mass": "polymer store",
}  # fmt: skip
WINDOWS: tuple[str, ...] = ("1 h", "8 h", "24 h", "7 d", "28 d")
DISPOSITIONS: tuple[str, ...] = ("accept as is", "corrected to", "reject", "ask plant")
FLAG_DISPOSITIONS: tuple[str, ...] = ("confirmed", "data fault", "expected", "nuisance", "unknown")
COMPARISON_VERDICTS: tuple[str, ...] = ("shown", "not shown", "worse", "refused")
