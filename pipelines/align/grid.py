"""Convert the readings of a line to minute columns: one set of arrays a role."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
import polars as pl

from pipelines.align.segments import Stretches, Times, Truth, Values, averaged, stretches
from pipelines.base import units
from pipelines.plant import limits, registers
from pipelines.plant.calendar import FAR_FUTURE, micros
from pipelines.plant.model import PlantFile, Signal
from pipelines.store.reading_series import NOTHING, Series
from schemas.roles import ROLES, Role
from schemas.vocabulary import BAD, GOOD

REST_SHARE = 0.05  # of the transmitter range: a reading at or below stands at rest (rule of this project)
_TICK = timedelta(microseconds=1)
_HOUR_US = timedelta(hours=1) / _TICK


@dataclass(frozen=True)
class Span:
    """A signal and the time span [us] for which its tag has its role: start included, end not."""

    signal: Signal
    since_us: int
    until_us: int


@dataclass(frozen=True)
class RoleMinutes:
    """One role of a line on n intervals.

    `value` is nan where unknown; `coverage` is the known share, nan where the line has no such signal at the time;
    `low` and `high` are the transmitter range in the SI unit (nan without one).
    """

    value: Values
    coverage: Values
    is_uncertain: Truth
    low: Values
    high: Values

    def without(self, minutes: Truth) -> RoleMinutes:
        """Return a copy in which the given minutes are unknown."""
        return replace(self, value=np.where(minutes, np.nan, self.value), coverage=np.where(minutes, 0.0, self.coverage))


def spans_by_role(line: str, plant_file: PlantFile) -> dict[str, list[Span]]:
    """Return role -> its signals on a line, ordered by time; the plant file allows no overlap."""
    found: dict[str, list[Span]] = {}
    for signal in plant_file.signals_of(line):
        since, until = plant_file.calendar.since(signal.since), plant_file.calendar.until(signal.until)
        found.setdefault(signal.role, []).append(Span(signal, micros(since), micros(until)))
    for spans in found.values():
        spans.sort(key=lambda s: (s.since_us, s.until_us))
    return found


def line_minutes(spans: Mapping[str, list[Span]], series: Mapping[str, Series], edges: Times) -> dict[str, RoleMinutes]:
    """Return role -> its values on the intervals between the edges [us]; roles without a signal are absent."""
    most = {
        role: registers.largest_rate(role, [s.signal for found in spans.values() for s in found])
        for role in spans
        if role in registers.METERS
    }
    return {role: _role_minutes(ROLES[role], found, series, edges, most.get(role)) for role, found in spans.items()}


def with_flows_by_register(roles: Mapping[str, RoleMinutes], flows: Mapping[str, str], edges: Times) -> dict[str, RoleMinutes]:
    """Return the roles and, for each flow role that a register stands in for, the register's increments as a flow [m3/h]."""
    hours = np.diff(edges) / _HOUR_US
    out = dict(roles)
    for flow, total in flows.items():
        register = roles[total]
        with np.errstate(invalid="ignore", divide="ignore"):
            rate = register.value / (register.coverage * hours)
        unknown = np.full(len(rate), np.nan)
        out[flow] = RoleMinutes(rate, register.coverage, register.is_uncertain, unknown, unknown)
    return out


def _role_minutes(role: Role, spans: list[Span], series: Mapping[str, Series], edges: Times, most: float | None) -> RoleMinutes:
    n = len(edges) - 1
    integral, good, unsure = np.zeros(n), np.zeros(n), np.zeros(n)
    low, high, exists = np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, dtype=bool)
    for span in spans:
        here = (edges[1:] > span.since_us) & (edges[:-1] < span.until_us)
        weighted = averaged(_known(_clipped(series.get(span.signal.tag, NOTHING), span), span.signal, most), edges)
        integral, good, unsure = integral + weighted.integral, good + weighted.good_us, unsure + weighted.uncertain_us
        exists |= here
        if span.signal.range is not None:
            low[here], high[here] = (units.to_si(bound, span.signal.unit) for bound in span.signal.range)
    known = good + unsure
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.where(known > 0, integral if role.kind == "totaliser" else integral / known, np.nan)
    coverage = np.where(exists, known / np.diff(edges), np.nan)
    return RoleMinutes(value, coverage, unsure > 0, low, high)


def _known(found: Series, signal: Signal, most: float | None) -> Stretches:
    """Return where the signal's value, or its register's rate [unit/us], is known; `most` is the default largest rate [unit/h]."""
    if signal.meaning.kind == "totaliser":
        return _rates(found, signal, signal.maximum_rate or most)
    stepped = signal.interpolation == "stepped"
    limit = (limits.LONGEST_HOLD if stepped else limits.LONGEST_REACH) // _TICK
    return stretches(found.t, found.v, found.q, stepped=stepped, hold_us=_hold_us(found, signal, limit))


def _hold_us(found: Series, signal: Signal, limit: int) -> int | Times:
    """Return how long each reading is held [us]: one limit, or another one for those at rest."""
    hold = min(signal.hold_us, limit)
    if signal.hold_at_rest_us is None or signal.range is None:
        return hold
    low, high = (units.to_si(bound, signal.unit) for bound in signal.range)
    with np.errstate(invalid="ignore"):
        is_at_rest = found.v <= low + REST_SHARE * (high - low)
    return np.where(is_at_rest, min(signal.hold_at_rest_us, limit), hold).astype(np.int64)


def _rates(found: Series, signal: Signal, most: float | None) -> Stretches:
    """Return the rate between successive readings of a register; unknown next to a bad reading or past the hold limit.

    The span of an impossible increment (`registers.increments`) is unknown.
    """
    capacity = None if signal.rollover is None else units.to_si(signal.rollover, signal.unit)
    increment, _ = registers.increments(found.t, np.where(found.q == BAD, np.nan, found.v), capacity, most)
    span = np.diff(found.t)
    rate = increment[1:] / span
    keep = np.isfinite(rate) & (span <= registers.reach(signal) // _TICK)
    certain = ((found.q[:-1] == GOOD) & (found.q[1:] == GOOD))[keep]
    held = rate[keep]
    return Stretches(found.t[:-1][keep], found.t[1:][keep], held, held, certain, certain)


def _clipped(found: Series, span: Span) -> Series:
    """Return the readings of a tag while it has its role; a bad reading at the end stops the hold."""
    part = found.between(span.since_us, span.until_us)
    if len(part.t) == 0 or span.until_us == micros(FAR_FUTURE):
        return part
    return Series(np.append(part.t, span.until_us), np.append(part.v, np.nan), np.append(part.q, BAD).astype(np.uint8))


def columns(roles: Mapping[str, RoleMinutes], kept: slice) -> list[pl.Expr]:
    """Return the value and coverage columns of `minutes` for every role; null where unknown or without a signal."""
    out: list[pl.Expr] = []
    for role in ROLES.values():
        found = roles.get(role.name)
        if found is None:
            out += [pl.lit(None, dtype=pl.Float64).alias(name) for name in (role.column, role.coverage)]
        else:
            known = {role.column: found.value[kept], role.coverage: found.coverage[kept]}
            out += [pl.lit(pl.Series(name, values)).fill_nan(None) for name, values in known.items()]
    return out
