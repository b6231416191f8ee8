"""A plant whose nights stopped is no green plant, whatever its last night said."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import status
from pipelines.base.home import Home
from pipelines.status import PlantStatus

WHEN = datetime(2026, 2, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize(("hours", "is_silent"), [(30, False), (30.1, True)])
def test_a_plant_is_silent_after_thirty_hours_without_a_successful_night(tmp_path: Path, hours: float, is_silent: bool) -> None:
    home = Home(tmp_path)
    home.plant_file("p").parent.mkdir()
    home.plant_file("p").touch()
    folder = home.runs("p")
    folder.mkdir(parents=True)
    record = {"run": "nightly", "as_of": WHEN.isoformat(), "steps": [], "exit_code": 0, "notices": []}
    (folder / "20260201T120000Z-nightly.json").write_text(json.dumps(record))
    failed = record | {"as_of": (WHEN + timedelta(hours=20)).isoformat(), "error": "so", "exit_code": 4}
    (folder / "20260202T080000Z-nightly.json").write_text(json.dumps(failed))  # a night that failed is no success
    (one,) = status.gather(home, as_of=WHEN + timedelta(hours=hours)).plants
    assert (one.silent is not None) == is_silent


def test_silence_ends_with_2_and_is_named_in_the_health_file(tmp_path: Path) -> None:
    quiet = PlantStatus("p", days=3, last_exit_code=0, silent="no nightly run has succeeded since then")
    assert (quiet.exit_code, PlantStatus("q", days=3, last_exit_code=0).exit_code) == (2, 0)
    found = status.HomeStatus(WHEN, [quiet, PlantStatus("q", days=3)], None, None)
    path = tmp_path / "health.json"
    status.write_whole(path, found.as_json())
    assert status.troubles_in(path) == {"p": "no nightly run has succeeded since then"}
    path.write_text("{cut")
    assert status.troubles_in(path) == {}
