"""The checks of verify-plant: a sound week is in doubt nowhere; one wrong role, unit, zone or sign planted each is seen, and named."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from pipelines.verify.checks import AGREES, DOUBT, Finding, LineData, findings
from tests.plants import EMULSION, FLOW, plant_file

START = datetime(2026, 2, 2, tzinfo=UTC)
DAYS = 7
FEED, TS, CAKE, CAPTURE = 24.0, 2.5, 22.0, 0.95
NEAT_M3_H = FEED * TS / 100 * 8 / 1030 / 0.4  # 8 kg active a dry ton of a product with 1030 kg/m3 and 40 % active
LINE = {"device": "centrifuge", "pump": {"id": "P-1", "kind": "displacement"}, "feed_cutoff": "2 m3/h", "reference_flow": "25 m3/h"}
PLANT = plant_file(FLOW, line=LINE, blocks={"polymers": [EMULSION | {"density": "1.03 kg/L"}]}, time_zone="UTC")


def minutes(**changes: Callable[[pl.Expr], pl.Expr]) -> pl.DataFrame:
    """A week: 08:00 to 16:00 fed, everything else at rest; `changes` replace a column by a function of it."""
    frame = pl.DataFrame({"minute_utc": [START + timedelta(minutes=m) for m in range(DAYS * 1440)]})
    on = pl.col("minute_utc").dt.hour().is_between(8, 15)
    frame = frame.with_columns(
        sludge_flow_m3_h=pl.when(on).then(FEED).otherwise(0.0),
        polymer_neat_flow_m3_h=pl.when(on).then(NEAT_M3_H).otherwise(0.0),
        sludge_total_m3=pl.when(on).then(FEED / 60).otherwise(0.0),
        pump_speed_rpm=pl.when(on).then(240.0).otherwise(0.0),
        pump_run_share=on.cast(pl.Float64),
        device_run_share=on.cast(pl.Float64),
        pump_suction_pressure_kpa=pl.when(on).then(20.0).otherwise(30.0),
        pump_discharge_pressure_kpa=pl.when(on).then(250.0).otherwise(40.0),
        mixing_upstream_pressure_kpa=pl.when(on).then(220.0).otherwise(40.0),
        mixing_downstream_pressure_kpa=pl.when(on).then(150.0).otherwise(40.0),
    )
    return frame.with_columns(change(pl.col(name)).alias(name) for name, change in changes.items())


def results(*, shift_h: float = 0.0, factor: dict[tuple[str, str], float] | None = None) -> pl.DataFrame:
    solids_t = FEED * 8 * TS / 100
    daily = [
        ("feed", "ts", TS), ("cake", "ts", CAKE), ("cake haul", "wet_mass", solids_t * CAPTURE / (CAKE / 100)),
        ("polymer store", "delivered_mass", NEAT_M3_H * 8 * 1030),
    ]  # fmt: skip
    rows = []
    for day in range(DAYS):
        at = START + timedelta(days=day, hours=10 + shift_h)
        rows += [(p, a, v * (factor or {}).get((p, a), 1.0), at, at, 0.0) for p, a, v in daily]
    return pl.DataFrame(rows, schema=["point", "analyte", "value", "from_utc", "to_utc", "half_width_h"], orient="row")


def judged(frame: pl.DataFrame | None = None, lab: pl.DataFrame | None = None, own: dict[str, float] | None = None) -> dict[str, Finding]:
    data = LineData(PLANT.lines[0], minutes() if frame is None else frame, results() if lab is None else lab, DAYS)
    return {f.check: f for f in findings(data, PLANT, own or {})}


def test_a_sound_week_is_in_doubt_nowhere_and_its_figures_are_those_it_was_made_of() -> None:
    found = judged()
    assert [f.check for f in found.values() if f.verdict == DOUBT] == []
    assert found["feed volume"].found == pytest.approx(FEED * 8)
    assert found["neat polymer"].found == pytest.approx(NEAT_M3_H * 8 * 1000)
    assert found["active polymer / dry solids"].found == pytest.approx(8.0)
    assert found["solids hauled / fed"].found == pytest.approx(CAPTURE)
    assert found["polymer used / delivered"].found == pytest.approx(1.0)
    assert found["flow a revolution"].found == pytest.approx(FEED * 1000 / 60 / 240)
    assert found["hours fed by flow"].found == pytest.approx(8.0)
    assert found["pump discharge pressure over suction"].found == pytest.approx(230.0)


GPM_AS_M3_H = 4.402867  # 1 m3/h is so many gallons (US) a minute: NIST Handbook 44, 231 cubic inches a gallon
PLANTED: dict[str, tuple[pl.DataFrame, pl.DataFrame, set[str]]] = {
    "unit of the feed meter": (
        minutes(sludge_flow_m3_h=lambda c: c * GPM_AS_M3_H), results(),
        {"running flow / reference flow", "feed meter / register", "solids hauled / fed"},
    ),
    "unit of the polymer meter": (minutes(polymer_neat_flow_m3_h=lambda c: c * 60), results(), {"active polymer / dry solids", "polymer used / delivered"}),
    "unit of a pressure": (minutes(pump_discharge_pressure_kpa=lambda c: c / 100), results(), {"pump discharge pressure", "pump discharge pressure over suction"}),
    "unit of feed TS": (minutes(), results(factor={("feed", "ts"): 10}), {"feed TS", "active polymer / dry solids", "solids hauled / fed"}),
    "tickets in pounds as tons": (minutes(), results(factor={("cake haul", "wet_mass"): 2204.6}), {"solids hauled / fed"}),
    "sign of the feed meter": (minutes(sludge_flow_m3_h=lambda c: -c), results(), {"minutes of negative feed"}),
    "on and off exchanged": (minutes(pump_run_share=lambda c: 1 - c), results(), {"hours by pump run"}),
    "another machine's state": (minutes(device_run_share=lambda c: c.shift(480, fill_value=0.0)), results(), {"hours by device run"}),
    "gauges exchanged": (
        minutes(mixing_upstream_pressure_kpa=lambda _: pl.col("mixing_downstream_pressure_kpa"), mixing_downstream_pressure_kpa=lambda _: pl.col("mixing_upstream_pressure_kpa")),
        results(), {"mixing upstream pressure over downstream"},
    ),
    "speed of another pump": (
        minutes(pump_speed_rpm=lambda c: c * (0.2 + (pl.col("minute_utc").dt.minute() % 10) / 5)), results(), {"spread of flow a revolution"},
    ),
    "zone of the lab sheet": (minutes(), results(shift_h=9), {"samples while not fed"}),
    "zone of the export": (
        minutes(**{c: (lambda e: e.shift(-540, fill_value=0.0)) for c in ("sludge_flow_m3_h", "pump_run_share", "device_run_share")}),
        results(), {"samples while not fed"},
    ),
    "feed and cake exchanged": (minutes(), results(factor={("feed", "ts"): CAKE / TS, ("cake", "ts"): TS / CAKE}), {"feed TS", "cake TS"}),
}  # fmt: skip


@pytest.mark.parametrize("wrong", sorted(PLANTED))
def test_one_wrong_declaration_is_seen_and_the_cause_is_named(wrong: str) -> None:
    frame, lab, expected = PLANTED[wrong]
    doubted = {f.check: f for f in judged(frame, lab).values() if f.verdict == DOUBT}
    assert expected <= set(doubted)
    assert all(f.hint for f in doubted.values())


def test_the_plants_own_figure_stands_beside_and_decides() -> None:
    near, far = judged(own={"feed volume": FEED * 8 * 1.05})["feed volume"], judged(own={"feed volume": FEED * 8 * 1.2})["feed volume"]
    assert (near.verdict, near.own) == (AGREES, pytest.approx(FEED * 8 * 1.05))
    assert far.verdict == DOUBT
    assert "0.833 of it" in far.hint
