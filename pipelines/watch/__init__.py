"""Watch (filled in next)."""

from __future__ import annotations

from pipelines.chunks import StepReceipt
from pipelines.plantfile import PlantFile
from pipelines.store import Store


def run(store: Store, plant_file: PlantFile) -> StepReceipt:
    del plant_file
    with store.transaction():
        store.clear_days("watch")
    return StepReceipt("watch")
