"""Words and rounding of the weekly page, at their edges."""

from __future__ import annotations

import pytest

from pipelines.report import words
from pipelines.report.words import Limits, Printed

SETTINGS = {"reference_flow_m3_h": 400 * 0.2271247, "currency": "USD"}
DOSE = words.six("US", SETTINGS)[0]
CAKE = words.six("US", SETTINGS)[1]


@pytest.mark.parametrize(
    "value, text",
    [(14.64, "14.6"), (14.65001, "14.7"), (7.3, "7.30"), (9.996, "10.0"), (99.96, "100"), (152.4, "152"), (1523.0, "1,520"), (0.0, "0"), (0.0734, "0.0734")],
)  # fmt: skip
def test_three_digits(value: float, text: str) -> None:
    assert words.three_digits(value) == text


@pytest.mark.parametrize("value, text", [(412.0, "410"), (9.36, "9.4"), (9.96, "10"), (1949.0, "1,900"), (1951.0, "2,000"), (0.84, "0.84")])
def test_money_has_two_digits(value: float, text: str) -> None:
    assert words.two_digits(value) == text


@pytest.mark.parametrize("value, text", [(88.4, "88"), (9.94, "9.9"), (9.96, "10"), (1234.0, "1,234")])
def test_tons(value: float, text: str) -> None:
    assert words.tons(value) == text


@pytest.mark.parametrize(
    "value, text", [(22.0, "22"), (21.5, "21.5"), (96.5, "96.5"), (400.0000001, "400"), (1250.0, "1,250"), (100.0, "100")]
)
def test_limits_are_printed_as_they_were_meant(value: float, text: str) -> None:
    assert words.limit(value) == text


@pytest.mark.parametrize(
    "dose_kg_t, expected",
    [
        (11.0, "in target"),  # 22.0 lb/dt, at most 22
        (11.024, "in target"),  # 22.048 reads 22.0
        (11.026, "outside target"),  # 22.052 reads 22.1
    ],
)
def test_target_judges_what_is_printed(dose_kg_t: float, expected: str) -> None:
    assert words.against_target(DOSE, dose_kg_t, Limits(at_most=11.0)) == expected


def test_lower_target_is_met_at_its_edge() -> None:
    limits = Limits(at_least=21.5)
    assert words.against_target(CAKE, 21.46, limits) == "in target"  # reads 21.5
    assert words.against_target(CAKE, 21.44, limits) == "outside target"  # reads 21.4


def test_two_sided_target() -> None:
    limits = Limits(at_least=21.0, at_most=23.0)
    assert [words.against_target(CAKE, v, limits) for v in (20.9, 21.0, 23.0, 23.1)] == [
        "outside target",
        "in target",
        "in target",
        "outside target",
    ]
    assert words.target_text(CAKE, limits) == "21 to 23"


@pytest.mark.parametrize(
    "value, expected",
    [(20.94, "unusually low"), (20.96, "within usual range"), (23.04, "within usual range"), (23.06, "unusually high"), (None, None)],
)
def test_usual_range_includes_its_ends(value: float | None, expected: str | None) -> None:
    assert words.against_usual(CAKE, value, Limits(usual=(21.0, 23.0))) == expected


def test_judged() -> None:
    assert words.judged(CAKE, None, Limits(at_least=21.5)) == ("not enough data to say",)
    assert words.judged(CAKE, 22.0, Limits()) == ("no target set",)
    assert words.judged(CAKE, 22.0, Limits(at_least=21.5, usual=(21.0, 21.9))) == ("in target", "unusually high")
    assert words.against_target(CAKE, 22.0, Limits(usual=(21.0, 23.0))) is None


@pytest.mark.parametrize(
    "this, last, expected",
    [
        (10.0, 10.0, "unchanged from last week"),
        (10.099, 10.0, "unchanged from last week"),
        (10.101, 10.0, "1 % above last week"),
        (9.8, 10.0, "2 % below last week"),
        (15.0, 10.0, "50 % above last week"),
        (1.0, 0.0, "not comparable with last week"),
    ],
)
def test_change(this: float, last: float, expected: str) -> None:
    assert words.change(this, last) == expected


def test_units_in_both_systems_agree() -> None:
    """1 kg/t = 2 lb per short ton; 1 short ton = 907.18474 kg; 1 psi = 6.894757 kPa (NIST SP 811, from memory)."""
    us, si = words.six("US", SETTINGS), words.six("SI", SETTINGS)
    assert [p.kpi for p in us] == [p.kpi for p in si]
    assert us[0].factor == 2.0
    assert us[3].factor == pytest.approx(0.90718474)
    assert us[4].factor == pytest.approx(1 / 0.90718474)
    assert us[5].factor == pytest.approx(1 / 6.894757, rel=1e-6)
    assert all(p.factor == 1.0 for p in si)
    assert us[5].label == "Mixing pressure drop at 400 gpm"
    assert all("active" in p[0].unit and "dry" in p[0].unit and "dry" in p[3].unit and "dry" in p[4].unit for p in (us, si))


def test_printed_and_counted() -> None:
    printed = Printed("x", "X", "m", 2.0, words.one_decimal)
    assert printed.text(None) is None
    assert printed.limit(None) is None
    assert printed.text(1.25) == "2.5"
    assert words.as_printed("1,520") == 1520.0
    assert [words.counted(n, "day") for n in (0, 1, 2)] == ["0 days", "1 day", "2 days"]


@pytest.mark.parametrize(
    "shown, u, text",
    [("8.29", 0.972, "± 0.97"), ("26.9", 2.0, "± 2.0"), ("430", 20.3, "± 20"), ("93", 0.24, "± 0.2"), ("1,520", 41.0, "± 41")],
)
def test_plus_minus_has_the_decimals_of_its_number(shown: str, u: float, text: str) -> None:
    assert words.plus_minus(shown, u) == text
