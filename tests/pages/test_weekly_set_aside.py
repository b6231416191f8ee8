"""Rows set aside as the weekly page counts them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from pipelines.report.weekly import queries
from pipelines.store import Store
from schemas import TABLES

T0 = datetime(2026, 1, 6, 12, tzinfo=UTC)


def test_a_row_that_a_later_file_repeats_is_counted_once(tmp_path: Path) -> None:
    # (load, line, row as it stands, minute): the second file repeats line 7 of the first as its line 3; the same text an hour later is another row
    rows = [("a", 7, "08:00;x", 0), ("b", 3, "08:00;x", 0), ("b", 4, "08:00;x", 60), ("b", 5, None, 1), ("b", 6, None, 1)]
    blank = dict.fromkeys(TABLES["set_aside"].column_names)
    frame = pl.DataFrame(
        [
            blank | {"plant": "p", "load_id": load, "line_no": line, "reason": "text in number", "is_partial": False, "value_count": 1,
                     "first_utc": T0 + timedelta(minutes=minute), "raw_text": text, "rule_version": 1}
            for load, line, text, minute in rows
        ],
        schema=TABLES["set_aside"].polars_schema(),
    )  # fmt: skip
    with Store(tmp_path / "p.duckdb", "p") as store:
        store.append("set_aside", frame)
        span = {"plant": "p", "first": T0.date(), "last": T0.date(), "begin": T0, "end": T0 + timedelta(days=7)}
        assert queries.rows(store.con, queries.SET_ASIDE, **span) == [{"reason": "text in number", "n": 4}]
