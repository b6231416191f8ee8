"""Names that were taken for other roles, and columns that are no results: what new-plant must not say again."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipelines.inspect import blocks, cells, first_plant, units_in_names
from pipelines.inspect.roles import guess_role
from pipelines.plant.model import PlantFile


@pytest.mark.parametrize(
    "tag, unit, role",
    [
        ("TT-900 Thermocouple", None, None),
        ("Centrifuge feed", None, "sludge_flow"),
        ("Centrifuge power [kW]", "kW", "device_power"),
        ("FIT-302 Polymer neat", "L/h", "polymer_neat_flow"),
        ("Polymer solution", "L/h", "polymer_solution_flow"),
        ("Decanter torque", "%", "device_torque"),
    ],
)
def test_a_role_needs_a_word_that_means_it(tag: str, unit: str | None, role: str | None) -> None:
    found = guess_role(tag, unit, is_text=False)
    assert (found.role if found else None) == role


@pytest.mark.parametrize(
    "name, unit",
    [
        ("Sludge feed [m3/h]", "m3/h"), ("Feed (gpm)", "gpm"), ("Discharge pressure, bar", "bar"), ("Polymer total [L]", "L"), ("Feed l/h", "L/h"),
        ("Press running", None), ("FT-101", None), ("Temperature [degX]", None),
    ],
)  # fmt: skip
def test_a_unit_at_the_end_of_a_name_is_its_unit(name: str, unit: str | None) -> None:
    assert units_in_names.unit_of(name) == unit


def test_tickets_are_told_by_a_net_weight_beside_others() -> None:
    assert cells.ticket_columns(["Date", "Ticket no", "Gross t", "Tare t", "Net tons"]) == ["Net tons"]
    assert cells.ticket_columns(["Date", "Net flow", "Feed"]) == []
    assert cells.ticket_columns(["Date", "Feed TS %"]) == []


def test_names_of_places_are_no_results_beside_analytes() -> None:
    assert [n for n in ("Plant North", "Feed TS %", "Operator", "Cake", "TSS mg/L") if cells.is_analyte(n)] == [
        "Feed TS %",
        "Cake",
        "TSS mg/L",
    ]


def test_a_file_named_by_its_date_alone_does_not_claim_every_file() -> None:
    one = blocks.names_for([Path("20260105.csv"), Path("20260106.csv")])[Path("20260105.csv")]
    assert one.files == "[0-9]" * 8 + ".csv"


def test_off_words_of_all_files_are_collected(tmp_path: Path) -> None:
    for day, words in ((5, ("RUN", "STOP")), (6, ("RUN", "FAULT"))):
        rows = [f"2026-01-{day:02d} {h:02d}:00,{words[h % 2]},{h}.5" for h in range(24)]
        (tmp_path / f"run_{day}.csv").write_text("\n".join(["Time,Pump run,Feed flow [m3/h]", *rows]) + "\n", encoding="utf-8")
    plant = PlantFile.model_validate(tomllib.loads(first_plant.new_plant(sorted(tmp_path.iterdir()), plant_id="p", time_zone="UTC")))
    state = next(s for s in plant.signals if s.role == "pump_run")
    assert set(state.off_words) == {"STOP", "FAULT"}


def test_a_drive_in_hz_asks_for_its_speed_and_a_meter_silent_at_rest_is_held_at_rest(tmp_path: Path) -> None:
    rows = ["time,tag,value"]
    for minute in range(1440):
        on = 400 <= minute < 900
        if on or minute % 60 == 0:
            rows += [
                f"2026-01-05 {minute // 60:02d}:{minute % 60:02d},{tag},{v * on}"
                for tag, v in (("Sludge feed [m3/h]", 24), ("Pump speed [Hz]", 41))
            ]
    (tmp_path / "log_1.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    text = first_plant.new_plant(sorted(tmp_path.iterdir()), plant_id="p", time_zone="UTC")
    feed = next(s for s in PlantFile.model_validate(tomllib.loads(text)).signals if s.role == "sludge_flow")
    assert (feed.hold_limit, feed.hold_limit_at_rest) == (None, pytest.approx(67 / 60))  # 1.1 of the hour, up to the minute
    assert "at how many rpm does it turn at 50 Hz?" in text
    assert '# scaling = { raw = [0, 50], reads = [0, "?"] }' in text
