"""The running figure of each plan of a plant, after each set, with an interval valid at all times; and the wear statement of its pumps.

Only differences of sets whose order was drawn have such an interval (`sequential`), and a fed dose or a cost only under a fixed dose rule. Anything else is said
after the plan's last day, by `compare`. All rows are computed from the current data, so a rebuild gives the same.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipelines.base import clock
from pipelines.base.errors import Notice, UsageError
from pipelines.base.home import Home
from pipelines.base.receipts import StepReceipt
from pipelines.compare import differences, evidence, of_days, of_money, plan, read, sequential, wear
from pipelines.compare.gls import Array
from pipelines.compare.outcomes import Estimate
from pipelines.compare.plan import IN_SETS, Loaded
from pipelines.compare.values import OF_OUTCOME
from pipelines.store import Store
from schemas import TABLES

METHOD = "fair bets on the drawn order, valid at all times"
LATER = "said after the plan's last day {}: {}"
NOT_DRAWN = "no interval is valid at all times where the order of arms was not drawn"
_DOSED = ("fed-dose saving", "all-in saving")
_Row = dict[str, Any]


def run(home: Home, store: Store) -> tuple[StepReceipt, list[Notice]]:
    """Bring `comparison_running` and `pump_wear` of a plant up to date; a plan that cannot be read is noticed and left out."""
    started, notices = clock.stopwatch(), []
    rows: list[_Row] = []
    for path in sorted(home.plans.glob("*.toml")):
        try:
            loaded = plan.load(home, path.stem)
        except UsageError as error:
            notices.append(Notice("plan.refused", f"the plan {path.name} is left out: {error}", {"plan": path.stem}))
            continue
        if loaded.plan.plan.plant == store.plant:
            rows += _of_plan(store, loaded)
    frames = {"comparison_running": pl.DataFrame(rows, schema=TABLES["comparison_running"].polars_schema()), "pump_wear": _wear(store)}
    counts = {name: frame.height for name, frame in frames.items() if frame is not None and _replaced(store, name, frame)}
    return StepReceipt("compare", 0, counts, clock.stopwatch() - started), notices


def _replaced(store: Store, name: str, frame: pl.DataFrame) -> bool:
    """Put the rows in place of the table's where they differ, and have them published; return whether they did."""
    key = list(TABLES[name].key)
    if store.frame(f"SELECT * FROM {name}").sort(key).equals(frame.sort(key)):
        return False
    with store.transaction():
        store.rows(f"DELETE FROM {name}")
        store.append(name, frame)
        last = store.rows("SELECT max(operating_day) FROM minutes")[0][0]
        store.mark_days("publish", [last] if last is not None else [])
    return True


def _wear(store: Store) -> pl.DataFrame | None:
    """Return the wear statements; None where no whole week came since the last ones."""
    weeks = read.pump_weeks(store)
    version = wear.version_of(weeks)
    if store.rows("SELECT 1 FROM pump_wear WHERE data_version = $version LIMIT 1", {"version": version}):
        return None
    return wear.of_plant(store.plant, weeks, version)


@dataclass(frozen=True)
class _Sets:
    """Differences of arms by set, in order of time, with the last day of each."""

    differences: Array
    last_days: list[Any]


def _of_plan(store: Store, loaded: Loaded) -> list[_Row]:
    found = loaded.plan
    days = read.days(store, found, found.plan.line)
    if days.is_empty():
        return []
    gathered = evidence.gather(found, days, None)
    prices = of_money.prices_of(store, found)
    if prices is not None:
        gathered = of_money.with_cost(gathered, prices[0])
    version = hashlib.sha256("|".join([loaded.shown_hash, *map(str, days["data_version"].to_list())]).encode()).hexdigest()[:12]
    failed = [
        f"{name}: {note}" for name, passed, note in evidence.gates(found, gathered) if not passed and not name.startswith(evidence.COUNTS)
    ]
    rows: list[_Row] = []
    for name in found.plan.outcomes:
        if name not in OF_OUTCOME or (name == "all-in saving" and prices is None):
            continue
        unit = f"{prices[1]}/t" if prices is not None and name == "all-in saving" else OF_OUTCOME[name].unit
        fixed = {
            "plant": store.plant, "plan": loaded.name, "plan_hash": loaded.shown_hash, "line": found.plan.line, "outcome": name, "unit": unit,
            "level": 95.0, "method": METHOD, "planned_last_day": found.plan.last_day, "is_draft": loaded.frozen_utc is None, "data_version": version,
        }  # fmt: skip
        why = _why_later(loaded, name) or ("; ".join(failed) or None)
        rows += _figures(fixed, name, _sets(gathered, name), days["operating_day"].max(), why)
    return rows


def _why_later(loaded: Loaded, name: str) -> str | None:
    head, draw = loaded.plan.plan, loaded.plan.draw
    if head.design not in IN_SETS or not draw.is_drawn:
        return LATER.format(head.last_day, NOT_DRAWN)
    if name in _DOSED and draw.dose_rule != "fixed rule":
        return LATER.format(head.last_day, of_days.DOSE_IS_SET[draw.dose_rule])
    return None


def _sets(gathered: evidence.Evidence, name: str) -> _Sets:
    value = OF_OUTCOME[name]
    days = gathered.both().filter(pl.col(value.column).is_not_null() & (pl.col(value.column) > 0.0 if value.is_ln else pl.lit(True)))
    y = days[value.column].to_numpy().astype(float)
    units = differences.set_means(days["set_no"], days["is_after"].to_numpy(), np.log(y) if value.is_ln else y, days["operating_day"])
    last = days.group_by("set_no").agg(last_day=pl.col("operating_day").max())
    wide = units.pivot("arm", index="set_no", values="y").join(last, on="set_no").sort("last_day", "set_no")
    if wide.is_empty():
        return _Sets(np.array([]), [])
    return _Sets((wide["1.0"] - wide["0.0"]).to_numpy(), wide["last_day"].to_list())


def _figures(fixed: _Row, name: str, sets: _Sets, last: Any, why: str | None) -> list[_Row]:
    """Return a row after each set that allows an interval; else one row that says why there is none."""
    count = len(sets.last_days)
    if why is None and count < sequential.FIRST:
        why = f"{count} sets with both arms, {sequential.FIRST} needed before the first interval"
    if why is not None:
        return [fixed | {"through_day": last, "sets": count, "reason": why}]
    rows = []
    for k in range(sequential.FIRST, count + 1):
        mean, low, high = sequential.interval(sets.differences[:k])
        row = fixed | {"through_day": sets.last_days[k - 1], "sets": k}
        if not (np.isfinite(low) and np.isfinite(high)):
            rows.append(row | {"reason": f"{k} sets do not bound the figure yet"})
            continue
        e = OF_OUTCOME[name].of(Estimate(mean, low, high, "-", 95.0, METHOD, k, k))
        rows.append(row | {"estimate": e.value, "low": e.low, "high": e.high, "reason": None})
    return rows
