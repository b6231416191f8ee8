"""Rounding, units and the words that judge a number of the weekly page, at their edges."""

from __future__ import annotations

from math import sqrt

import pytest

from pipelines.report import language, numbers
from pipelines.report.numbers import Limits
from pipelines.report.weekly import doubt, judge
from pipelines.report.weekly.doubt import Doubt

SETTINGS = {"reference_flow_m3_h": 400 * 0.2271247, "currency": "USD"}
EN, DA = language.of("en"), language.of("da")
DOSE, CAKE = numbers.six("US", SETTINGS, EN)[:2]


@pytest.mark.parametrize(
    "value, text",
    [(14.64, "14.6"), (14.65001, "14.7"), (7.3, "7.30"), (9.996, "10.0"), (99.96, "100"), (152.4, "152"), (1523.0, "1,520"), (0.0, "0"), (0.0734, "0.0734")],
)  # fmt: skip
def test_three_digits(value: float, text: str) -> None:
    assert numbers.three_digits(value) == text


@pytest.mark.parametrize("value, text", [(412.0, "410"), (9.36, "9.4"), (9.96, "10"), (1949.0, "1,900"), (1951.0, "2,000"), (0.84, "0.84")])
def test_money_has_two_digits(value: float, text: str) -> None:
    assert numbers.two_digits(value) == text


@pytest.mark.parametrize("value, text", [(88.4, "88"), (9.94, "9.9"), (9.96, "10"), (1234.0, "1,234")])
def test_tons(value: float, text: str) -> None:
    assert numbers.tons(value) == text


@pytest.mark.parametrize(
    "value, text", [(22.0, "22"), (21.5, "21.5"), (96.5, "96.5"), (400.0000001, "400"), (1250.0, "1,250"), (100.0, "100")]
)
def test_limits_are_printed_as_they_were_meant(value: float, text: str) -> None:
    assert numbers.limit(value) == text


@pytest.mark.parametrize(
    "shown, width, text", [("8.29", 0.972, "0.97"), ("26.9", 2.0, "2.0"), ("430", 20.3, "20"), ("93", 0.24, "0.2"), ("1,520", 41.0, "41")]
)
def test_plus_minus_has_the_decimals_of_its_number(shown: str, width: float, text: str) -> None:
    assert numbers.plus_minus(shown, width) == text


def test_units_in_both_systems_agree() -> None:
    """1 kg/t = 2 lb per short ton; 1 short ton = 907.18474 kg; 1 psi = 6.894757 kPa (NIST SP 811, from memory)."""
    us, si = numbers.six("US", SETTINGS, EN), numbers.six("SI", SETTINGS, EN)
    assert [p.kpi for p in us] == [p.kpi for p in si]
    assert us[0].factor == 2.0
    assert us[3].factor == pytest.approx(0.90718474)
    assert us[4].factor == pytest.approx(1 / 0.90718474)
    assert us[5].factor == pytest.approx(1 / 6.894757, rel=1e-6)
    assert all(p.factor == 1.0 for p in si)
    assert us[5].unit == "psi at 400 gpm"
    assert all("active" in p[0].unit and "dry" in p[0].unit and "dry" in p[3].unit and "dry" in p[4].unit for p in (us, si))
    assert numbers.six("SI", SETTINGS, DA, has_all_solids=True)[4].kpi == "dry_solids_all_t"


@pytest.mark.parametrize(
    "dose_kg_t, width_kg_t, expected",
    [
        (11.0, None, judge.IN),  # 22.0 lb/dt, at most 22, interval not known: judged by itself
        (11.024, None, judge.IN),  # 22.048 reads 22.0
        (11.026, None, judge.OUT),  # 22.052 reads 22.1
        (11.35, 0.95, judge.OPEN),  # 22.7 +- 1.9 against 22: the interval holds 22
        (9.9, 0.95, judge.IN),  # 19.8 + 1.9 = 21.7
        (12.0, 0.95, judge.OUT),  # 24.0 - 1.9 = 22.1
        (10.05, 0.95, judge.IN),  # 20.1 + 1.9 = 22.0: the limit itself is in target
    ],
)
def test_a_target_is_judged_with_the_interval(dose_kg_t: float, width_kg_t: float | None, expected: str) -> None:
    assert judge.target(DOSE, dose_kg_t, width_kg_t, Limits(at_most=11.0)) == expected


