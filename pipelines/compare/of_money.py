"""All-in saving per tonne of dry solids: each arm at its own operating point, polymer, cake, capture and power together.

Ladders: the points are the doses that the performance asked for needs, with the cake and capture of the curve there. Other designs: the days of each arm.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np
import polars as pl

from pipelines.compare import dose_curve, ladder, money, of_days, read
from pipelines.compare.evidence import Days, Evidence
from pipelines.compare.gls import Array
from pipelines.compare.money import Point, Prices
from pipelines.compare.outcomes import Estimate, Outcome, judged, refused
from pipelines.compare.plan import Plan
from pipelines.compare.values import OF_OUTCOME
from pipelines.compare.work import Work
from pipelines.store import Store

NAME = "all-in saving"
_Part = TypeVar("_Part", bound=Days)


def all_in(work: Work) -> list[Outcome]:
    """Judge the all-in saving per tonne, and note its parts, the annual range and the payback."""
    plan = work.loaded.plan
    if plan.money is None:
        return [refused(NAME, "the plan has no [money] block")]
    priced = prices_of(work.store, plan)
    if priced is None:
        return [refused(NAME, f"no price of polymer and disposal on {plan.money.price_day}")]
    prices, unit = priced
    made = _of_ladder(work, prices, unit) if plan.draw.dose_rule == "ladder" else _of_days(work, prices, unit)
    if isinstance(made, Outcome):
        return [made]
    estimate, caps, points = made
    _parts(work, points, prices, estimate.unit)
    _annual(work, estimate)
    return [judged(NAME, estimate, caps)]


_Made = tuple[Estimate, tuple[str, ...], tuple[Point, Point]]


def _of_ladder(work: Work, prices: Prices, currency: str) -> _Made | Outcome:
    """Return the saving at the dose each arm needs; power is not counted, since a ladder does not carry it."""
    steps, curve, asked = work.ladder.steps, work.ladder.curve, work.loaded.plan.performance
    if steps is None or curve is None:
        return refused(NAME, work.ladder.refusal or "no ladder")
    if asked.cake_pct is None and asked.capture_pct is None:
        return refused(NAME, "the plan asks for no cake and no capture: no operating point is declared")
    performance = (asked.cake_pct, asked.capture_pct)

    def saving(p: Array) -> Array:
        old, new = (_cost(dose_curve.point(p, arm, *performance, curve.scale), prices) for arm in (0.0, 1.0))
        return np.asarray(old - new)

    estimate = ladder.estimate(steps, curve, saving)
    if estimate is None:
        return refused(NAME, ladder.OUT_OF_REACH)
    whole = [dose_curve.point(curve.parameters[None, :], arm, *performance, curve.scale) for arm in (0.0, 1.0)]
    points = [Point(*(float(v[0]) for v in one)) for one in whole]
    return replace(estimate, unit=f"{currency}/t"), work.caps + ladder.caps(work.ladder, work.loaded.plan), (points[0], points[1])


def _cost(point: tuple[Array, Array, Array], prices: Prices) -> Array:
    return np.asarray(sum(money.parts_per_t(Point(*point), prices).values()))


def _of_days(work: Work, prices: Prices, currency: str) -> _Made | Outcome:
    why = of_days.dose_is_set(work)
    if why is not None:
        return refused(NAME, why)
    priced = replace(work, evidence=with_cost(work.evidence, prices), past=_past_with_cost(work.past, prices))
    found = of_days.difference(priced, NAME)
    if found is None:
        return refused(NAME, of_days.too_few(work, " (dose, cake and capture together)"))
    points = (_mean_point(work.evidence.baseline), _mean_point(work.evidence.trial))
    return OF_OUTCOME[NAME].of(found.estimate, f"{currency}/t"), work.caps + found.caps, points


def with_cost(evidence: Evidence, prices: Prices) -> Evidence:
    """Return the evidence with the cost per tonne of each day, null where dose, cake or capture is not known."""

    def priced(days: _Part) -> _Part:
        return type(days)(days.frame.with_columns(cost_per_t=_cost_of_days(prices)))

    control = None if evidence.control is None else priced(evidence.control)
    return replace(evidence, baseline=priced(evidence.baseline), trial=priced(evidence.trial), control=control)


def _past_with_cost(past: pl.DataFrame | None, prices: Prices) -> pl.DataFrame | None:
    if past is None:
        return None
    suffixes = [""] + (["_of_control"] if "dose_active_kg_t_of_control" in past.columns else [])
    return past.with_columns(_cost_of_days(prices, s).alias(f"cost_per_t{s}") for s in suffixes)


def _cost_of_days(prices: Prices, suffix: str = "") -> pl.Expr:
    dose, cake, capture, energy = (pl.col(f"{c}{suffix}") for c in ("dose_active_kg_t", "cake_ts_pct", "capture_pct", "energy_kwh_t"))
    cost = prices.polymer_per_kg * dose + prices.disposal_per_wet_t * capture / cake
    if prices.recycle_per_kg is not None:
        cost = cost + prices.recycle_per_kg * 1000.0 * (1.0 - capture / 100.0)
    if prices.power_per_kwh is not None:
        cost = cost + prices.power_per_kwh * energy.cast(pl.Float64).fill_null(0.0)
    return cost


def _mean_point(days: Days) -> Point:
    whole = days.used.filter(pl.col("cake_ts_pct").is_not_null(), pl.col("capture_pct").is_not_null())
    dose, cake, capture, energy = (
        float(np.nanmean(whole[c].cast(pl.Float64).fill_null(0.0).to_numpy()))
        for c in ("dose_active_kg_t", "cake_ts_pct", "capture_pct", "energy_kwh_t")
    )
    return Point(dose, cake, capture, energy)


def _parts(work: Work, points: tuple[Point, Point], prices: Prices, unit: str) -> None:
    """Note the operating point of each arm and what each part of the cost saves there."""
    head = work.loaded.plan.plan
    for name, point in zip((head.arm_from, head.arm_to), points, strict=True):
        note = f"dose {point.dose_kg_t:.2f} kg/t, cake {point.cake_pct:.1f} %, capture {point.capture_pct:.1f} %"
        work.check("money", f"operating point of '{name}'", note, outcome=NAME, estimate=float(point.dose_kg_t), unit="kg/t")
    for part, value in money.saving_per_t(points[0], points[1], prices).items():
        work.check("money", part, "at the operating points of the arms, unadjusted", outcome=NAME, estimate=float(value), unit=unit)


def _annual(work: Work, saved: Estimate) -> None:
    plan = work.loaded.plan
    assert plan.money is not None
    yearly = money.annual((saved.value, saved.low, saved.high), plan.money.annual_dry_solids_t, plan.money.annual_new_cost)
    work.check(
        "money", "annual saving", "interval of the saving times the range of dry solids", estimate=yearly[0], low=yearly[1], high=yearly[2],
        unit=saved.unit.replace("/t", "/year"),
    )  # fmt: skip
    if plan.money.installed_cost is not None:
        short, long = money.payback_years(plan.money.installed_cost, yearly)
        text = f"{short:.1f} to {long:.1f} years" if np.isfinite(long) else "no payback can be promised: the saving may be none"
        ends = {"low": short if np.isfinite(short) else None, "high": long if np.isfinite(long) else None}
        work.check("money", "simple payback", text, unit="years", **ends)


def prices_of(store: Store, plan: Plan) -> tuple[Prices, str] | None:
    """Return the prices of the plan's day and their currency; None without a [money] block or without prices."""
    found = read.prices(store, plan.plan.line, plan.money.price_day) if plan.money else None
    if found is None:
        return None
    return Prices(found["polymer_per_kg"], found["disposal_per_wet_t"], found["recycle_per_kg"], found["power_per_kwh"]), found["currency"]
