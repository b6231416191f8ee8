"""Start-up time of a line: what the plant file says, else what its device needs (common practice, no source)."""

from __future__ import annotations

import pytest

from tests.plants import plant_file


@pytest.mark.parametrize(
    ("device", "minutes"),
    [("belt press", 15.0), ("centrifuge", 20.0), ("screw press", 60.0), ("rotary press", 20.0), ("gravity belt thickener", 20.0)],
)
def test_a_device_has_its_usual_start_up_time(device: str, minutes: float) -> None:
    assert plant_file(line={"device": device}).lines[0].startup_min == minutes


@pytest.mark.parametrize(("written", "minutes"), [("0 min", 0.0), ("7 min", 7.0), ("1.5 h", 90.0), ("90 s", 1.5)])
def test_a_stated_start_up_time_goes_before_that_of_the_device(written: str, minutes: float) -> None:
    assert plant_file(line={"startup": written}).lines[0].startup_min == pytest.approx(minutes)
