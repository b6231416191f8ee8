"""What saved questions answer, on small published files with figures worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import ask as asking
from pipelines.ask import questions, sandbox
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.store import connect
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES
from schemas.model import TYPES

SAVED = questions.saved()
LINE = {"plant": "p", "line": "line-1"}
MONDAY = date(2026, 1, 5)
Rows = list[dict[str, Any]]
Ask = Callable[..., pl.DataFrame]


def publish(path: Path, rows: dict[str, Rows]) -> None:
    """Write a published file with the rows given by table; columns not given are null."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    con = connect(path)
    for table in TABLES.values():
        if table.published and table.view is None:
            con.execute(f"CREATE TABLE {table.name} ({', '.join(f'{c.name} {TYPES[c.type][0]}' for c in table.columns)})")
    create_macros_and_views(con)
    for name, content in rows.items():
        con.register("incoming", pl.DataFrame(content, infer_schema_length=None))
        con.execute(f"INSERT INTO {name} BY NAME FROM incoming")
        con.unregister("incoming")
    con.close()


@pytest.fixture
def ask(tmp_path: Path) -> Ask:
    """Answers a saved question on a published file with these rows."""

    def asked(name: str, given: dict[str, str] | None = None, **rows: Rows) -> pl.DataFrame:
        path = tmp_path / "published.duckdb"
        publish(path, rows)
        return sandbox.run(path, SAVED[name].sql, SAVED[name].bind(given or {}))

    return asked


def week(start: date = MONDAY, **figures: Any) -> dict[str, Any]:
    return {**LINE, "week_start_day": start, **figures}


def minutes(day: date, count: int, **figures: Any) -> Rows:
    """So many processing minutes from noon of the day; roles that are given are covered."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    covered = {f"{role}_coverage": 1.0 for role in ("sludge_flow", "pump_power", "device_power", "mixing_upstream_pressure", "mixing_downstream_pressure")
               if any(name.startswith(role) for name in figures)}  # fmt: skip
    own = {**LINE, "operating_day": day, "state": "processing", **covered, **figures}
    return [{**own, "minute_utc": noon + timedelta(minutes=k)} for k in range(count)]


def test_energy_by_week_is_that_of_kpi_week_parted_by_drive(ask: Ask) -> None:
    """Two thirds of 60 kWh on 6 t are the device's, however many processing minutes had no dose."""
    rows = minutes(MONDAY, 600, pump_power_kw=5.0, device_power_kw=10.0)
    (found,) = ask("energy_by_week", kpi_week=[week(energy_kwh=60.0, energy_solids_t=6.0, energy_kwh_t=10.0)], minutes=rows).to_dicts()
    assert found["energy_kwh_t"] == 10.0
    assert (found["pump_kwh"], found["device_kwh"]) == pytest.approx((20.0, 40.0))
    assert (found["pump_kwh_t"], found["device_kwh_t"]) == pytest.approx((10 / 3, 20 / 3))


def test_mixing_pressure_counts_gauge_heights_coverage_and_few_days(ask: Ask) -> None:
    """Days of 30 and 32 kPa drop above 9.80665 kPa of water column: mean 31 - 9.80665, half of the interval 12.706 times the root of 2 / 2."""
    settings = [{**LINE, "reference_flow_m3_h": 90.0, "sludge_sg": 1.0, "mixing_elevation_m": 1.0}]
    days = [MONDAY, MONDAY + timedelta(1)]
    rows = [m for day, up in zip(days, (30.0, 32.0), strict=True) for m in
            minutes(day, 10, sludge_flow_m3_h=90.0, mixing_upstream_pressure_kpa=up, mixing_downstream_pressure_kpa=0.0)]  # fmt: skip
    gone = minutes(MONDAY + timedelta(2), 10, sludge_flow_m3_h=90.0, mixing_upstream_pressure_kpa=99.0, mixing_downstream_pressure_kpa=0.0)
    rows += [{**m, "mixing_upstream_pressure_coverage": 0.1} for m in gone]
    (found,) = ask("mixing_pressure_by_week", {"plant": "p"}, line_settings=settings, minutes=rows, kpi_week=[week()]).to_dicts()
    psi = 6.894757293168361
    assert found["days"] == 2
    assert found["mixing_dp_psi"] == pytest.approx((31.0 - 9.80665) / psi, rel=1e-4)
    assert found["day_scatter_half_psi"] == pytest.approx(12.706204736 / psi, rel=1e-6)


