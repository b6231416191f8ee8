"""The logs of the plant file: arrangements, service of the pumps, commissioning references, dose ladders, baseline intervals.

All are dated entries; the plant-local rule of dates (`PlantFile.instant`) holds for them. Forms of the curves are textbook
forms, from memory: head of a rotodynamic pump quadratic in the flow, slip of a displacement pump proportional to the
pressure difference (thick sludge, narrow gaps) or to its root (thin liquid, wide gaps).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from math import sqrt
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from pipelines.base import units
from pipelines.plant.quantities import Block, Duration, Since, Speed, Volume
from schemas.vocabulary import SERVICE_KINDS

LONGEST_STEP = timedelta(hours=24)  # a dose step spans two operating days at most, so that a changed day recomputes all of it
_RESETS_OVERHAUL = frozenset({"overhaul", "new pump"})
_ENDS_REFERENCE = frozenset(SERVICE_KINDS) - {"service", "overhaul"}  # parts that make the curve or the slip of the pump
_LEAST_POINTS = 3  # a quadratic has three coefficients


class Arrangement(Block):
    """An arrangement of a line from a date or time on; each time it comes into service is an entry of its own."""

    line: str = Field(description="id of the line")
    name: str = Field(min_length=1, description="the same name each time it comes into service")
    begins: Since = Field(alias="from", description="when it came into service: a date begins with its operating day")
    until: Since | None = Field(
        default=None, description="when it went out of service, not included: a date is the first day after; without: until further notice"
    )
    pump: str | None = Field(default=None, description="id of the feed pump in service; without: the line's pump")
    transition: Duration | None = Field(
        default=None, ge=0, description="time after `from` that belongs to no arm of a comparison, '10 d' or '4 h' [h]; without: none"
    )
    note: str = Field(default="", description="free text")


class Service(Block):
    """An entry of a pump's service log; `at` is when the pump was back in service."""

    pump: str = Field(description="id of the pump")
    at: Since = Field(description="when the pump was back in service")
    kind: Literal["service", "overhaul", "new pump", "impeller", "rotor", "stator", "lobes", "wear plate"] = Field(
        description="what was done"
    )
    note: str = Field(default="", description="free text")

    @property
    def resets_overhaul(self) -> bool:
        """Return whether run hours since overhaul begin anew; those since service always do."""
        return self.kind in _RESETS_OVERHAUL

    @property
    def ends_reference(self) -> bool:
        """Return whether the commissioning reference before it no longer holds."""
        return self.kind in _ENDS_REFERENCE


class Baseline(Block):
    """Commissioning reference of a pump: its curve (rotodynamic) or displacement and slip (displacement)."""

    pump: str = Field(description="id of the pump")
    at: Since = Field(description="when it was measured; it is the reference from then until the next, or until parts are changed")
    note: str = Field(default="", description="free text")
    ts_window: tuple[float, float] | None = Field(default=None, description="feed TS [%] within which minutes are compared with it")
    flow_unit: str | None = Field(default=None, description="unit of the flows below")
    # rotodynamic
    reference_speed: Speed | None = Field(default=None, description="speed of the curve [rpm]")
    head_unit: str | None = Field(default=None, description="unit of the heads below")
    curve: tuple[tuple[float, float], ...] = Field(default=(), description="points (flow, head) at the reference speed")
    coefficients: tuple[float, float, float] | None = Field(default=None, description="H = a + b Q + c Q2 in the units above")
    # displacement
    displacement: Volume | None = Field(default=None, description="volume a revolution at no pressure difference [m3]")
    pressure_unit: str | None = Field(default=None, description="unit of the pressure differences below")
    slip_form: Literal["linear", "sqrt"] = Field(
        default="linear", description="slip proportional to the pressure difference (linear) or to its root (sqrt)"
    )
    slip: tuple[tuple[float, float], ...] = Field(default=(), description="points (pressure difference, slip flow)")

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if (self.reference_speed is None) == (self.displacement is None):
            raise ValueError("write either reference_speed and a pump curve, or displacement and slip")
        _need_unit("flow_unit", self.flow_unit, "flow")
        if self.ts_window is not None and not 0 <= self.ts_window[0] < self.ts_window[1]:
            raise ValueError("ts_window must be [low, high] in %, low < high")
        if self.displacement is not None:
            _need_unit("pressure_unit", self.pressure_unit, "pressure")
            if not self.slip or any(p <= 0 or q <= 0 for p, q in self.slip):
                raise ValueError("slip needs at least one [pressure difference, slip flow], both above 0")
        else:
            _need_unit("head_unit", self.head_unit, "length")
            if (self.coefficients is None) == (not self.curve):
                raise ValueError("give the pump curve once: as curve (points) or as coefficients")
            if self.curve and len({q for q, _ in self.curve}) < _LEAST_POINTS:
                raise ValueError(f"a curve needs at least {_LEAST_POINTS} points [flow, head] at different flows")
        return self

    @property
    def kind(self) -> str:
        return "rotodynamic" if self.displacement is None else "displacement"

    def head_coefficients(self) -> tuple[float, float, float]:
        """Return (c0, c1, c2) of H = c0 + c1 Q + c2 Q2 with H in m and Q in m3/h; points by least squares."""
        a, b, c = self.coefficients if self.coefficients is not None else quadratic(self.curve)
        flow, head = units.unit(self.flow_unit or "").factor, units.unit(self.head_unit or "").factor
        return a * head, b * head / flow, c * head / flow**2

    def curve_span_m3_h(self) -> tuple[float | None, float | None]:
        """Return lowest and highest flow of the points; null for coefficients, which state no span."""
        flows = [units.to_si(q, self.flow_unit or "") for q, _ in self.curve]
        return (min(flows), max(flows)) if flows else (None, None)

    def curve_rms_m(self) -> float | None:
        """Return the root mean square distance of the points from the fitted curve [m]; null for coefficients."""
        if not self.curve:
            return None
        c0, c1, c2 = self.head_coefficients()
        points = [(units.to_si(q, self.flow_unit or ""), units.to_si(h, self.head_unit or "")) for q, h in self.curve]
        return sqrt(sum((h - c0 - c1 * q - c2 * q * q) ** 2 for q, h in points) / len(points))

    def slip_k0(self) -> float:
        """Return the slip coefficient [m3/h per kPa, or per root kPa]: least squares through the origin."""
        points = [(units.to_si(p, self.pressure_unit or ""), units.to_si(q, self.flow_unit or "")) for p, q in self.slip]
        shaped = [(p if self.slip_form == "linear" else sqrt(p), q) for p, q in points]
        return sum(f * q for f, q in shaped) / sum(f * f for f, _ in shaped)


