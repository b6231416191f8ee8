"""Public data in the shapes their publishers describe, invented values: blanks and no header, many stations in one file, a lab's results with zones.

The files are written here after the publishers' descriptions (README.md), with counts known by construction; what is read must be each value
at its time, and nothing else.
"""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import inspect, order, receive
from pipelines.base.home import Home
from pipelines.inspect import first_plant
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from tests.plants import FLOW, plant_file

HOURS, SHIFT_H = 8_760, -6  # a year of hours at a station whose standard time is six hours behind UTC, all year
GAP = range(1_000, 1_024)  # hours in which the instrument gave no value
FIELDS = [
    "WBANNO",
    "UTC_DATE",
    "UTC_TIME",
    "LST_DATE",
    "LST_TIME",
    "CRX_VN",
    "LONGITUDE",
    "LATITUDE",
    "T_CALC",
    "T_HR_AVG",
    "T_MAX",
    "T_MIN",
    "P_CALC",
    "SOLARAD",
    "SOLARAD_FLAG",
    "SOLARAD_MAX",
    "SOLARAD_MAX_FLAG",
    "SOLARAD_MIN",
    "SOLARAD_MIN_FLAG",
    "SUR_TEMP_TYPE",
    "SUR_TEMP",
    "SUR_TEMP_FLAG",
    "SUR_TEMP_MAX",
    "SUR_TEMP_MAX_FLAG",
    "SUR_TEMP_MIN",
    "SUR_TEMP_MIN_FLAG",
    "RH_HR_AVG",
    "RH_HR_AVG_FLAG",
    "SOIL_MOISTURE_5",
    "SOIL_MOISTURE_10",
    "SOIL_MOISTURE_20",
    "SOIL_MOISTURE_50",
    "SOIL_MOISTURE_100",
    "SOIL_TEMP_5",
    "SOIL_TEMP_10",
    "SOIL_TEMP_20",
    "SOIL_TEMP_50",
    "SOIL_TEMP_100",
]
HOURLY: dict[str, Any] = {
    "id": "hourly", "kind": "wide", "files": "*.txt", "delimiter": "blanks", "column_names": FIELDS, "time_format": "%Y%m%d %H%M",
    "fill_values": ["-9999.0", "-9999"],
}  # fmt: skip


def solar(hour: int) -> int | None:
    return None if hour in GAP else (hour * 37) % 1_000


def hourly_rows() -> list[str]:
    """38 fields between blanks, no header; -9999.0 for what is missing; date and time in UTC and in local standard time."""
    rows = []
    for hour in range(HOURS):
        utc = datetime(2026, 1, 1, 1, tzinfo=UTC) + timedelta(hours=hour)
        local = utc + timedelta(hours=SHIFT_H)
        value = solar(hour)
        fields = dict.fromkeys(FIELDS, "-9999.0") | {
            "WBANNO": "99999", "UTC_DATE": f"{utc:%Y%m%d}", "UTC_TIME": f"{utc:%H%M}", "LST_DATE": f"{local:%Y%m%d}", "LST_TIME": f"{local:%H%M}",
            "CRX_VN": "3", "LONGITUDE": "-92.00", "LATITUDE": "41.00", "T_HR_AVG": f"{10 + hour % 7:.1f}", "SUR_TEMP_TYPE": "C",
            "SOLARAD": "-9999.0" if value is None else str(value), "SOLARAD_FLAG": "0",
        }  # fmt: skip
        rows.append("  ".join(fields[name].rjust(7) for name in FIELDS))
    return rows


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("station") / "station_2026.txt"
    path.write_text("\n".join(hourly_rows()) + "\n", encoding="ascii")
    return path


def read_by(path: Path, clock: str, zone: str) -> receive.FileRows:
    layout = HOURLY | {"date_column": f"{clock}_DATE", "time_column": f"{clock}_TIME", "time_zone": zone}
    return receive.open_file(path, path.name, plant_file(FLOW | {"tag": "SOLARAD"}, layouts=(layout,), time_zone="America/Chicago"))


@pytest.mark.parametrize(("clock", "zone"), [("UTC", "UTC"), ("LST", "-06:00")])
def test_hours_without_header_and_without_daylight_saving_are_each_at_their_time(station: Path, clock: str, zone: str) -> None:
    chunks = list(read_by(station, clock, zone).chunks())
    assert (sum(c.rows_read for c in chunks), sum(c.refused.height for c in chunks)) == (HOURS, 0)
    values = pl.concat([c.values for c in chunks]).filter(pl.col("tag") == "SOLARAD")
    assert values.height == HOURS - len(GAP)
    expected = {datetime(2026, 1, 1, 1, tzinfo=UTC) + timedelta(hours=h): str(v) for h in range(HOURS) if (v := solar(h)) is not None}
    assert dict(values.select("time_utc", "text").iter_rows()) == expected


def test_a_zone_with_daylight_saving_declared_for_such_hours_is_contradicted(station: Path) -> None:
    opened = read_by(station, "LST", "America/Chicago")
    list(opened.chunks())
    assert 'time_zone = "-06:00"' in (opened.clock_note or "")


STATIONS, STATION_HOURS = 12, 720