def test_a_week_is_the_reporting_week_of_the_plant(ask: Ask) -> None:
    """A plant whose week begins on Sunday has the Sunday in the week it begins."""
    sunday = date(2026, 1, 4)
    rows = minutes(sunday, 10, pump_power_kw=5.0, device_power_kw=10.0)
    found = ask("energy_by_week", kpi_week=[week(sunday, energy_kwh=1.0, energy_solids_t=1.0, energy_kwh_t=1.0)], minutes=rows)
    assert found["week_start_day"].to_list() == [sunday]


@pytest.mark.parametrize("u, told", [(0.19, 1.0), (0.21, None)])
def test_a_slip_that_the_meters_leave_open_is_not_told(ask: Ask, u: float, told: float | None) -> None:
    rows = {
        "kpi_week": [week(period_start_utc=datetime(2026, 1, 5, tzinfo=UTC), period_end_utc=datetime(2026, 1, 12, tzinfo=UTC))],
        "pump_spans": [
            {
                **LINE,
                "pump": "P-1",
                "pump_kind": "displacement",
                "from_utc": datetime(1900, 1, 1, tzinfo=UTC),
                "to_utc": datetime(9999, 1, 1, tzinfo=UTC),
            }
        ],
        "pump_weeks": [week(pump="P-1", slip_index=1.0, index_se=0.001, index_u_systematic=u, index_minutes=600)],
    }
    (found,) = ask("slip_at_pressure", **rows).to_dicts()
    assert found["slip_index"] == told
    assert found["index_reason"] == (None if told else "meters leave 21 % of the index open, 20 is the most")


def test_a_curve_without_flow_span_is_refused(ask: Ask) -> None:
    """20 kPa + 0.01 Q2 over 80 to 120 m3/h is told; over 99 to 101 it is refused."""

    def on(flows: list[float]) -> Rows:
        one = [{**m, "sludge_flow_m3_h": q, "pump_discharge_pressure_kpa": 20 + 0.01 * q * q, "sludge_flow_coverage": 1.0, "pump_discharge_pressure_coverage": 1.0}
               for m, q in zip(minutes(MONDAY, len(flows)), flows, strict=True)]  # fmt: skip
        return ask("discharge_pressure_curve", {"plant": "p"}, minutes=one).to_dicts()

    (told,) = on([80.0 + k % 41 for k in range(410)])
    assert (told["p0_kpa"], told["k_kpa_per_m3_h_squared"], told["curve_reason"]) == (pytest.approx(20.0), pytest.approx(0.01), None)
    (refused,) = on([99.0 + k % 3 for k in range(300)])
    assert (refused["p0_kpa"], refused["k_kpa_per_m3_h_squared"]) == (None, None)
    assert refused["curve_reason"] == "flow spans 2 % of its median, 15 needed"


def test_another_product_is_priced_by_its_active_kg(ask: Ask) -> None:
    """4 active kg on 1 t: 10 kg of the old product (0.4 active, 2 a kg), 20 of the new (0.2 active, 1 a kg): 20 either way."""
    far, change = datetime(2100, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC)
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    products = [(begin, change, 0.4, 2.0), (change, far, 0.2, 1.0)]
    rows = {
        "kpi_week": [week()],
        "kpi_day": [{**LINE, "operating_day": MONDAY, "period_start_utc": datetime(2026, 1, 5, tzinfo=UTC), "dry_solids_t": 1.0, "polymer_active_kg": 4.0,
                     "polymer_neat_kg": 10.0, "cost_total_per_t": 20.0}],
        "prices": [{"plant": "p", "from_utc": begin, "to_utc": far}],
        "polymers": [{**LINE, "from_utc": a, "to_utc": b, "active_fraction": f, "price_per_kg_neat": e} for a, b, f, e in products],
    }  # fmt: skip
    for day in ("2026-01-10", "2026-03-01"):
        (found,) = ask("cost_at_prices_of", {"plant": "p", "day": day}, **rows).to_dicts()
        assert found["cost_at_prices_of_day_per_t"] == pytest.approx(20.0)


