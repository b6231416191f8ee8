"""The small committed set: written again byte for byte, small, and its list of damage points at real damage."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sample_data import small
from schemas.vocabulary import REASONS

EXPORTS = small.FOLDER / "exports"
DAMAGE = list(csv.DictReader((small.FOLDER / "damage.csv").read_text(encoding="utf-8").splitlines()))


def test_committed_files_are_what_the_generator_writes(tmp_path: Path) -> None:
    small.write(tmp_path)
    made = {p.relative_to(tmp_path).as_posix(): p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    held = {p.relative_to(small.FOLDER).as_posix(): p.read_bytes() for p in small.FOLDER.rglob("*") if p.is_file()}
    assert sorted(made) == sorted(held)
    assert [name for name in sorted(made) if made[name] != held[name]] == []


def test_set_is_below_two_megabytes() -> None:
    assert sum(p.stat().st_size for p in small.FOLDER.rglob("*") if p.is_file()) < 2_000_000


def test_every_kind_of_damage_is_listed_with_a_reason_of_the_closed_list() -> None:
    reasons = {row["expected_reason"] for row in DAMAGE}
    assert reasons - {""} <= set(REASONS)
    assert {
        "partial last row", "time stamp unreadable", "text in number", "value outside physical range", "value outside transmitter range",
        "file not readable", "unknown layout", "unit row disagrees with plant file",
    } <= reasons  # fmt: skip
    assert all(row["expected_reason"] or row["expected_handling"] for row in DAMAGE)
    assert "row written twice" in {row["what"] for row in DAMAGE}


@pytest.mark.parametrize(
    "name, what, shown",
    [
        ("ALDER_SCADA_20260107.csv", "time stamp with hour 25", "01/07/2026 25:05,"),
        ("ALDER_SCADA_20260108.csv", "words in the feed flow of line 1", ",I/O timeout,"),
        ("ALDER_SCADA_20260109.csv", "feed flow of line 1 reads 9999 gpm", "08:40,9999.0,"),
        ("ALDER_SCADA_20260109.csv", "discharge pressure of line 2 reads 180 psi, range 0 to 100", ",180.0,"),
        ("ALDER_SCADA_20260113.csv", "a value in a column the plant file does not know", ",1.0"),
        ("ALDER_LAB_20260119.csv", "feed TS of press 1 typed in mg/L in a column of %", ",24100,"),
    ],
)
def test_damage_stands_on_the_line_the_list_names(name: str, what: str, shown: str) -> None:
    lines = (EXPORTS / name).read_text(encoding="utf-8").split("\n")
    listed = [int(row["line"]) for row in DAMAGE if (row["file"], row["what"]) == (name, what)]
    assert listed
    assert all(shown in lines[number - 1] for number in listed)


def test_repeated_rows_are_the_five_before_them() -> None:
    lines = (EXPORTS / "ALDER_SCADA_20260112.csv").read_text(encoding="utf-8").split("\n")
    listed = [int(row["line"]) for row in DAMAGE if row["file"] == "ALDER_SCADA_20260112.csv"]
    assert [lines[number - 1] for number in listed] == [lines[number - 6] for number in listed]
    assert len(listed) == 5


def test_truncated_file_ends_within_a_row() -> None:
    content = (EXPORTS / "ALDER_SCADA_20260114.csv").read_bytes()
    row = next(r for r in DAMAGE if r["file"] == "ALDER_SCADA_20260114.csv")
    assert not content.endswith(b"\n")
    assert content.count(b"\n") + 1 == int(row["line"])
