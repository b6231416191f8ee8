"""Registers that are read hourly or daily: increments reach as far as the signal says, and increments are those of a rebuild."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipelines import align
from pipelines.check import touched
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from schemas import TABLES
from tests.plants import FLOW
from tests.unit.align.stored_readings import T0, UNCERTAIN, minute, plant, put

RECEIVED = datetime(2026, 2, 1, tzinfo=UTC)
REGISTER = {"role": "sludge_total", "tag": "FQ", "unit": "m3", "rollover": 10_000.0, "maximum_rate": "120 m3/h"}
TOTAL = ("sludge_total_m3", "sludge_total_coverage")


@pytest.mark.parametrize(("hold", "known"), [(None, False), ("59 min", False), ("60 min", True), ("24 h", True), ("72 h", True)])
def test_an_hourly_register_is_covered_when_its_hold_limit_says_so(store: Store, hold: str | None, known: bool) -> None:
    # 60 m3 an hour is one cubic metre a minute
    put(store, "FQ", *((60.0 * k, 1000.0 + 60.0 * k) for k in range(6)))
    align.run(store, plant(REGISTER | ({} if hold is None else {"hold_limit": hold})))
    found = store.rows("SELECT sum(sludge_total_m3), sum(sludge_total_coverage) FROM minutes")[0]
    assert found == ((pytest.approx(300.0), 300.0) if known else (None, 0.0))


@pytest.mark.parametrize(("minutes", "known"), [(1440.0, True), (1440.0 + 1e-4, False)])
def test_no_increment_reaches_over_more_than_a_day(store: Store, minutes: float, known: bool) -> None:
    put(store, "FQ", (0.0, 1000.0), (minutes, 1144.0))
    align.run(store, plant(REGISTER | {"hold_limit": "72 h"}))
    assert minute(store, 700, *TOTAL) == ((pytest.approx(0.1), 1.0) if known else (None, 0.0))


def test_a_late_reading_of_a_register_changes_what_lies_a_day_back(tmp_path: Path) -> None:
    """Three nightly files of an hourly register through check and align, the middle one last: the minutes are those of a rebuild."""
    plant_file = plant(REGISTER | {"hold_limit": "24 h"}, FLOW)
    readings = [(30.0 + 60.0 * k, 1000.0 + k * k) for k in range(72)]  # a rate that grows: each increment is its own
    parts = [readings[:24], readings[48:], readings[24:48]]
    hashes = []
    for name, order in (("late", parts), ("at once", [readings])):
        with Store(tmp_path / f"{name}.duckdb", "p") as store:
            for k, part in enumerate(order):
                take(store, plant_file, f"{name} {k}", part)
                align.run(store, plant_file)
            hashes.append(content_hash(store.con, "minutes"))
            total = store.rows("SELECT sum(sludge_total_m3) FROM minutes")[0][0]
            assert total == pytest.approx(71.0 * 71.0)
    assert hashes[0] == hashes[1]


def take(store: Store, plant_file: PlantFile, load_id: str, rows: list[tuple[float, float]]) -> None:
    """Put readings and mark their hours through the function check uses."""
    put(store, "FQ", *rows, mark=False)
    first, last = (T0 + timedelta(minutes=rows[k][0]) for k in (0, -1))
    touched.mark_hours(store, plant_file, first, last)
    blank = {"text": "-", "date": None, "instant": None, "bool": False}
    row = {c.name: None if c.nullable else blank.get(c.type, 0) for c in TABLES["loads"].columns}
    row |= {"plant": "p", "load_id": load_id, "received_utc": RECEIVED, "status": "taken", "first_utc": first, "last_utc": last}
    store.append("loads", pl.DataFrame([row], TABLES["loads"].polars_schema()))


@pytest.mark.parametrize(("after", "known"), [(120.0, True), (120.001, False)])
def test_without_a_largest_rate_the_range_top_of_the_meter_stands_for_it(store: Store, after: float, known: bool) -> None:
    # FT reads to 100 m3/h: up to 1.2 x 100 x 1 h = 120 m3 in the hour after a reset is believable
    register = {k: v for k, v in REGISTER.items() if k not in ("maximum_rate", "rollover")} | {"hold_limit": "60 min"}
    put(store, "FQ", (0.0, 5000.0), (60.0, after))
    align.run(store, plant(register, FLOW))
    assert minute(store, 30, *TOTAL) == ((pytest.approx(after / 60), 1.0) if known else (None, 0.0))


def test_an_increment_is_as_certain_as_the_less_certain_of_its_two_readings(store: Store) -> None:
    put(store, "FQ", (0.0, 100.0), (4.0, 104.0, UNCERTAIN), (8.0, 108.0), (12.0, 112.0))
    align.run(store, plant(REGISTER))
    assert [minute(store, at, *TOTAL, "is_uncertain") for at in (2, 6, 10)] == [(1.0, 1.0, True), (1.0, 1.0, True), (1.0, 1.0, False)]


def test_a_register_alone_gives_no_volume_for_a_fall(store: Store) -> None:
    register = {k: v for k, v in REGISTER.items() if k not in ("maximum_rate", "rollover")}
    put(store, "FQ", (0.0, 5000.0), (10.0, 40.0), (20.0, 50.0))
    align.run(store, plant(register))
    assert minute(store, 5, *TOTAL) == (None, 0.0)
    assert minute(store, 15, *TOTAL) == (1.0, 1.0)


def test_an_energy_register_has_its_largest_rate_in_kilowatts(store: Store) -> None:
    energy = {"role": "energy_total", "tag": "JQ", "unit": "kWh", "maximum_rate": "50 kW"}
    put(store, "JQ", (0.0, 100.0), (6.0, 106.0), (12.0, 112.1))  # 1.2 x 50 kW in a tenth of an hour: 6 kWh, and a little more
    align.run(store, plant(energy))
    assert minute(store, 3, "energy_total_kwh") == (1.0,)
    assert minute(store, 9, "energy_total_kwh") == (None,)


@pytest.mark.parametrize(("rate", "says"), [("50 kW", "power, here a flow"), (50, "unit of flow, such as '600 gpm'")])
def test_a_rate_in_another_dimension_is_refused(rate: str | int, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        plant(REGISTER | {"maximum_rate": rate})
    with pytest.raises(ValueError, match="flow, here a power"):
        plant({"role": "energy_total", "tag": "JQ", "unit": "kWh", "maximum_rate": "50 m3/h"})


@pytest.mark.parametrize("has_meter", [False, True])
def test_the_rate_of_a_register_is_the_flow_only_of_a_line_without_a_flow_meter(store: Store, has_meter: bool) -> None:
    put(store, "FQ", (0.0, 1000.0), (60.0, 1090.0))  # 90 m3 in an hour
    align.run(store, plant(REGISTER | {"hold_limit": "60 min"}, *([FLOW] if has_meter else [])))
    expected = (None, 0.0) if has_meter else (pytest.approx(90.0), 1.0)
    assert minute(store, 30, "sludge_flow_m3_h", "sludge_flow_coverage") == expected


@pytest.mark.parametrize(
    ("at_rest", "value", "known"), [(None, 0.0, False), ("75 min", 0.0, True), ("75 min", 7.5, True), ("75 min", 7.6, False)]
)
def test_a_reading_at_rest_is_held_as_long_as_its_own_limit_says(store: Store, at_rest: str | None, value: float, known: bool) -> None:
    # 5 % of a range of 0 to 150 is 7.5; a running value keeps the 30 minutes of its role
    put(store, "FIT", (0.0, value), (70.0, value))
    flow = FLOW | {"tag": "FIT", "range": [0, 150]} | ({} if at_rest is None else {"hold_limit_at_rest": at_rest})
    align.run(store, plant(flow))
    assert minute(store, 60, "sludge_flow_coverage") == (1.0 if known else 0.0,)


def test_a_flicker_of_the_run_bit_ends_no_run(store: Store) -> None:
    put(store, "YI", (0.0, 1.0), (10.2, 0.0), (10.5, 1.0), (20.0, 0.0))  # off for 18 s
    align.run(store, plant({"role": "pump_run", "tag": "YI", "unit": "state"}))
    assert store.rows("SELECT count(*) FROM minutes WHERE is_pump_running AND minute_utc < $end", {"end": T0 + timedelta(minutes=20)}) == [
        (20,)
    ]


def test_a_drive_logged_in_hz_is_scaled_to_the_pump_speed() -> None:
    speed = {"role": "pump_speed", "tag": "SI", "range": [0, 290]}
    with pytest.raises(ValueError, match="reads = \\[0, <rpm at 50 Hz>\\]"):
        plant(speed | {"unit": "Hz"})
    assert plant(speed | {"unit": "rpm", "scaling": {"raw": [0, 50], "reads": [0, 290]}}).signals[0].unit == "rpm"