def days_of_dose(doses: list[float], **figures: Any) -> Rows:
    """One tonne a day from Monday, at these doses."""
    return [{**LINE, "operating_day": MONDAY + timedelta(k), "dose_active_kg_t": d, "polymer_active_kg": d, "dry_solids_t": 1.0, "feed_ts_pct": 2.3, **figures}
            for k, d in enumerate(doses)]  # fmt: skip


def test_bins_of_feed_solids_do_not_reach_over_an_event(ask: Ask) -> None:
    """Ten days of one bin, an event on the sixth: five days each at 10 +- 1 and at 8, not one bin at 9; four more days make no bin."""
    days = days_of_dose([9.0, 11.0, 10.0, 9.0, 11.0, 8.0, 8.0, 8.0, 8.0, 8.0])
    few = [{**d, "operating_day": d["operating_day"] + timedelta(20), "feed_ts_pct": 2.6} for d in days[:4]]
    found = ask(
        "dose_by_feed_ts",
        {"plant": "p"},
        kpi_day=days + few,
        line_events=[{**LINE, "operating_day": MONDAY + timedelta(5), "what": "new mixer"}],
    ).to_dicts()
    assert {(f["days"], f["dose_active_kg_t"]) for f in found} == {(5, 10.0), (5, 8.0)}
    assert {round(f["half_interval_kg_t"], 4) for f in found} == {0.0, round(2.776445105 / 5**0.5, 4)}


def test_crews_are_compared_since_the_last_event_in_cells_of_five_days(ask: Ask) -> None:
    weeks = [MONDAY + timedelta(7 * k) for k in range(7)]
    days = [{**d, "operating_day": day} for d, day in zip(days_of_dose([20.0, 9.0, 11.0, 10.0, 9.0, 11.0, 10.0]), weeks, strict=True)]
    lab = [{**LINE, "operating_day": day, "crew": "A", "time_basis": "day"} for day in weeks]
    event = [{**LINE, "operating_day": weeks[1], "what": "new mixer"}]
    (found,) = ask("dose_by_crew", {"plant": "p"}, kpi_day=days, lab_results=lab, line_events=event).to_dicts()
    assert (found["days"], found["dose_lb_active_per_dry_ton"]) == (6, pytest.approx(20.0))
    assert ask("dose_by_crew", {"plant": "p"}, kpi_day=days[:5], lab_results=lab[:5], line_events=event).height == 0


def test_a_week_is_held_against_weeks_of_its_own_arrangement(ask: Ask) -> None:
    """Mixing pressure 4 and 6 kPa before an event, 20 and 22 after it: each week one off its own mean."""
    weeks = [week(MONDAY + timedelta(7 * k), dose_active_kg_t=10.0, mixing_dp_ref_kpa=p) for k, p in enumerate((4.0, 6.0, 20.0, 22.0))]
    found = ask("weeks_with_highest_dose", kpi_week=weeks, line_events=[{**LINE, "operating_day": MONDAY + timedelta(14), "what": "valve"}])
    assert found["mixing_dp_off_kpa"].abs().to_list() == [1.0] * 4


