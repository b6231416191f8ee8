"""What a flag says: severity, one sentence in the plant's units, what to look at first, and the evidence as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pipelines.base import units
from pipelines.watch.episodes import Facts

NOTE, THIS_WEEK, TODAY = "note", "check this week", "check today"
_DIGITS = 4  # significant digits of evidence
_SHOWN = 3  # significant digits in a sentence
# dimension -> unit a US plant reads; an SI plant reads the internal unit
_US = {"flow": "gpm", "small flow": "gph", "pressure": "psi", "volume": "gal", "power": "hp", "speed": "rpm", "fraction": "%"}
_SI = {"flow": "m3/h", "small flow": "L/h", "pressure": "kPa", "volume": "m3", "power": "kW", "speed": "rpm", "fraction": "%"}
SUGGESTIONS = {
    "flatline": "compare with the local display; then signal path and pressure tap",
    "out of range": "check wiring and transmitter with a loop test",
    "data gap": "look whether the export or the network stopped; ask for the missing hours",
    "dry run": "check suction valve and tank level before the next start; then the wearing parts of the pump",
    "polymer outage": "check polymer supply, pump and suction; measure the pump with its calibration column",
    "mixing pressure high": "check valve position; open and flush the mixing point",
    "clipped": "widen the transmitter range, and note the date in the plant file",
    "zero offset": "check the zero of the meter, and whether the line drains through it",
    "negative flow": "look for backflow, a leaking check valve, or wires changed over",
    "set-point as value": "look in the export which tag is the measured value; the plant file may name the set-point",
    "resampled": "ask for the values as logged, or state the deadband of the log in the plant file",
    "clock error": "compare the clocks of logger and control system; look for a change of summer time",
    "stuck run bit": "look at the local panel: hand mode, relay, or a tag of another pump",
    "totaliser reset": "ask who reset the register; read it on site",
    "totaliser jump": "read the register on site; look whether the meter or its head was replaced",
    "totaliser ratio": "compare range and multiplier of meter and register; one of the two may be scaled wrongly",
    "mixing pressure low": "check whether the mixing valve closes; look at the floc in the first drainage zone",
}


@dataclass(frozen=True)
class Flag:
    """One row of `flags` before plant, data version and disposition are added."""

    detector: str
    line: str
    role: str | None
    operating_day: date
    start: datetime
    end: datetime
    held: int
    severity: str
    sentence: str
    facts: Facts

    @property
    def flag_id(self) -> str:
        """Return detector, line, role and start made into one; the same as long as these stay."""
        parts = [self.detector.replace(" ", "-"), self.line, *([self.role] if self.role else []), f"{self.start:%Y%m%dT%H%MZ}"]
        return ".".join(parts)

    def row(self, plant: str, data_version: str) -> dict[str, Any]:
        return {
            "plant": plant, "line": self.line, "flag_id": self.flag_id, "detector": self.detector, "role": self.role,
            "operating_day": self.operating_day, "start_utc": self.start, "end_utc": self.end, "minutes": self.held, "severity": self.severity,
            "sentence": self.sentence, "suggestion": SUGGESTIONS[self.detector], "evidence": evidence(self.facts), "data_version": data_version,
        }  # fmt: skip


def evidence(facts: Facts) -> str:
    """Return facts as JSON, keys sorted, numbers to four significant digits, unknown ones left out."""
    return json.dumps({k: _rounded(v) for k, v in facts.items() if v is not None}, sort_keys=True)


def _rounded(value: Any) -> Any:
    return float(f"{value:.{_DIGITS}g}") + 0.0 if isinstance(value, float) else value


def shown(value: float, dimension: str, system: str) -> str:
    """Return an SI value with its unit as a plant of that unit system ("US", "SI") reads it."""
    word = (_US if system == "US" else _SI)[dimension]
    return f"{plain(units.from_si(value, word))} {word}"


def plain(value: float) -> str:
    """Return a number to three significant digits without an exponent; thousands apart from 1,000 on."""
    rounded = float(f"{value:.{_SHOWN}g}") + 0.0
    return f"{rounded:,.0f}" if abs(rounded) >= 100 else f"{rounded:g}"


def lasted(minutes: int) -> str:
    """Return a duration: minutes up to two hours, then hours."""
    return f"{minutes} min" if minutes <= 120 else f"{minutes / 60:.1f} h"


def number(facts: Mapping[str, float | int | str | None], key: str) -> float:
    """Return a fact that is a number; 0 when it is not known."""
    value = facts.get(key)
    return float(value) if isinstance(value, int | float) else 0.0
