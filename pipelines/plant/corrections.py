"""The corrections register of the plant file: what a value is expected to be, and what counts instead.

An entry names readings (a tag) or lab results (line, point, analyte) and a time. Of two entries that match the same value
the later one in the file counts, and each works on the raw value, never on another entry's result.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, Self

from pydantic import Field, model_validator

from pipelines.base import units
from pipelines.plant.quantities import Block, Since
from schemas.vocabulary import ANALYTES

EQUAL = 1e-6  # relative: a value within this of "= x" is equal; conversion of units moves the last digits
_NUMBER = r"([-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?)"
_ONE = re.compile(rf"(=|<=|>=|<|>)\s*{_NUMBER}(?:\s+(\S.*?))?\s*$")
_BETWEEN = re.compile(rf"between\s+{_NUMBER}\s+and\s+{_NUMBER}(?:\s+(\S.*?))?\s*$")
_GIVEN = re.compile(rf"\s*{_NUMBER}(?:\s+(\S.*?))?\s*$")
_STATES = {"on": 1.0, "off": 0.0}
_LAB_UNITS = {"fraction": {"%": 1.0, "mg/L": 1e4}, "concentration": {"%": 1e-4, "mg/L": 1.0}}  # to the stored unit, at SG 1
# bounds of a lab result in its stored unit: what a share or a litre can hold at most
LAB_BOUNDS = {
    "ts": (0.0, 100.0), "vs": (0.0, 100.0), "strength": (0.0, 100.0), "tss": (0.0, 1e6), "cst": (0.0, 1e5), "wet_mass": (0.0, 1e3),
    "delivered_mass": (0.0, 1e6), "stock_mass": (0.0, 1e6),
}  # fmt: skip


class Correction(Block):
    """One entry: what it matches, what it does, who entered it and why, and what the raw value is expected to be."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$", description="short name, unique in the register")
    tag: str | None = Field(default=None, description="the readings of this tag")
    line: str | None = Field(default=None, description="with point and analyte: the lab results of these")
    point: Literal["feed", "cake", "filtrate", "polymer solution", "cake haul", "polymer store"] | None = Field(
        default=None, description="sample point of the lab results"
    )
    analyte: Literal["ts", "vs", "tss", "strength", "cst", "wet_mass", "delivered_mass", "stock_mass"] | None = Field(
        default=None, description="analyte of the lab results"
    )
    at: Since | None = Field(default=None, description="exactly this time; for lab results a date is the whole operating day")
    since: Since | None = Field(default=None, description="from this time on")
    until: Since | None = Field(default=None, description="up to this time, not included")
    sample: str | None = Field(default=None, description="only this sample id")
    file: str | None = Field(default=None, description="only what came with a file of this name")
    action: Literal["drop", "override", "scale", "flag"] = Field(
        description="drop the value, override it, scale it, or flag it as uncertain"
    )
    value: str | None = Field(default=None, description="for override: what counts instead, with its unit; on or off for states")
    factor: float | None = Field(default=None, description="for scale: the raw value, in the signal's unit, times this counts")
    expect: str | None = Field(default=None, description='what every raw value must be: "> 500 gpm", "= 24000", "between 1 and 2 psi"')
    reason: str = Field(min_length=3, description="why, in a sentence")
    who: Literal[
        "operator", "shift lead", "lab", "instrument technician", "process engineer", "applications engineer", "data engineer", "plant manager"
    ] = Field(description="a role, never a person's name")  # fmt: skip
    entered: Since = Field(description="when the entry was made")

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        lab = (self.line, self.point, self.analyte)
        if (self.tag is None) == (lab == (None, None, None)):
            raise ValueError("an entry names either a tag, or line, point and analyte")
        if self.tag is None and None in lab:
            raise ValueError("a lab result is named by line, point and analyte together")
        if self.tag is not None and self.sample is not None:
            raise ValueError("readings have no sample id")
        if self.at is not None and (self.since is not None or self.until is not None):
            raise ValueError("an exact time has no since or until beside it")
        if self.at is None and self.since is None and self.sample is None:
            raise ValueError("an entry needs a time: at, or since (and until)")
        if self.tag is not None and self.at is not None and not isinstance(self.at, datetime):
            raise ValueError("a reading has a time of day; write at = 2026-01-05T13:42:00, or since and until")
        if (self.action == "override") != (self.value is not None):
            raise ValueError("override needs a value, and nothing else has one")
        if (self.action == "scale") != (self.factor is not None):
            raise ValueError("scale needs a factor, and nothing else has one")
        if self.factor is not None and (not math.isfinite(self.factor) or self.factor == 0.0):
            raise ValueError("a factor is a number other than 0")
        return self

    @property
    def subject(self) -> str:
        """Return what the entry is about, for a person."""
        return self.tag if self.tag is not None else f"{self.line} {self.point} {self.analyte}"


