"""What tests of this folder share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.store import Store


@pytest.fixture
def store() -> Iterator[Store]:
    """An empty store in memory."""
    with Store(Path(":memory:"), "p") as opened:
        yield opened
