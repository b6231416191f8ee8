"""The invented plant of two belt presses and an empty store of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.base import resources
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store


@pytest.fixture(scope="module")
def plant_file() -> PlantFile:
    return loader.load(resources.folder("sample_data") / "plants" / "alder-fork.toml")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "alder-fork.duckdb", "alder-fork") as made:
        yield made
