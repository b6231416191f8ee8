"""ask: one read-only SELECT, nothing outside the published file, and CSV a spreadsheet cannot run."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import polars as pl
import pytest

from pipelines.ask import render, sandbox
from pipelines.base.errors import DataMissingError, UsageError
from pipelines.store import connect


@pytest.fixture
def database(tmp_path: Path) -> Path:
    path = tmp_path / "published.duckdb"
    con = connect(path)
    con.execute(
        "CREATE TABLE days AS SELECT DATE '2026-03-01' + i::INTEGER AS operating_day, i * 1.5 AS dose_active_kg_t FROM range(5) t(i)"
    )
    con.close()
    return path


def test_answers_a_select_with_named_parameters(database: Path) -> None:
    rows = sandbox.run(database, "SELECT max(dose_active_kg_t) AS top FROM days WHERE operating_day < $until", {"until": "2026-03-04"})
    assert rows.to_dicts() == [{"top": 3.0}]


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT 1; SELECT 2",
        "INSERT INTO days VALUES ('2026-04-01', 1)",
        "CREATE TEMP TABLE x AS SELECT 1",
        "SET threads = 8",
        "COPY days TO 'out.csv'",
        "ATTACH 'other.duckdb' AS o",
        "INSTALL httpfs",
        "PRAGMA database_list",
        "SELECT * FROM duckdb_settings()",
        "SELECT * FROM duckdb_databases",
        "SELECT * FROM pragma_database_list()",
        "SELECT current_setting('memory_limit')",
        "SELECT * FROM query('SELECT 1')",
        "SELECT * FROM read_text('/etc/hostname')",
        "SELECT * FROM '/etc/hostname'",
        "SELECT * FROM glob('/*')",
        "WITH x AS (SELECT * FROM read_csv('/etc/hostname')) SELECT * FROM x",
        "EXPLAIN ANALYZE SELECT * FROM duckdb_settings()",
        "SELEC 1",
        "SELECT no_such_column FROM days",
    ],
)
def test_refuses_everything_else(database: Path, sql: str, tmp_path: Path) -> None:
    before = sorted(p.name for p in tmp_path.iterdir())
    with pytest.raises(UsageError):
        sandbox.run(database, sql)
    assert sorted(p.name for p in tmp_path.iterdir()) == before


def test_python_variables_are_out_of_reach(database: Path) -> None:
    secret = pl.DataFrame({"a": [1]})
    assert secret.height == 1
    with pytest.raises(UsageError):
        sandbox.run(database, "SELECT * FROM secret")


def test_stops_a_runaway_statement(database: Path) -> None:
    with pytest.raises(UsageError, match=r"longer than 0\.3 s"):
        sandbox.run(database, "SELECT count(*) FROM range(100000000000) t(i) WHERE i % 7 = 3", seconds=0.3)


def test_stops_a_memory_hog(database: Path) -> None:
    with pytest.raises(UsageError):
        sandbox.run(database, "SELECT list(i ORDER BY hash(i)) FROM range(300000000) t(i)", seconds=20)


def test_says_when_nothing_is_published(tmp_path: Path) -> None:
    with pytest.raises(DataMissingError):
        sandbox.run(tmp_path / "none.duckdb", "SELECT 1")


def test_csv_cannot_run_a_formula() -> None:
    frame = pl.DataFrame({"tag": ["=1+1", "+A1", "-cmd", "@sum", "\tx", "plain", None], "=name": [1, -2, 3, 4, 5, 6, 7]})
    rows = list(csv.reader(io.StringIO(render.as_csv(frame))))
    assert rows[0] == ["tag", "'=name"]
    assert [r[0] for r in rows[1:]] == ["'=1+1", "'+A1", "'-cmd", "'@sum", "'\tx", "plain", ""]
    assert rows[2][1] == "-2"  # a number stays a number


def test_table_aligns_numbers_right_and_counts_the_rest() -> None:
    text = render.as_table(pl.DataFrame({"line": ["a", "bb"], "dose": [1.5, None]}), most=1)
    assert text.splitlines()[0] == "line  dose"
    assert text.splitlines()[2] == "a      1.5"
    assert "1 more rows" in text


def test_json_keeps_dates_as_iso(database: Path) -> None:
    rows = json.loads(render.as_json(sandbox.run(database, "SELECT operating_day FROM days ORDER BY 1 LIMIT 1")))
    assert rows == [{"operating_day": "2026-03-01"}]


@pytest.mark.parametrize("kind", ["parquet", "png", "svg"])
def test_writes_files(database: Path, tmp_path: Path, kind: str) -> None:
    target = tmp_path / f"answer.{kind}"
    render.to_file(sandbox.run(database, "FROM days"), kind, target)
    assert target.stat().st_size > 500


def test_a_chart_without_numbers_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        render.to_file(pl.DataFrame({"a": ["x"]}), "png", tmp_path / "x.png")
