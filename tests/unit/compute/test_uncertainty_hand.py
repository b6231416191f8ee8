"""The hand case of day_uncertainty by another road: the day's model written down with the package `uncertainties`.

That package propagates errors by automatic derivatives, so that shared causes (the sludge flow in dose, dilution and cost; one sample in
all minutes) are carried by themselves. The SQL is held to the same numbers by `tests/sql/day_uncertainty`.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import ufloat

CASE = Path(__file__).resolve().parents[2] / "sql" / "day_uncertainty" / "plain" / "expected.csv"
MINUTES, TAU_H = 200, 36.0


def share_left(hours: float, points: int = 1500) -> float:
    """Mean correlation of all pairs of moments in a span of hours: what of the wander its mean keeps."""
    t = (np.arange(points) + 0.5) / points * hours
    return float(np.exp(-np.abs(t[:, None] - t[None, :]) / TAU_H).mean())


@pytest.fixture(scope="module")
def day() -> dict[str, Any]:
    """The plain day: 60 m3/h, 0.03 m3/h neat at 1000 kg/m3 and 40 %, TS 2.5 %, cake 20 %, filtrate 1000 mg/L, 18 kW."""
    noise = 0.01 / np.sqrt(MINUTES)
    gain_q, offset_q, noise_q = ufloat(1, 0.015), ufloat(0, 0.3), ufloat(1, noise)
    gain_p, offset_p, noise_p, fraction = ufloat(1, 0.02), ufloat(0, 0.0001), ufloat(1, noise), ufloat(0.4, 0.4 * 0.025)
    wander = 0.1 * np.sqrt(1 - share_left(MINUTES / 60))
    ts = ufloat(2.5, 2.5 * np.sqrt(0.04**2 + 0.03**2 + wander**2))
    solids = (60 * gain_q * noise_q + offset_q) / 60 * MINUTES * ts / 100
    active = (0.03 * gain_p * noise_p + offset_p) * 1000 / 60 * MINUTES * fraction
    cake, filtrate = ufloat(20, np.sqrt((0.5**2 + 0.25**2) / 2)), ufloat(1000, 1000 * np.sqrt(0.12**2 + 0.09**2))
    # the dilution's own errors; that they share the sludge meter with the dose does not matter for the capture
    water = (2.4 * ufloat(1, 0.02) + 6 * ufloat(1, 0.03)) / (60 * ufloat(1, 0.015) + ufloat(0, 0.3))
    x = filtrate / 1e4
    capture = 100 * (1 - x / ts * (1 + water)) / (1 - x / cake)
    gauges = ufloat(200, 3) - ufloat(120, 4) - 19.6133
    power = ufloat(18, 18 * 0.012)
    cost = (
        30 * active / 40 / (solids / 5)
        + capture / cake * 70
        + 1.2 * power / 18 / (solids / 5)
        + 2.8 / (solids / 5)
        + (1 - capture / 100) * 200
    )
    return {
        "dry_solids_t": solids, "polymer_active_kg": active, "dose_active_kg_t": active / solids, "feed_ts_pct": ts, "cake_ts_pct": cake,
        "filtrate_tss_mg_l": filtrate, "capture_pct": capture, "mixing_dp_kpa": gauges,
        "mixing_dp_ref_kpa": gauges * (90 / (60 * gain_q + offset_q)) ** 2, "energy_kwh_t": power * MINUTES / 60 / solids, "cost_total_per_t": cost,
        "random": (ts, noise_q, noise_p),
    }  # fmt: skip


@pytest.fixture(scope="module")
def expected() -> dict[str, float]:
    with CASE.open(encoding="utf-8", newline="") as text:
        row = next(csv.DictReader(text))
    return {k: float(v) for k, v in row.items() if k not in ("line", "operating_day")}


@pytest.mark.parametrize(
    "kpi",
    ["dry_solids_t", "polymer_active_kg", "dose_active_kg_t", "feed_ts_pct", "cake_ts_pct", "filtrate_tss_mg_l", "capture_pct", "mixing_dp_kpa",
     "mixing_dp_ref_kpa", "energy_kwh_t", "cost_total_per_t"],
)  # fmt: skip
def test_the_package_finds_the_same_uncertainty(day: dict[str, Any], expected: dict[str, float], kpi: str) -> None:
    assert day[kpi].s == pytest.approx(expected[f"{kpi}_u"], rel=1e-6)


def test_the_package_finds_the_same_random_and_systematic_parts(day: dict[str, Any], expected: dict[str, float]) -> None:
    parts = day["dose_active_kg_t"].error_components()
    random = {id(v) for v in day["random"]}
    found = [np.sqrt(sum(s**2 for v, s in parts.items() if (id(v) in random) is wanted)) for wanted in (True, False)]
    assert found[0] == pytest.approx(expected["dose_active_kg_t_u_random"], rel=1e-6)
    assert found[1] == pytest.approx(expected["dose_active_kg_t_u_systematic"], rel=1e-6)