class Ladder(Block):
    """A dose ladder: the dose is held from each time of `steps` to the next, the last one until `until`; or each step to its own end."""

    line: str = Field(description="id of the line")
    name: str = Field(min_length=1, description="name of the trial")
    steps: tuple[Since, ...] = Field(min_length=2, description="start of each dose step")
    until: Since | None = Field(default=None, description="end of the last step")
    ends: tuple[Since, ...] = Field(
        default=(), description="end of each step, instead of until, where steps do not follow each other at once"
    )
    washout: Duration = Field(default=0.5, ge=0, description="time after each step that does not count [h]; at least one residence time")

    @model_validator(mode="after")
    def _runs_on(self) -> Self:
        if (self.until is None) == (not self.ends):
            raise ValueError("until: give the end of the last step, or ends of all steps")
        if self.ends and len(self.ends) != len(self.steps):
            raise ValueError(f"ends: write one end a step: {len(self.steps)} steps, {len(self.ends)} ends")
        spans: tuple[tuple[Any, Any], ...] = self.spans
        times = [x for span in spans for x in span]
        if len({isinstance(x, datetime) for x in times}) > 1:
            raise ValueError("write all times of a ladder as dates, or all as dates with a time")
        if len({isinstance(x, datetime) and x.tzinfo is not None for x in times}) > 1:
            raise ValueError("write all times of a ladder with an offset from UTC, or all without: then they are plant time")
        for start, end in spans:
            if not timedelta(0) < end - start <= LONGEST_STEP:
                raise ValueError(f"step {start} to {end}: steps follow each other in time and last 24 h at most")
        for (_, end), (start, _) in pairwise(spans):
            if start < end:
                raise ValueError(f"ends: the step of {start} begins before the one before it ends ({end})")
        return self

    @property
    def spans(self) -> tuple[tuple[Since, Since], ...]:
        """Return start and end of each step."""
        if self.until is None:
            return tuple(zip(self.steps, self.ends, strict=True))
        return tuple(pairwise([*self.steps, self.until]))


class BaselinePeriod(Block):
    """Operating days that count as the baseline of a line, the first and the last one included."""

    line: str = Field(description="id of the line")
    first_day: Since = Field(description="first operating day")
    last_day: Since = Field(description="last operating day, included")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if isinstance(self.first_day, datetime) or isinstance(self.last_day, datetime):
            raise ValueError("write first_day and last_day as dates without a time")
        if self.last_day < self.first_day:
            raise ValueError("last_day lies before first_day")
        return self


def check_pumps(pumps: Sequence[tuple[str, str]], service: Sequence[Service], baselines: Sequence[Baseline]) -> None:
    """Raise ValueError when logs name a pump that is not there, or a reference of the wrong kind; `pumps` are (id, kind)."""
    kinds = dict(pumps)
    if (service or baselines) and len(kinds) < len(pumps):
        raise ValueError("two lines have a pump of the same id; the logs go by pump, so give each pump its own id")
    named = [(f"service[{i}]", x.pump) for i, x in enumerate(service)] + [(f"baselines[{i}]", x.pump) for i, x in enumerate(baselines)]
    for where, pump in named:
        if pump not in kinds:
            raise ValueError(f"{where}.pump: no pump {pump!r}; pumps are {', '.join(sorted(kinds))}")
    for i, x in enumerate(baselines):
        if x.kind != kinds[x.pump]:
            raise ValueError(f"baselines[{i}].pump: {x.pump} is a {kinds[x.pump]} pump, the reference is that of a {x.kind} pump")


def quadratic(points: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """Return (a, b, c) of y = a + b x + c x2 through points by least squares; at least three different x."""
    from numpy.polynomial import polynomial

    a, b, c = polynomial.polyfit([x for x, _ in points], [y for _, y in points], 2)
    return float(a), float(b), float(c)


def _need_unit(key: str, word: str | None, dimension: str) -> None:
    try:
        given = units.unit(word or "").dimension
    except KeyError:
        raise ValueError(f"{key} must be a unit of {dimension}") from None
    if given != dimension:
        raise ValueError(f"{key} = {word!r} is a unit of {given}, here a {dimension} is needed")
