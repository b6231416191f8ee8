"""The plant files of the demonstration declare what the generator did: the arrangement, pump and dose ladder of every day."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from pipelines.base import resources
from pipelines.plant import arrangements, loader
from sample_data import axis, operators
from sample_data.generate import START
from sample_data.scenario import PLANTS

WEEKS = 16
NEW = {"injection at the pump", "new pump, injection at the pump"}


@pytest.mark.parametrize("plant_id", PLANTS)
@pytest.mark.parametrize("seed", [1, 7])
def test_the_arrangement_of_every_day_is_the_one_declared(plant_id: str, seed: int) -> None:
    plant = PLANTS[plant_id]
    plant_file = loader.load(resources.folder("sample_data") / "plants" / f"{plant_id}.toml")
    ax = axis.build(plant, START, WEEKS, quiet=True)
    for line in plant.lines:
        arm, _ = operators.arms(line, ax, np.random.default_rng(seed))
        spells = arrangements.of_line(plant_file, line.line)
        noons = [plant_file.calendar.day_start(day) + timedelta(hours=12) for day in ax.days]
        declared = [[s.name for s in spells if s.start_utc <= noon < s.end_utc] for noon in noons]
        assert [len(names) for names in declared] == [1] * len(ax.days)
        assert [names[0] in NEW for names in declared] == [a > 0 for a in arm]


@pytest.mark.parametrize("plant_id", ["sorrel-draw", "brenholm"])
def test_every_day_of_a_dose_ladder_is_a_step_of_a_ladder_of_its_arrangement(plant_id: str) -> None:
    plant = PLANTS[plant_id]
    plant_file = loader.load(resources.folder("sample_data") / "plants" / f"{plant_id}.toml")
    ax = axis.build(plant, START, WEEKS, quiet=True)
    arm, rung = operators.arms(plant.lines[0], ax, np.random.default_rng(3))
    steps: dict[date, int] = {day: k for k, ladder in enumerate(plant_file.ladders) for day in ladder.steps}
    assert sorted(steps) == [day for day, share in zip(ax.days, rung, strict=True) if share > 0]
    of_ladder: dict[int, list[tuple[float, float]]] = {}
    for day, a, share in zip(ax.days, arm, rung, strict=True):
        if share > 0:
            of_ladder.setdefault(steps[day], []).append((a, share))
    for days in of_ladder.values():
        assert len({a for a, _ in days}) == 1  # one arrangement a ladder
        assert {0.55, 0.75, 0.95, 1.20} <= {share for _, share in days}
