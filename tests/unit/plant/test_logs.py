"""Service log, commissioning references and dose ladders of the plant file: curves by hand, dates, and what is refused."""

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipelines.base import resources
from pipelines.base.errors import PlantFileError
from pipelines.compute import log_settings
from pipelines.plant import loader
from pipelines.plant.logs import Baseline, Ladder, Service, quadratic
from pipelines.plant.model import PlantFile

PLANTS = resources.folder("sample_data") / "plants"
CURVE = {"pump": "P-1", "at": date(2026, 1, 5), "reference_speed": "1180 rpm", "flow_unit": "gpm", "head_unit": "ft"}


def test_a_quadratic_through_its_own_points_comes_back() -> None:
    found = quadratic([(x, 3.0 - 2.0 * x + 0.5 * x * x) for x in (0.0, 1.0, 2.0, 5.0, 9.0)])
    assert found == pytest.approx((3.0, -2.0, 0.5), rel=1e-12)


def test_a_quadratic_by_least_squares_is_numpys() -> None:
    np = pytest.importorskip("numpy")
    x = [0.0, 100.0, 180.0, 300.0, 420.0, 600.0]
    y = [120.3, 118.0, 115.2, 105.1, 92.3, 61.8]
    assert quadratic(list(zip(x, y, strict=True))) == pytest.approx(np.polynomial.polynomial.polyfit(x, y, 2), rel=1e-9)


def test_points_and_coefficients_give_the_same_curve_in_si() -> None:
    """H = 120 - 1.6e-4 Q2 in ft and gpm. At 400 gpm = 90.850 m3/h it is 94.4 ft = 28.773 m (1 ft = 0.3048 m)."""
    points = Baseline(**CURVE, curve=[[0, 120], [200, 113.6], [400, 94.4], [600, 62.4]])  # type: ignore[arg-type]
    given = Baseline(**CURVE, coefficients=[120, 0, -1.6e-4])  # type: ignore[arg-type]
    for b in (points, given):
        c0, c1, c2 = b.head_coefficients()
        assert c0 + c1 * 90.849_882_8 + c2 * 90.849_882_8**2 == pytest.approx(94.4 * 0.3048, rel=1e-6)
    assert points.curve_span_m3_h() == pytest.approx((0.0, 600 * 0.227124707), rel=1e-6)
    assert points.curve_rms_m() == pytest.approx(0.0, abs=1e-9)
    assert (given.curve_span_m3_h(), given.curve_rms_m()) == ((None, None), None)


@pytest.mark.parametrize("form, k0", [("linear", 18.0 / 30.0), ("sqrt", 18.0 / 30.0**0.5)])
def test_slip_through_one_point(form: str, k0: float) -> None:
    """18 gpm at 30 psi; in SI 0.227124707 m3/h a gpm and 6.894757293 kPa a psi."""
    b = Baseline(
        pump="P-1", at=date(2026, 1, 5), displacement="1.6 gal", flow_unit="gpm", pressure_unit="psi", slip_form=form, slip=[[30, 18]]
    )  # type: ignore[arg-type]
    per_psi = 6.894757293 if form == "linear" else 6.894757293**0.5
    assert b.slip_k0() == pytest.approx(k0 * 0.227124707 / per_psi, rel=1e-8)
    assert b.displacement == pytest.approx(1.6 * 0.003785411784)


def test_slip_by_least_squares_through_the_origin() -> None:
    """Points (1, 2) and (2, 5): k = (1 x 2 + 2 x 5)/(1 + 4) = 2.4."""
    b = Baseline(pump="P", at=date(2026, 1, 5), displacement="1 L", flow_unit="m3/h", pressure_unit="kPa", slip=[[1, 2], [2, 5]])  # type: ignore[arg-type]
    assert b.slip_k0() == pytest.approx(2.4)


