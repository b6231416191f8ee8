"""The file of decisions holds what people write in a note, whatever their keyboard gives."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines.decisions import decision_file
from pipelines.decisions.decision_file import Decision


def decision(note: str) -> Decision:
    return Decision(datetime(2026, 1, 5, tzinfo=UTC), "row", "reject", "lab", note)


@pytest.mark.parametrize("mark", ["\u2028", "\u2029", "\u0085", "\x0b", "\x1c", "\r"])
def test_a_note_may_hold_any_line_separator(mark: str, tmp_path: Path) -> None:
    path = tmp_path / "p.dispositions.jsonl"
    decision_file.append(path, [decision(f"asked{mark}answered"), decision("second")])
    decision_file.append(path, [decision("third")])
    assert [d.note for d in decision_file.read(path)] == [f"asked{mark}answered", "second", "third"]