@dataclass(frozen=True)
class Expected:
    """Bounds of a raw value in the internal unit; an open bound itself is outside."""

    low: float = -math.inf
    high: float = math.inf
    low_open: bool = False
    high_open: bool = False

    def holds(self, value: float | None) -> bool:
        """Return whether a raw value is what was expected; a value that is no number never is."""
        if value is None:
            return False
        above = value > self.low if self.low_open else value >= self.low
        below = value < self.high if self.high_open else value <= self.high
        return above and below


@dataclass(frozen=True)
class Measure:
    """How numbers about a subject are written: unit word when none is given, and to the internal unit."""

    unit: str | None  # None: signals of the tag differ, so a unit must be written
    dimension: str
    stored: str
    bounds: tuple[float, float]
    is_lab: bool = False

    def stored_value(self, number: float, unit: str | None) -> float:
        """Return a number with its unit word (None: the subject's own) in the internal unit; ValueError when it does not fit."""
        word = unit or self.unit
        if word is None:
            raise ValueError(f"write the unit, such as {number:g} {self.stored}")
        try:
            meant = units.unit(word)
        except KeyError:
            raise ValueError(f"unknown unit {word!r}") from None
        if self.is_lab and meant.dimension in _LAB_UNITS:
            return number * meant.factor * _LAB_UNITS[meant.dimension][self.stored]
        if meant.dimension != self.dimension:
            raise ValueError(f"{meant.name} is a unit of {meant.dimension}, here a {self.dimension} is needed")
        value = number * meant.factor + meant.offset
        return value / units.unit(self.stored).factor if self.is_lab else value

    def given(self, text: str) -> float:
        """Return "412 gpm" (or on, off for a state) in the internal unit; ValueError when it cannot be, or has no unit."""
        if self.dimension == "state":
            if text.strip().lower() not in _STATES:
                raise ValueError(f"a state is on or off, not {text!r}")
            return _STATES[text.strip().lower()]
        match = _GIVEN.match(text)
        if match is None or match[2] is None:
            raise ValueError(f"not a number with a unit: {text!r}")
        value = self.stored_value(float(match[1]), match[2])
        if not self.bounds[0] <= value <= self.bounds[1]:
            raise ValueError(f"{text} is outside what can be: {self.bounds[0]:g} to {self.bounds[1]:g} {self.stored}")
        return value

    def expected(self, text: str) -> Expected:
        """Return what "> 500 gpm", "= 24000" or "between 1 and 2 psi" means; without a unit in the unit of the export."""
        one, between = _ONE.match(text), _BETWEEN.match(text)
        if between is not None:
            low, high = sorted(self.stored_value(float(between[k]), between[3]) for k in (1, 2))
            return Expected(low - EQUAL * abs(low), high + EQUAL * abs(high))
        if one is None:
            raise ValueError(f'{text!r} is not understood; write "> 500 gpm", "= 24000" or "between 1 and 2 psi"')
        value, slack = self.stored_value(float(one[2]), one[3]), EQUAL
        if one[1] == "=":
            return Expected(value - slack * abs(value), value + slack * abs(value))
        if one[1] in (">", ">="):
            return Expected(low=value, low_open=one[1] == ">")
        return Expected(high=value, high_open=one[1] == "<")


def measure_of_analyte(analyte: str) -> Measure:
    """Return how numbers of a lab analyte are written: % or mg/L at SG 1, masses and seconds as such."""
    if ANALYTES[analyte] in ("t", "kg", "s"):
        dimension = "time" if ANALYTES[analyte] == "s" else "mass"
        return Measure(ANALYTES[analyte], dimension, ANALYTES[analyte], LAB_BOUNDS[analyte], is_lab=True)
    stored = "mg/L" if analyte == "tss" else "%"
    return Measure(stored, "concentration" if analyte == "tss" else "fraction", stored, LAB_BOUNDS[analyte], is_lab=True)


assert set(LAB_BOUNDS) == set(ANALYTES)