def home_of(root: Path, plants: list[str]) -> Home:
    """A home whose plants have a day each, the first with one tonne, the second with two."""
    home = Home(root)
    days = [
        {"plant": p, "line": "line-1", "operating_day": MONDAY, "processing_minutes": 1, "dry_solids_t": k + 1.0}
        for k, p in enumerate(plants)
    ]
    publish(home.database, {"line_settings": [{"plant": p, "line": "line-1"} for p in plants], "kpi_day": days})
    return home


@pytest.mark.parametrize("plants, given", [(["north"], {}), (["alder-fork", "north"], {}), (["alder-fork", "north"], {"plant": "north"})])
def test_a_question_about_one_plant_finds_it(tmp_path: Path, plants: list[str], given: dict[str, str]) -> None:
    assert asking.run(home_of(tmp_path, plants), "dose_by_crew", given).height == 0


@pytest.mark.parametrize("name, given", [("behind_a_day", {}), ("dose_by_feed_ts", {}), ("dose_by_day", {"plant": "alder-fork"})])
def test_a_plant_that_is_not_here_is_told(tmp_path: Path, name: str, given: dict[str, str]) -> None:
    with pytest.raises(UsageError, match="no plant alder-fork here; plants are east, north") as told:
        asking.run(home_of(tmp_path, ["north", "east"]), name, given)
    assert told.value.exit_code == ExitCode.PLANT_FILE_OR_USAGE


def test_the_only_plant_stands_for_one_that_is_not_given() -> None:
    assert asking.plant_meant("alder-fork", ["north"], is_given=False) == "north"
    assert asking.plant_meant("alder-fork", ["alder-fork", "north"], is_given=False) == "alder-fork"
    with pytest.raises(UsageError, match="plants are north"):
        asking.plant_meant("alder-fork", ["north"], is_given=True)


def test_dose_by_day_has_both_units(ask: Ask) -> None:
    days = [{**d, "processing_minutes": 1} for d in days_of_dose([10.0])]
    (found,) = ask("dose_by_day", kpi_day=days).to_dicts()
    assert (found["dose_active_kg_t"], found["dose_lb_active_per_dry_ton"]) == (10.0, pytest.approx(20.0))
    assert (found["dry_solids_t"], found["dry_short_tons"]) == (1.0, pytest.approx(1.1023113))


def test_corrected_values_counts_them_by_day_and_correction(ask: Ask) -> None:
    one = {**LINE, "operating_day": MONDAY, "kind": "reading", "role": "sludge_flow", "correction_id": "c1", "source": "register", "action": "scale", "is_applied": True, "who": "A", "reason": "zero"}  # fmt: skip
    rows = [{**one, "raw_value": value} for value in (3.0, 5.0, 4.0)]
    (found,) = ask("corrected_values", corrections_applied=rows).to_dicts()
    assert (found["what"], found["corrected"], found["lowest_raw"], found["highest_raw"]) == ("sludge_flow", 3, 3.0, 5.0)


def test_corrections_register_is_in_the_order_of_the_plant_file(ask: Ask) -> None:
    rows = [
        {"plant": "p", "correction_id": name, "place": place, "state": state}
        for name, place, state in (("b", 2, "contradicted"), ("a", 1, "applied"))
    ]
    assert ask("corrections_register", corrections=rows).select("correction_id", "state").rows() == [
        ("a", "applied"),
        ("b", "contradicted"),
    ]


def test_odd_signals_names_those_with_a_mark_and_no_others(ask: Ask) -> None:
    mark = {
        **LINE,
        "operating_day": MONDAY,
        "frozen_minutes": 0,
        "clipped_minutes": 0,
        "stuck_minutes": 0,
        "is_setpoint_like": False,
        "is_resampled": False,
    }
    odd, plain = {**mark, "role": "sludge_flow", "register_ratio": 1.04}, {**mark, "role": "pump_power", "register_ratio": 1.02}
    found = ask("odd_signals", signal_marks=[odd, {**odd, "operating_day": MONDAY + timedelta(1), "register_ratio": 0.95}, plain])
    assert found.select("role", "days", "register_ratio").rows() == [("sludge_flow", 2, 0.95)]