def test_many_stations_in_one_wide_file_stay_apart(tmp_path: Path) -> None:
    """station,valid,... with M for a missing value: what is proposed keeps each station's values under its own name."""
    rows = ["station,valid,tmpf,dwpf,relh,sknt,p01i"]
    for hour in range(STATION_HOURS):
        at = datetime(2026, 3, 1, tzinfo=UTC) + timedelta(hours=hour)
        for k in range(STATIONS):
            dew = "M" if (hour + k) % 50 == 0 else f"{20 + k}.{hour % 10}"
            rows.append(f"ST{k:02d},{at:%Y-%m-%d %H:%M},{30 + k + hour / 1000:.3f},{dew},{60 + k}.0,{hour % 9}.0,0.00")
    path = tmp_path / "hours.csv"
    path.write_text("\n".join(rows) + "\n", encoding="ascii")
    seen = inspect.run(path, time_zone="UTC")
    assert seen.layout.entity_column == "station"
    opened = receive.open_file(
        path, path.name, plant_file(FLOW | {"tag": "ST00 tmpf"}, layouts=(tomllib.loads(seen.layout_toml)["layouts"][0],), time_zone="UTC")
    )
    values = pl.concat([chunk.values for chunk in opened.chunks()])
    counts = dict(values.group_by("tag").len().iter_rows())
    missing = [sum((h + k) % 50 == 0 for h in range(STATION_HOURS)) for k in range(STATIONS)]
    assert len(counts) == STATIONS * 5
    assert [counts[f"ST{k:02d} dwpf"] for k in range(STATIONS)] == [STATION_HOURS - n for n in missing]
    assert {counts[f"ST{k:02d} tmpf"] for k in range(STATIONS)} == {STATION_HOURS}
    assert values.filter(pl.col("tag") == "ST07 tmpf")["text"].to_list() == [f"{37 + h / 1000:.3f}" for h in range(STATION_HOURS)]


RESULTS = (("FEED", "Total solids", "%", 2.4), ("CAKE", "Total solids", "%", 22.0), ("FILTRATE", "Total suspended solids", "mg/l", 310.0))
DAYS = 40


def lab_rows() -> list[str]:
    """One result a row with date, time and the abbreviation of the zone in columns of their own; clocks change on 8 March 2026."""
    rows = [
        "OrganizationIdentifier,ActivityStartDate,ActivityStartTime/Time,ActivityStartTime/TimeZoneCode,MonitoringLocationIdentifier,"
        "CharacteristicName,ResultMeasureValue,ResultMeasure/MeasureUnitCode,ResultDetectionConditionText"
    ]
    for day in range(DAYS):
        at = datetime(2026, 3, 1, 9, 30) + timedelta(days=day)  # noqa: DTZ001  as the laboratory's clock shows it
        zone = "CST" if day < 7 else "CDT"
        rows += [
            f"WORKS,{at:%Y-%m-%d,%H:%M:%S},{zone},{place},{name},{value + day / 100:.2f},{unit}," for place, name, unit, value in RESULTS
        ]
    return rows


@pytest.fixture(scope="module")
def laboratory(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("laboratory")
    (folder / "results.csv").write_text("\n".join(lab_rows()) + "\n", encoding="ascii")
    flows = [f"2026-03-01 {h:02d}:00,{h}.5" for h in range(24)]
    (folder / "flow.csv").write_text("\n".join(["time,Sludge feed [m3/h]", *flows]) + "\n", encoding="ascii")
    return folder, first_plant.new_plant(sorted(folder.iterdir()), plant_id="works", time_zone="America/Chicago")


def test_what_a_lab_file_with_a_zone_column_says_is_proposed(laboratory: tuple[Path, str]) -> None:
    plant = PlantFile.model_validate(tomllib.loads(laboratory[1]))
    layout = next(lay for lay in plant.layouts if lay.id == "results")
    assert (layout.kind, layout.zone_column) == ("lab long", "ActivityStartTime/TimeZoneCode")
    assert layout.zone_words == {"CST": "-06:00", "CDT": "-05:00"}
    assert {(p.names, p.point) for p in plant.lab.sample_points} == {((p,), p.lower()) for p, *_ in RESULTS}


def test_each_result_stands_at_its_instant(laboratory: tuple[Path, str], tmp_path: Path) -> None:
    folder, text = laboratory
    home = Home(tmp_path)
    home.inbox("works").mkdir(parents=True)
    home.plant_file("works").parent.mkdir(parents=True)
    home.plant_file("works").write_text(text, encoding="utf-8")
    for path in folder.iterdir():
        (home.inbox("works") / path.name).write_bytes(path.read_bytes())
    night = order.nightly(home, "works", datetime(2026, 5, 1, tzinfo=UTC), publish_now=False)
    assert sum(r.values_set_aside + r.rows_set_aside for r in night.receipts) == 0
    with Store(home.store("works"), "works") as store:
        rows = store.rows("SELECT point, analyte, from_utc, value FROM lab_results ORDER BY from_utc, point")
    assert len(rows) == DAYS * len(RESULTS)
    times = [at for point, _, at, _ in rows if point == "feed"]
    assert times[6:8] == [datetime(2026, 3, 7, 15, 30, tzinfo=UTC), datetime(2026, 3, 8, 14, 30, tzinfo=UTC)]


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"zone_words": {"CDT": "-05:00"}}, "zone_column, which is missing"),
        ({"zone_column": "tz", "zone_words": {"CDT": "Central"}}, "no offset from UTC"),
        ({"zone_column": "tz", "time_format": "%Y-%m-%d"}, "time of day"),
        ({"zone_column": "tz", "time_format": "%Y-%m-%d %H:%M%z"}, "leave zone_column away"),
    ],
)
def test_a_zone_column_that_cannot_be_is_refused(keys: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        plant_file(layouts=({"id": "w", "kind": "wide", "files": "*", "time_column": "t"} | keys,))
