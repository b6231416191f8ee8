"""What tests of this folder share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    with Store(tmp_path / "p.duckdb", "p") as opened:
        yield opened