def test_two_sided_and_missing_targets() -> None:
    limits = Limits(at_least=21.0, at_most=23.0)
    assert [judge.target(CAKE, v, 0.5, limits) for v in (20.4, 20.6, 21.5, 22.5, 22.6, 23.6)] == ["out", "open", "in", "in", "open", "out"]
    assert judge.target_text(CAKE, limits, EN) == "21 to 23"
    assert judge.target_text(CAKE, Limits(at_least=21.5), DA) == "mindst 21,5"
    assert judge.target(CAKE, 22.0, 0.5, Limits()) is None


def test_baseline_is_the_middle_and_the_range_of_eight_in_ten_days() -> None:
    """Days 1 to 11: median 6; inclusive tenths at 1 + 10 x 0.1 = 2 and 1 + 10 x 0.9 = 10; sd sqrt(11), noise sqrt(11) / sqrt(11) = 1."""
    found = judge.baseline([float(k) for k in range(1, 12)] + [None])
    assert found is not None
    assert (found.middle, found.low, found.high, found.days) == (6.0, 2.0, 10.0, 11)
    assert found.noise == pytest.approx(1.0)
    assert judge.baseline([1.0, 2.0, 3.0, 4.0, None]) is None


def test_a_change_is_told_only_beyond_the_noise_of_both() -> None:
    base = judge.Baseline(10.0, 8.0, 12.0, 0.3, 20)
    # noise 0.4 and 0.3: 2 x 0.5 = 1.0 must be exceeded
    assert judge.change_pct(9.0, 0.4, base) is None
    assert judge.change_pct(8.9, 0.4, base) == pytest.approx(-11.0)
    assert judge.change_pct(8.9, None, base) is None
    assert judge.change_pct(10.05, 0.0, judge.Baseline(10.0, 9.0, 11.0, 0.0, 9)) is None  # half a percent is none whatever the noise


def test_noise_of_a_week_is_the_larger_of_random_parts_and_scatter() -> None:
    assert judge.week_noise(None, [7.0, 8.0, 9.0, None]) == pytest.approx(1.0 / sqrt(3))
    assert judge.week_noise(0.7, [7.0, 8.0, 9.0]) == 0.7
    assert judge.week_noise(None, [7.0]) is None


def test_a_doubted_meter_widens_and_from_a_fifth_on_withholds() -> None:
    small, large, unknown = (
        Doubt("sludge_flow", -14.0, "register"),
        Doubt("sludge_flow", 20.0, "register"),
        Doubt("sludge_flow", None, "curve"),
    )
    assert doubt.widened(100.0, 5.0, [small]) == pytest.approx(19.0)  # 5 + 14 % of 100
    assert doubt.widened(100.0, 5.0, []) == 5.0
    assert [doubt.is_withheld([d]) for d in (small, large, unknown)] == [False, True, True]
    assert doubt.touching("cake_ts_pct", [small]) == ()
    assert doubt.touching("dose_active_kg_t", [small]) == (small,)


def test_only_doubted_meters_are_doubts_worst_first() -> None:
    rows = [
        {"role": "a", "verdict": "agrees", "deviation_pct": 1.0, "reason": ""},
        {"role": "b", "verdict": "doubted", "deviation_pct": 9.0, "reason": "x"},
        {"role": "c", "verdict": "doubted", "deviation_pct": -12.0, "reason": "y"},
        {"role": "d", "verdict": "doubted", "deviation_pct": None, "reason": None},
    ]
    assert [d.role for d in doubt.of_line(rows)] == ["d", "c", "b"]


def test_the_published_range_stands_where_there_is_one() -> None:
    usual = {"kpi": "x", "days": 10, "low": 2.5, "middle": 5.5, "high": 9.5}
    found = judge.baseline([float(k) for k in range(1, 12)], usual)
    assert found is not None
    assert (found.middle, found.low, found.high, found.days) == (5.5, 2.5, 9.5, 10)
    assert found.noise == pytest.approx(1.0)
