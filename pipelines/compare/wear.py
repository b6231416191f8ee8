"""Wear of a physical pump: trend of its weekly index with an interval that allows for weeks that lean on each other; what loss can be excluded.

The interval is the wider of AR(1) plus white noise (REML averaged) and equally weighted cosines; drift of the meters, a random walk that looks like wear, is
added in quadrature. Losses are positive. "No wear" is never said: a loss above the upper end can be excluded, no more.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl

from pipelines.compare import cosines
from pipelines.compare.gls import Array, Grid
from schemas import TABLES

LEAST_WEEKS = 12
HEAD_DRIFT_PCT = 1.5  # of head per root year, of the two pressures together: common practice, no source
FLOW_DRIFT_PCT = (
    1.0  # of reading per root year, of the flow meter; it moves the slip index by drift / slip fraction: common practice, no source
)
FAR = 7.4  # median deviations (5 sigma of a normal distribution)
HEAD_THRESHOLD, SLIP_THRESHOLD = 0.90, 2.0  # head index, slip index at which a pump counts as worn: common practice, no source
LAST_WEEKS = 4  # whose mean is the index now


@dataclass(frozen=True)
class WearTrend:
    """Loss per year [%] with a 95 % interval; `refusal` names the rule when there is none."""

    loss_pct_year: float
    low: float
    high: float
    weeks: int
    years: float
    refusal: str | None

    @property
    def sentence(self) -> str:
        """Return what can be said."""
        if self.refusal:
            return f"No statement: {self.refusal}."
        if self.low > 0.0:
            return f"A loss of {self.loss_pct_year:.1f} % a year ({self.low:.1f} to {self.high:.1f}) is measured."
        if self.high > 0.0:
            return f"No loss is resolved; a loss above {self.high:.1f} % a year can be excluded. This is no proof of no wear."
        return "The index moves the other way: look at the meters and at the sludge first."


def trend(years: Array, index: Array, *, growth_is_loss: bool, drift: float = HEAD_DRIFT_PCT) -> WearTrend:
    """Return the trend of a weekly index (1 as new); `growth_is_loss` for a slip index, which rises with wear; `drift` in % per root year."""
    n = len(index)
    span = float(np.ptp(years)) if n else 0.0
    if n < LEAST_WEEKS:
        return WearTrend(np.nan, np.nan, np.nan, n, span, f"{n} weeks with an index, {LEAST_WEEKS} needed")
    x = np.column_stack([np.ones(n), years - years.mean()])
    sign = 100.0 if growth_is_loss else -100.0
    y = sign * index
    fit = Grid(years * 365.25 / 7.0, x).fit(y, 1)
    _, low, high = (float(a[0]) for a in cosines.intervals(x, y[:, None], 1))
    half = max(fit.half, (high - low) / 2.0)
    half = float(np.hypot(half, 1.96 * drift * np.sqrt(1.2 / span)))  # slope of a random walk over the span: variance 1.2 / span
    return WearTrend(fit.estimate, fit.estimate - half, fit.estimate + half, n, span, None)


def years_to_threshold(index_now: float, threshold: float, found: WearTrend) -> tuple[float, float]:
    """Return the shortest and longest time until an index meets its threshold [years]; infinite where no loss is possible, 0 once it is met."""
    room = 100.0 * (index_now - threshold) * (1.0 if threshold < 1.0 else -1.0)
    if room <= 0.0:
        return 0.0, 0.0
    shortest = room / found.high if found.high > 0.0 else np.inf
    longest = room / found.low if found.low > 0.0 else np.inf
    return float(shortest), float(longest)


def statement(weeks: pl.DataFrame) -> dict[str, Any]:
    """Return a row of `pump_wear` (without plant, line, pump and data_version) from the whole weeks of one pump, oldest first, as `pump_weeks` has them."""
    known = weeks.with_columns(index=pl.coalesce("wear_index", "slip_index")).filter(
        pl.col("index").is_not_null(), pl.col("reference_day").is_not_null()
    )
    known = known.filter(pl.col("reference_day") == pl.col("reference_day").max())
    spread = (pl.col("index") - pl.col("index").median()).abs()
    used = known.filter(~(spread > FAR * spread.median()).fill_null(value=False) | (spread.median() == 0.0))
    is_slip = bool(weeks["slip_index"].is_not_null().any())
    years = np.array([d.toordinal() for d in used["week_start_day"].to_list()], dtype=float) / 365.25
    index = used["index"].to_numpy().astype(float)
    fraction = used["slip_fraction"].mean()
    drift = HEAD_DRIFT_PCT if not is_slip else float(np.hypot(HEAD_DRIFT_PCT, FLOW_DRIFT_PCT / float(fraction or 1.0)))  # type: ignore[arg-type]
    found = trend(years, index, growth_is_loss=is_slip, drift=drift)
    now = float(np.mean(index[-LAST_WEEKS:])) if len(index) else None
    threshold = SLIP_THRESHOLD if is_slip else HEAD_THRESHOLD
    short, long = (None, None) if found.refusal or now is None else years_to_threshold(now, threshold, found)
    days = used["week_start_day"].to_list()
    return {
        "index_kind": "slip index" if is_slip else "head index", "reference_day": used["reference_day"].max() if days else None,
        "first_week": days[0] if days else None, "last_week": days[-1] if days else None, "weeks": used.height,
        "weeks_left_out": known.height - used.height, "loss_pct_year": _known(found.loss_pct_year), "loss_pct_year_low": _known(found.low), "loss_pct_year_high": _known(found.high),
        "index_now": now, "threshold_index": threshold, "years_to_threshold_low": _known(short), "years_to_threshold_high": _known(long),
        "sentence": found.sentence, "refusal": found.refusal,
    }  # fmt: skip


def _known(value: float | None) -> float | None:
    return float(value) if value is not None and np.isfinite(value) else None


def _whole(weeks: pl.DataFrame) -> pl.DataFrame:
    return weeks.filter(pl.col("week_start_day") + timedelta(days=6) <= pl.col("last_day"))


def version_of(weeks: pl.DataFrame) -> str:
    """Return the hash of the data versions of all whole weeks."""
    whole = _whole(weeks).select("line", "pump", "week_start_day", "data_version")
    return hashlib.sha256(repr(whole.rows()).encode()).hexdigest()[:12]


def of_plant(plant: str, weeks: pl.DataFrame, version: str) -> pl.DataFrame:
    """Return `pump_wear` of a plant from its weeks, as `read.pump_weeks` gives them."""
    rows = [
        {"plant": plant, "line": line, "pump": pump, **statement(own), "data_version": version}
        for (line, pump), own in _whole(weeks).group_by("line", "pump", maintain_order=True)
    ]
    return pl.DataFrame(rows, schema=TABLES["pump_wear"].polars_schema()).sort("line", "pump")
