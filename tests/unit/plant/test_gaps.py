"""A day between `until` of one entry and `since` of the next: the usual slip of taking `until` for the last day."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines import cli
from pipelines.base import resources
from pipelines.plant import gaps, loader

ALDER = resources.folder("sample_data") / "plants" / "alder-fork.toml"
FLOW = 'tag = "L1 FIT-110 Sludge Feed"\nunit = "gpm"\nrange = [0, 600]\n'


def with_next(tmp_path: Path, since: str) -> Path:
    """Write a plant file whose feed meter was exchanged: the old one until 1 March, the new one since a date."""
    text = ALDER.read_text(encoding="utf-8")
    assert FLOW in text
    new = f'{FLOW}until = 2026-03-01\n\n[[signals]]\nline = "line-1"\nrole = "sludge_flow"\n{FLOW.replace("FIT-110", "FIT-119")}since = {since}\n'
    path = tmp_path / "alder-fork.toml"
    path.write_text(text.replace(FLOW, new, 1), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("since", "count"),
    [("2026-03-01", 0), ("2026-03-02", 1), ("2026-03-01T18:00:00", 1), ("2026-03-03", 0)],
    ids=["follows", "a day between", "half a day between", "two days: meant"],
)
def test_a_gap_of_at_most_a_day_is_a_warning(tmp_path: Path, since: str, count: int) -> None:
    assert len(gaps.day_gaps(loader.load(with_next(tmp_path, since)))) == count


def test_check_plant_says_that_until_is_the_first_day_after_and_ends_with_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["check-plant", str(with_next(tmp_path, "2026-03-02"))]) == 1
    out = capsys.readouterr().out
    assert "until 2026-03-01 (the first day after)" in out
    assert "warning: sludge_flow of line-1: nothing holds from 2026-03-01 until 2026-03-02; until is the first day after" in out


def test_the_demonstrations_plant_files_have_no_such_gap() -> None:
    for path in ALDER.parent.glob("*.toml"):
        assert gaps.day_gaps(loader.load(path)) == []
