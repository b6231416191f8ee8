"""The plant file: one TOML a plant, read into frozen models that refuse unknown keys and blocks that contradict each other."""

from __future__ import annotations

from typing import Any, Self

from pydantic import model_validator

from pipelines.plant import consistency, correction_entries
from pipelines.plant.blocks import Event, Line, Planned, Plant, PlantBlocks, Polymer, Price, Pump, Shift, Target
from pipelines.plant.corrections import Correction
from pipelines.plant.layouts import AnalyteName, Lab, LabColumn, Layout, QualityWords, SamplePoint
from pipelines.plant.quantities import Since
from pipelines.plant.signals import Scaling, Signal

__all__ = [
    "AnalyteName", "Correction", "Event", "Lab", "LabColumn", "Layout", "Line", "Planned", "Plant", "PlantFile", "Polymer", "Price", "Pump",
    "QualityWords", "SamplePoint", "Scaling", "Shift", "Signal", "Since", "Target",
]  # fmt: skip


class PlantFile(PlantBlocks):
    """A whole plant file whose blocks agree."""

    @model_validator(mode="before")
    @classmethod
    def _tons_are_told(cls, given: Any) -> Any:
        consistency.tons_are_told(given)
        return given

    @model_validator(mode="after")
    def _blocks_agree(self) -> Self:
        consistency.check(self)
        correction_entries.check(self)
        return self
