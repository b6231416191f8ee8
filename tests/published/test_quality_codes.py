"""Severities of published quality codes: the OPC Foundation's status code list and the classic data access constants."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pipelines.check.readings.quality import code_of
from pipelines.plant.model import QualityWords

LINES = (Path(__file__).parent / "opc_quality_codes.csv").read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))
SEVERITY = {"Good": 0, "Uncertain": 1, "Bad": 2}
NOTHING_LISTED = QualityWords()


def test_the_table_is_whole() -> None:
    assert len(ROWS) == 48
    assert {r["severity"] for r in ROWS} == set(SEVERITY)


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['family']} {r['name']}" for r in ROWS])
def test_severity_of_a_published_code(row: dict[str, str]) -> None:
    number = int(row["code_dec"])
    wide_hex = f"0x{number:08X}" if row["family"] == "opc_ua" else row["code_hex"]
    if number == 0:  # good in one family, bad in the other: a bare 0 means nothing until the layout says which
        assert code_of("0", NOTHING_LISTED) is None
        assert code_of("0", QualityWords(good=("0",))) == 0
        assert code_of("0", QualityWords(bad=("0",))) == 2
    else:
        assert code_of(row["code_dec"], NOTHING_LISTED) == SEVERITY[row["severity"]]
    if number or row["family"] == "opc_ua":
        assert code_of(wide_hex, NOTHING_LISTED) == SEVERITY[row["severity"]]


def test_a_status_code_written_as_a_signed_number() -> None:
    # BadNoCommunication 0x80310000 as 32-bit two's complement: 2150694912 - 2**32
    assert code_of(str(2150694912 - 2**32), NOTHING_LISTED) == SEVERITY["Bad"]


def test_reserved_severities_mean_nothing() -> None:
    assert code_of(str(0xC0000000), NOTHING_LISTED) is None  # top bits 11: not assigned in OPC 10000-4
    assert code_of(str(0x80), NOTHING_LISTED) is None  # classic 10: not assigned
    assert code_of(str(1 << 32), NOTHING_LISTED) is None
