"""Every reason of the vocabulary is produced somewhere: a reason that no code gives would be looked for in vain."""

from __future__ import annotations

import pytest

from pipelines.base import resources
from schemas.vocabulary import REASONS

SOURCES = "".join(
    p.read_text(encoding="utf-8") for room in ("receive", "check", "intake") for p in (resources.folder("pipelines") / room).rglob("*.py")
)


@pytest.mark.parametrize("reason", REASONS)
def test_a_reason_is_given_by_the_intake(reason: str) -> None:
    assert f'"{reason}"' in SOURCES