@pytest.mark.parametrize(
    "wrong, told",
    [
        ({"curve": [[0, 120], [0, 119], [400, 94]]}, "at least 3 points"),
        ({"curve": [[0, 1], [1, 2], [2, 3]], "coefficients": [1, 2, 3]}, "give the pump curve once"),
        ({}, "give the pump curve once"),
        ({"curve": [[0, 1], [1, 2], [2, 3]], "displacement": "1 L"}, "write either"),
        ({"curve": [[0, 1], [1, 2], [2, 3]], "flow_unit": "ft"}, "a unit of length, here a flow"),
        ({"curve": [[0, 1], [1, 2], [2, 3]], "head_unit": "furlong"}, "head_unit must be a unit of length"),
        ({"curve": [[0, 1], [1, 2], [2, 3]], "ts_window": [2.7, 2.1]}, "low < high"),
    ],
)
def test_a_reference_that_cannot_be_one_is_refused(wrong: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        Baseline(**{**CURVE, **wrong})  # type: ignore[arg-type]


@pytest.mark.parametrize("slip", [[], [[0, 18]], [[30, -1]]])
def test_slip_needs_points_above_zero(slip: list[list[float]]) -> None:
    with pytest.raises(ValidationError, match="slip needs at least one"):
        Baseline(pump="P", at=date(2026, 1, 5), displacement="1 L", flow_unit="gpm", pressure_unit="psi", slip=slip)  # type: ignore[arg-type]


def test_a_step_of_a_day_is_allowed_and_a_longer_one_is_not() -> None:
    day = [date(2026, 1, 5), date(2026, 1, 6)]
    assert Ladder(line="l", name="a", steps=tuple(day), until=date(2026, 1, 7)).washout == 0.5
    with pytest.raises(ValidationError, match="24 h at most"):
        Ladder(line="l", name="a", steps=tuple(day), until=date(2026, 1, 8))
    with pytest.raises(ValidationError, match="follow each other"):
        Ladder(line="l", name="a", steps=tuple(reversed(day)), until=date(2026, 1, 7))
    with pytest.raises(ValidationError, match="all as dates with a time"):
        Ladder(line="l", name="a", steps=tuple(day), until=datetime(2026, 1, 6, 12))  # noqa: DTZ001 - plant time


@pytest.fixture(scope="module")
def alder() -> PlantFile:
    return loader.load(PLANTS / "alder-fork.toml")


def test_references_cover_all_time_and_end_with_new_parts(alder: PlantFile) -> None:
    """The new pump of 3 March has its test on that day; a rotor on 6 April has none, and what is due says so."""
    worn = Service(pump="P-111", at=date(2026, 4, 6), kind="impeller")
    spans = log_settings.rows("alder-fork", alder.model_copy(update={"service": (*alder.service, worn)}))["pump_baselines"]
    mine = [s for s in spans if s["pump"] == "P-111"]
    assert [(s["from_utc"].date(), s["no_reference"]) for s in mine[1:]] == [
        (date(2026, 3, 3), None), (date(2026, 4, 6), "impeller of 2026-04-06: no commissioning reference since"),
    ]  # fmt: skip
    assert mine[0]["no_reference"] == "before the commissioning test of 2026-03-03"
    assert all(a["to_utc"] == b["from_utc"] for a, b in pairwise(mine))
    assert mine[1]["from_utc"] == datetime(2026, 3, 3, 11, tzinfo=UTC)  # the operating day begins at 06:00 in the plant's winter


def test_service_resets_what_it_should(alder: PlantFile) -> None:
    kinds = {s["kind"]: (s["resets_overhaul"], s["ends_reference"]) for s in log_settings.rows("alder-fork", alder)["service_log"]}
    assert kinds == {"overhaul": (True, False), "service": (False, False), "new pump": (True, True)}


def test_a_pump_without_a_test_says_so(alder: PlantFile) -> None:
    spans = log_settings.rows("alder-fork", alder.model_copy(update={"baselines": ()}))["pump_baselines"]
    assert {s["no_reference"] for s in spans if s["pump"] == "P-210"} == {"no commissioning reference in the plant file"}


@pytest.mark.parametrize(
    "was, becomes, told",
    [
        ('pump = "P-210"\nat = 2026-02-09', 'pump = "P-21O"\nat = 2026-02-09', "no pump 'P-21O'"),
        ('kind = "overhaul"', 'kind = "overhual"', "overhaul"),
        ('id = "P-210"\nkind = "rotodynamic"', 'id = "P-210"\nkind = "displacement"', "is a displacement pump"),
        ('id = "P-210"', 'id = "P-110"', "same id"),
    ],
)
def test_a_log_that_does_not_fit_the_pumps_is_refused(tmp_path: Path, was: str, becomes: str, told: str) -> None:
    text = (PLANTS / "alder-fork.toml").read_text(encoding="utf-8")
    assert was in text
    path = tmp_path / "alder-fork.toml"
    path.write_text(text.replace(was, becomes, 1), encoding="utf-8")
    with pytest.raises(PlantFileError, match=told):
        loader.load(path)


def test_the_steps_of_a_ladder_may_stand_apart_each_with_its_own_end() -> None:
    """A trial in pairs of days: the days of one arrangement alone, with the other's between them."""
    apart = Ladder(line="l", name="a", steps=(date(2026, 2, 16), date(2026, 2, 20)), ends=(date(2026, 2, 17), date(2026, 2, 21)))
    assert apart.spans == ((date(2026, 2, 16), date(2026, 2, 17)), (date(2026, 2, 20), date(2026, 2, 21)))
    for wrong, told in (
        ({}, "until: give"),
        ({"until": date(2026, 2, 21), "ends": apart.ends}, "until: give"),
        ({"ends": apart.ends[:1]}, "one end a step"),
        ({"ends": (date(2026, 2, 17), date(2026, 2, 22))}, "24 h at most"),
    ):
        with pytest.raises(ValidationError, match=told):
            Ladder(line="l", name="a", steps=apart.steps, **wrong)  # type: ignore[arg-type]
    hours = [datetime(2026, 2, 16, h, tzinfo=UTC) for h in (0, 6, 8, 12)]
    with pytest.raises(ValidationError, match="begins before"):
        Ladder(line="l", name="a", steps=tuple(hours[:2]), ends=tuple(hours[2:]))
