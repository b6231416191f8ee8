"""Content of a flag: severity, one sentence in the plant's units, what to look at first, evidence as JSON."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from pipelines.base import units
from pipelines.watch.episodes import Episode, Facts
from schemas.detectors import DETECTORS

_DIGITS = 4  # significant digits of evidence
_SHOWN = 3  # significant digits in a sentence
# dimension -> unit a US plant reads; an SI plant reads the internal unit
_US = {"flow": "gpm", "small flow": "gph", "pressure": "psi", "volume": "gal", "power": "hp", "speed": "rpm", "fraction": "%"}
_SI = {"flow": "m3/h", "small flow": "L/h", "pressure": "kPa", "volume": "m3", "power": "kW", "speed": "rpm", "fraction": "%"}
SUGGESTIONS = {d.name: d.suggestion for d in DETECTORS.values()}


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
            "plant": plant, "line": self.line, "flag_id": self.flag_id, "cause_id": self.flag_id, "detector": self.detector, "role": self.role,
            "operating_day": self.operating_day, "start_utc": self.start, "end_utc": self.end, "minutes": self.held, "severity": self.severity,
            "sentence": self.sentence, "suggestion": SUGGESTIONS[self.detector], "evidence": evidence(self.facts), "data_version": data_version,
        }  # fmt: skip


class Placed(Protocol):
    """A line on a day, with the instants of its minutes."""

    @property
    def line_id(self) -> str: ...
    @property
    def day(self) -> date: ...
    def at(self, minute: int) -> datetime: ...


def flags_from(
    day: Placed, detector: str, role: str | None, severity: str, found: Sequence[Episode], says: Callable[[Episode], str]
) -> list[Flag]:
    """Return episodes of a day as flags of a detector."""
    return [Flag(detector, day.line_id, role, day.day, day.at(e.start), day.at(e.end), e.held, severity, says(e), e.facts) for e in found]


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
