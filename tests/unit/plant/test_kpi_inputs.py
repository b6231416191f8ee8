"""What the plant file provides for capture when polymer is metered neat: as the SQL computes the water of the solution."""

from __future__ import annotations

import pytest

from pipelines.base import resources
from pipelines.plant import kpi_inputs, loader
from pipelines.plant.model import PlantFile

ALDER = loader.load(resources.folder("sample_data") / "plants" / "alder-fork.toml")
WATER = "a signal of role polymer_solution_flow, or makedown_water_flow beside polymer_neat_flow, or solution_strength_pct of the polymer"


def neat(*, water: str | None, strength: float | None) -> PlantFile:
    """Return Alder Fork without its solution meter, with a meter of make-down water or a stated strength, or neither."""
    signals = [s for s in ALDER.signals if s.role != "polymer_solution_flow"]
    meter = next(s for s in ALDER.signals if s.role == "polymer_solution_flow" and s.line == "line-1")
    if water is not None:
        signals.append(meter.model_copy(update={"role": water}))
    polymers = tuple(p.model_copy(update={"solution_strength_pct": strength}) for p in ALDER.polymers)
    made = ALDER.model_copy(update={"signals": tuple(signals), "polymers": polymers})
    made.__dict__.pop("_by_line")  # what was looked up in the file as it was
    return made


@pytest.mark.parametrize(
    ("water", "strength", "missing"),
    [(None, None, (WATER,)), ("makedown_water_flow", None, ()), (None, 0.4, ()), ("polymer_solution_flow", None, ())],
)
def test_make_down_water_or_a_strength_stands_in_for_a_solution_meter(
    water: str | None, strength: float | None, missing: tuple[str, ...]
) -> None:
    needs = kpi_inputs.needs(neat(water=water, strength=strength))
    assert [n.missing for n in needs if (n.line, n.kpi) == ("line-1", "solids capture")] == [missing]
