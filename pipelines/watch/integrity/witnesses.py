"""The witnesses of a line's meters: pure functions from the facts of a week (and the days before) to what each one says.

A deviation is of the meter against its witness, in %: above 0 the meter reads high. Every limit is common practice without a
source unless marked; tune it against the plant's own quiet weeks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt
from statistics import median

from pipelines.watch.integrity.day_facts import DayFacts

KPA_PER_M_WATER = 9.80665  # of water at 1,000 kg/m3
MINUTES_LEAST = 120  # [min] of a day that make its ratio (rule of this project, as for registers)
DAYS_LEAST = 5  # days before that make a usual value
OFF_DAYS = 2  # days off on one side that make a deviation; a week with fewer days asks for all of them
REGISTER_LIMIT_PCT = 5.0  # 3 % is flagged by the day (totaliser ratio); from 5 % the meter is doubted
HISTORY_LIMIT_PCT = 10.0  # flow per revolution against the days before in the same arrangement
SLIP_MARGIN_PCT = 5.0  # above the displaced volume, or below what a slip of ten times the new pump's leaves
WORST_SLIP = 10.0  # times the slip at commissioning: more cannot be (as for the slip index)
CURVE_LIMIT_PCT = 20.0  # flow from head and speed by the pump curve: flat curves and wear make it a coarse witness
REFERENCE_FACTOR = 2.0  # running flow within half and twice the reference flow; a wrong unit is off by 3.6 or more
INVENTORY_LIMITS_PCT = ((21, 10.0), (6, 30.0))  # days between stock readings -> limit: one dip of a tank is a coarse figure
_ROUNDING = 1e-9  # [%] last digits of doubles are no deviation
LABORATORY_LIMIT_PCT = 15.0  # online feed solids against the laboratory's


@dataclass(frozen=True)
class Statement:
    """Statement of one witness about a meter; limits and deviation in %.

    `is_own`: it knows this meter alone. A shared witness (a balance) also rests on others: it doubts the meter only when no own
    witness has spoken for it.
    """

    witness: str
    deviation_pct: float
    low_pct: float
    high_pct: float
    is_own: bool
    says: str

    @property
    def disagrees(self) -> bool:
        """Return whether the deviation lies outside its limits."""
        return not self.low_pct - _ROUNDING <= self.deviation_pct <= self.high_pct + _ROUNDING


@dataclass(frozen=True)
class PumpReference:
    """The commissioning reference in force: displacement [m3/rev] and slip, or H [m] = c0 + c1 Q + c2 Q2 at a speed [rpm]."""

    displacement_m3_rev: float | None = None
    slip_form: str | None = None
    slip_k0: float | None = None
    reference_speed_rpm: float | None = None
    head_c0_m: float | None = None
    head_c1: float | None = None
    head_c2: float | None = None


def deviation_pct(meter: float, witness: float) -> float:
    """Return by how much a meter lies above its witness [%]."""
    return 100.0 * (meter / witness - 1.0)


def persistent(deviations: Sequence[float], low: float, high: float) -> float:
    """Return what the days of a week say together: the median of those off on one side when they last, else of all days.

    Two days off make it, so that a meter re-ranged on Thursday is not averaged away; in a shorter week all its days.
    """
    for off in ([d for d in deviations if d > high], [d for d in deviations if d < low]):
        if len(off) >= min(OFF_DAYS, len(deviations)):
            return median(off)
    return median(deviations)


def register(of: str, days: Sequence[DayFacts]) -> Statement | None:
    """Return what the register (`of`: sludge or polymer) says of its meter over a week."""
    found = [
        deviation_pct(rate, counted)
        for d in days
        if getattr(d, f"{of}_register_minutes") >= MINUTES_LEAST
        and (counted := getattr(d, f"{of}_register_m3"))
        and (rate := getattr(d, f"{of}_rate_m3"))
        and counted > 0
    ]
    if not found:
        return None
    off = persistent(found, -REGISTER_LIMIT_PCT, REGISTER_LIMIT_PCT)
    return Statement("register", off, -REGISTER_LIMIT_PCT, REGISTER_LIMIT_PCT, True, f"its register counted {_other(off)}")


def flow_per_revolution(days: Sequence[DayFacts], before: Sequence[DayFacts]) -> Statement | None:
    """Return the flow per revolution of a week against the days before in the same arrangement."""
    usual, now = (
        [d.pumped_m3 / d.revolutions for d in some if d.pump_minutes >= MINUTES_LEAST and d.pumped_m3 is not None and d.revolutions]
        for some in (before, days)
    )
    if not now or len(usual) < DAYS_LEAST or median(usual) <= 0:
        return None
    off = persistent([deviation_pct(x, median(usual)) for x in now], -HISTORY_LIMIT_PCT, HISTORY_LIMIT_PCT)
    says = f"the pump gave {abs(off):.0f} % {'more' if off > 0 else 'less'} a revolution than on the days before"
    return Statement("flow per revolution", off, -HISTORY_LIMIT_PCT, HISTORY_LIMIT_PCT, True, says)


def displacement(days: Sequence[tuple[DayFacts, PumpReference]], elevation_kpa: float) -> Statement | None:
    """Return the flow of a displacement pump against its displacement and slip at commissioning.

    A pump cannot give more than it displaces, and slip that has grown tenfold is a pump to repair, not a flow: the limits
    are the displaced volume and that slip, each with a margin.
    """
    found, lows, highs = list[float](), list[float](), list[float]()
    for d, r in days:
        dp = None if d.duty_rise_mean_kpa is None else d.duty_rise_mean_kpa + elevation_kpa
        if d.duty_minutes < MINUTES_LEAST or dp is None or dp <= 0 or not d.revolutions or not d.pumped_m3:
            continue
        if r.displacement_m3_rev is None or r.slip_k0 is None:
            continue
        displaced = 60.0 * r.displacement_m3_rev * d.revolutions / d.pump_minutes
        slip = r.slip_k0 * (sqrt(dp) if r.slip_form == "sqrt" else dp)
        expected = displaced - slip
        if expected <= 0:
            continue
        found.append(deviation_pct(60.0 * d.pumped_m3 / d.pump_minutes, expected))
        highs.append(deviation_pct(displaced, expected) + SLIP_MARGIN_PCT)
        lows.append(max(deviation_pct(max(displaced - WORST_SLIP * slip, 0.0), expected), -100.0) - SLIP_MARGIN_PCT)
    if not found:
        return None
    low, high = median(lows), median(highs)
    off = persistent(found, low, high)
    says = f"the pump's displacement and slip at commissioning give {_other(off)}"
    return Statement("pump displacement", off, low, high, True, says)


def pump_curve(days: Sequence[tuple[DayFacts, PumpReference]], elevation_m: float, sludge_sg: float) -> Statement | None:
    """Return the flow of a rotodynamic pump against what its curve gives at the speed and head of the day."""
    found = list[float]()
    for d, r in days:
        if d.duty_minutes < MINUTES_LEAST or d.duty_rise_kpa is None or not d.duty_speed_rpm or not d.duty_flow_m3_h:
            continue
        expected = curve_flow_m3_h(r, d.duty_speed_rpm, d.duty_rise_kpa / (KPA_PER_M_WATER * sludge_sg) + elevation_m)
        if expected is not None:
            found.append(deviation_pct(d.duty_flow_m3_h, expected))
    if not found:
        return None
    off = persistent(found, -CURVE_LIMIT_PCT, CURVE_LIMIT_PCT)
    return Statement("pump curve", off, -CURVE_LIMIT_PCT, CURVE_LIMIT_PCT, True, f"head and speed on the pump curve give {_other(off)}")


def curve_flow_m3_h(r: PumpReference, speed_rpm: float, head_m: float) -> float | None:
    """Return the flow at which the curve, moved to a speed by the affinity laws, has a head; None where it has none or is flat.

    H = c0 n2 + c1 n Q + c2 Q2 with n = N / N_ref. Within a tenth of the shut-off head the flow hangs on the last percent of the head
    (rule of this project).
    """
    if r.head_c0_m is None or r.head_c1 is None or r.head_c2 is None or not r.reference_speed_rpm or r.head_c2 >= 0:
        return None
    n = speed_rpm / r.reference_speed_rpm
    shut_off = r.head_c0_m * n * n
    if not 0 < head_m <= 0.9 * shut_off:
        return None
    b = r.head_c1 * n
    root = b * b - 4.0 * r.head_c2 * (shut_off - head_m)
    flow = (-b - sqrt(root)) / (2.0 * r.head_c2) if root >= 0 else 0.0
    return flow if flow > 0 else None


def reference_flow(days: Sequence[DayFacts], reference_m3_h: float) -> Statement | None:
    """Return the running flow of a week against the reference flow of the plant file: coarse, but it shows a wrong unit."""
    found = [
        deviation_pct(d.flow_median_m3_h, reference_m3_h)
        for d in days
        if d.flow_minutes >= MINUTES_LEAST and d.flow_median_m3_h is not None
    ]
    if not found or reference_m3_h <= 0:
        return None
    low, high = 100.0 * (1.0 / REFERENCE_FACTOR - 1.0), 100.0 * (REFERENCE_FACTOR - 1.0)
    off = persistent(found, low, high)
    says = f"the running flow is {1.0 + off / 100.0:.2f} times the reference flow of the plant file"
    return Statement("reference flow", off, low, high, False, says)


def solids_balance(closure: float | None, low: float, high: float, of: str) -> Statement | None:
    """Return what cake and filtrate say of the solids fed; closure is out / in, so the feed reads high when it is below 1."""
    if closure is None or closure <= 0:
        return None
    off = deviation_pct(1.0, closure)
    says = f"cake tickets and filtrate{of} hold {100.0 * closure:.0f} % of the solids fed"
    return Statement(f"solids balance{of}", off, deviation_pct(1.0, high), deviation_pct(1.0, low), False, says)


def inventory(used_by_meter_kg: float | None, used_by_stock_kg: float | None, days: int) -> Statement | None:
    """Return what deliveries less the change of stock say of the polymer metered over so many days."""
    limit = next((limit for least, limit in INVENTORY_LIMITS_PCT if days >= least), None)
    if limit is None or not used_by_meter_kg or not used_by_stock_kg or used_by_stock_kg <= 0:
        return None
    off = deviation_pct(used_by_meter_kg, used_by_stock_kg)
    says = f"deliveries and stock over {days} days say that {_other(off)} was used"
    return Statement("polymer inventory", off, -limit, limit, False, says)


def laboratory(days: Sequence[DayFacts], laboratory_pct: Mapping[date, float]) -> Statement | None:
    """Return the online feed solids against the laboratory's feed TS of the same days [%]."""
    found = [
        deviation_pct(d.online_ts_pct, laboratory_pct[d.operating_day])
        for d in days
        if d.online_ts_minutes >= MINUTES_LEAST and d.online_ts_pct is not None and laboratory_pct.get(d.operating_day, 0.0) > 0
    ]
    if not found:
        return None
    off = persistent(found, -LABORATORY_LIMIT_PCT, LABORATORY_LIMIT_PCT)
    return Statement("laboratory", off, -LABORATORY_LIMIT_PCT, LABORATORY_LIMIT_PCT, True, f"the laboratory's feed TS gives {_other(off)}")


def _other(deviation: float) -> str:
    """Return how a witness's figure compares with the meter's: "23 % less" when the meter reads high."""
    other = 100.0 * (1.0 / (1.0 + deviation / 100.0) - 1.0) if deviation > -100.0 else float("inf")
    if other > 200.0:
        return f"{1.0 + other / 100.0:.1f} times as much"
    return f"{abs(other):.0f} % {'less' if other < 0 else 'more'}"
