"""What each witness says of a meter, by hand, and on both sides of its limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from pipelines.watch.integrity import witnesses
from pipelines.watch.integrity.day_facts import DayFacts
from pipelines.watch.integrity.verdicts import judged
from pipelines.watch.integrity.witnesses import PumpReference, Statement

MONDAY = date(2026, 1, 5)
LINE = "line-1"


def days(count: int, first: date = MONDAY, **facts: float) -> list[DayFacts]:
    base = DayFacts(LINE, first, flow_minutes=400, pump_minutes=400, duty_minutes=400, sludge_register_minutes=400)
    return [replace(base, operating_day=first + timedelta(days=k), **facts) for k in range(count)]  # type: ignore[arg-type]


@pytest.mark.parametrize(("rate", "doubts"), [(105.0, False), (105.1, True), (95.0, False), (94.9, True)])
def test_register_on_both_sides_of_five_per_cent(rate: float, doubts: bool) -> None:
    said = witnesses.register("sludge", days(5, sludge_register_m3=100.0, sludge_rate_m3=rate))
    assert said is not None
    assert said.disagrees is doubts


def test_a_flow_in_litres_a_second_declared_that_is_cubic_metres_an_hour() -> None:
    """The meter then reads 3.6 times as much as its register counts: 1 / 3.6 = 28 %, 72 % less."""
    said = witnesses.register("sludge", days(5, sludge_register_m3=100.0, sludge_rate_m3=360.0))
    assert said is not None
    assert said.deviation_pct == pytest.approx(260.0)
    assert said.says == "its register counted 72 % less"
    told = witnesses.reference_flow(days(5, flow_median_m3_h=3.6 * 90.0), 90.0)
    assert told is not None
    assert told.disagrees


@pytest.mark.parametrize(("flow", "doubts"), [(180.0, False), (181.0, True), (45.0, False), (44.0, True)])
def test_reference_flow_on_both_sides_of_half_and_twice(flow: float, doubts: bool) -> None:
    said = witnesses.reference_flow(days(5, flow_median_m3_h=flow), 90.0)
    assert said is not None
    assert said.disagrees is doubts


def test_a_meter_re_ranged_for_two_days_of_five_is_not_averaged_away() -> None:
    before = days(10, MONDAY - timedelta(days=14), pumped_m3=600.0, revolutions=6000.0)
    week = days(3, pumped_m3=600.0, revolutions=6000.0) + days(2, MONDAY + timedelta(days=3), pumped_m3=750.0, revolutions=6000.0)
    said = witnesses.flow_per_revolution(week, before)
    assert said is not None
    assert said.deviation_pct == pytest.approx(25.0)
    assert said.disagrees
    one = witnesses.flow_per_revolution(week[:4], before)
    assert one is not None
    assert not one.disagrees  # one day of four: an odd day, not a meter re-ranged


def test_flow_per_revolution_needs_five_days_before() -> None:
    before = days(4, MONDAY - timedelta(days=14), pumped_m3=600.0, revolutions=6000.0)
    assert witnesses.flow_per_revolution(days(5, pumped_m3=600.0, revolutions=6000.0), before) is None


def test_displacement_pump_by_hand() -> None:
    """100 rpm x 0.01 m3 x 60 = 60 m3/h displaced; slip 0.05 m3/h per kPa x 200 kPa = 10: 50 expected.

    High limit: 60/50 = +20 % and 5 of margin; low: a slip of 100 is more than all, -100 % and the margin. A flow of 65 cannot be.
    """
    reference = PumpReference(displacement_m3_rev=0.01, slip_form="linear", slip_k0=0.05)
    facts = days(5, pumped_m3=65.0 * 400 / 60, revolutions=100.0 * 400, duty_rise_mean_kpa=200.0)
    said = witnesses.displacement([(d, reference) for d in facts], 0.0)
    assert said is not None
    assert (said.deviation_pct, said.low_pct, said.high_pct) == pytest.approx((30.0, -105.0, 25.0))
    assert said.disagrees


def test_flow_from_the_pump_curve_by_hand() -> None:
    """H = 40 - 0.002 Q2 at 1,000 rpm. At 1,100 rpm shut-off is 48.4 m; at 32.2 m Q = root (16.2 / 0.002) = 90 m3/h."""
    r = PumpReference(reference_speed_rpm=1000.0, head_c0_m=40.0, head_c1=0.0, head_c2=-0.002)
    assert witnesses.curve_flow_m3_h(r, 1100.0, 32.2) == pytest.approx(90.0)
    assert witnesses.curve_flow_m3_h(r, 1100.0, 0.91 * 48.4) is None  # within a tenth of shut-off: too flat
    kpa = 32.2 * witnesses.KPA_PER_M_WATER
    facts = days(5, duty_flow_m3_h=90.0 * 1.25, duty_speed_rpm=1100.0, duty_rise_kpa=kpa)
    said = witnesses.pump_curve([(d, r) for d in facts], 0.0, 1.0)
    assert said is not None
    assert said.deviation_pct == pytest.approx(25.0)


@pytest.mark.parametrize(("closure", "doubts"), [(0.90, False), (0.89, True), (1.10, False), (1.11, True)])
def test_solids_balance_at_its_limits(closure: float, doubts: bool) -> None:
    said = witnesses.solids_balance(closure, 0.9, 1.1, "")
    assert said is not None
    assert said.disagrees is doubts
    assert (said.deviation_pct > 0) is (closure < 1)  # more fed than came out: the feed reads high


def test_inventory_is_coarse_over_a_week_and_finer_over_three() -> None:
    week, month = witnesses.inventory(1200.0, 1000.0, 7), witnesses.inventory(1200.0, 1000.0, 28)
    assert week is not None
    assert month is not None
    assert (week.disagrees, month.disagrees) == (False, True)
    assert witnesses.inventory(1200.0, 1000.0, 5) is None
    assert witnesses.inventory(1200.0, -10.0, 28) is None  # more in stock than was delivered


def witness(name: str, deviation: float, *, own: bool) -> Statement:
    return Statement(name, deviation, -10.0, 10.0, own, "says so")


def test_an_own_witness_makes_a_doubt_and_a_vouched_meter_is_not_doubted_by_a_balance() -> None:
    pump, balance = witness("flow per revolution", 25.0, own=True), witness("solids balance", 16.0, own=False)
    doubted = judged(LINE, "sludge_flow", MONDAY, [pump, balance], spoken_for_by=("flow per revolution",))
    assert (doubted.verdict, doubted.deviation_pct) == ("doubted", 25.0)
    assert doubted.reason == "flow per revolution: says so; solids balance: says so"
    fine = witness("pump curve", 1.0, own=True)
    vouched = judged(LINE, "sludge_flow", MONDAY, [fine, balance], spoken_for_by=("pump curve",))
    wide = Statement("pump curve", -11.0, -80.0, 15.0, True, "says so")  # agrees within its limits, but not closely
    assert judged(LINE, "sludge_flow", MONDAY, [wide, balance], spoken_for_by=("pump curve",)).verdict == "doubted"
    assert (vouched.verdict, vouched.deviation_pct, vouched.reason) == ("agrees", 1.0, None)
    register = witness("register", 1.0, own=True)  # of the same transmitter: it vouches for nothing
    assert judged(LINE, "sludge_flow", MONDAY, [register, balance], spoken_for_by=("flow per revolution",)).verdict == "doubted"


def test_a_meter_without_witness_is_not_testable() -> None:
    none = judged(LINE, "polymer_neat_flow", MONDAY, [None, None])
    row = none.row("p", "v")
    assert (row["verdict"], row["witnesses"], row["deviation_pct"], row["reason"]) == ("not testable", 0, None, None)
