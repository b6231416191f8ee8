"""What ask must not do, tried one by one: files, network, settings, writing, running text as SQL, running away, filling the memory."""

from __future__ import annotations

import resource
import time
from pathlib import Path

import polars as pl
import pytest

from pipelines.ask import render, sandbox
from pipelines.base.errors import UsageError
from pipelines.store import connect


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("ask") / "published.duckdb"
    con = connect(path)
    con.execute("CREATE TABLE days AS SELECT DATE '2026-03-01' + i::INTEGER AS operating_day, i * 1.5 AS dose FROM range(5) t(i)")
    con.execute("CREATE MACRO of_table(t) AS TABLE FROM query_table(t)")
    con.close()
    (path.parent / "x.csv").write_text("secret\n1\n", encoding="utf-8")
    con = connect()
    con.execute(f"COPY (SELECT 1 AS secret) TO '{path.parent / 'x.parquet'}'")
    con.execute(f"ATTACH '{path.parent / 'other.duckdb'}' AS o")
    con.execute("CREATE TABLE o.t AS SELECT 1 AS secret")
    con.close()
    return path


READS = [
    "FROM '{d}/x.csv'", "FROM '{d}/x.parquet'", "FROM '{d}/other.duckdb'", "FROM read_csv('{d}/x.csv')", 'FROM "READ_CSV"(\'{d}/x.csv\')',
    "FROM system.main.read_csv('{d}/x.csv')", "FROM read_csv_auto('{d}/x.csv')", "FROM parquet_scan('{d}/x.parquet')",
    "FROM read_parquet(['{d}/x.parquet'])", "FROM parquet_metadata('{d}/x.parquet')", "FROM parquet_schema('{d}/x.parquet')",
    "FROM read_text('{d}/x.csv')", "FROM read_blob('{d}/x.csv')", "FROM read_json('{d}/x.csv')", "FROM read_ndjson_objects('{d}/x.csv')",
    "FROM sniff_csv('{d}/x.csv')", "FROM glob('{d}/*')", "FROM read_duckdb('{d}/other.duckdb')", "FROM sqlite_scan('{d}/other.duckdb', 't')",
    "FROM of_table('{d}/x.csv')", "FROM 'http://127.0.0.1:9/x.parquet'", "FROM 's3://bucket/x.parquet'",
    "WITH x AS MATERIALIZED (FROM read_text('{d}/x.csv')) SELECT 1", "SELECT (SELECT count(*) FROM read_text('{d}/x.csv'))",
    "FROM days, LATERAL (FROM read_text('{d}/x.csv'))", "SELECT dose FROM days UNION ALL SELECT secret FROM read_csv('{d}/x.csv')",
    "SELECT * FROM days WHERE dose IN (SELECT secret FROM '{d}/x.csv')", "EXPLAIN ANALYZE FROM read_text('{d}/x.csv')",
]  # fmt: skip
WRITES = [
    "COPY days TO '{d}/out.csv'", "COPY (SELECT 1) TO '{d}/out.csv'", "COPY days FROM '{d}/x.csv'", "EXPORT DATABASE '{d}/out'",
    "IMPORT DATABASE '{d}/out'", "ATTACH '{d}/other.duckdb' AS o", "ATTACH ':memory:' AS o", "DETACH published", "USE memory",
    "INSTALL httpfs", "FORCE INSTALL json", "LOAD httpfs", "UPDATE EXTENSIONS", "CREATE TABLE x (a INT)", "CREATE TEMP TABLE x AS SELECT 1",
    "CREATE MACRO f() AS 1", "CREATE SECRET (TYPE s3)", "CREATE OR REPLACE VIEW days AS SELECT 1", "INSERT INTO days VALUES (DATE '2026-01-01', 1)",
    "UPDATE days SET dose = 0", "DELETE FROM days", "DROP TABLE days", "ALTER TABLE days ADD COLUMN x INT", "TRUNCATE days", "VACUUM", "CHECKPOINT",
    "FORCE CHECKPOINT", "FROM checkpoint()", "BEGIN", "COMMIT", "PREPARE s AS SELECT 1", "EXECUTE s", "EXPLAIN ANALYZE COPY days TO '{d}/out.csv'",
    "EXPLAIN ANALYZE INSERT INTO days VALUES (DATE '2026-01-01', 1)", "SELECT write_log('x')", "FROM truncate_duckdb_logs()",
]  # fmt: skip
SETTINGS = [
    "SET threads = 8", "RESET threads", "SET enable_external_access = true", "SET lock_configuration = false", "SET VARIABLE x = 1",
    "PRAGMA memory_limit = '64GB'", "PRAGMA database_list", "CALL pragma_version()", "CALL enable_logging()", "FROM enable_profiling()",
    "SELECT current_setting('memory_limit')", "FROM duckdb_settings()", "FROM pg_catalog.pg_settings", "FROM duckdb_profiling_settings()",
    "FROM duckdb_databases()", "FROM duckdb_secrets()", "FROM duckdb_extensions()", "FROM duckdb_temporary_files()", "FROM duckdb_logs",
    "SELECT getenv('HOME')", "FROM which_secret('a', 's3')",
]  # fmt: skip
TEXT_AS_SQL = [
    "FROM query('SELECT 1')", "FROM query_table('days')", "SELECT 1; SELECT 2",
    "SELECT json_execute_serialized_sql(json_serialize_sql('FROM duckdb_settings()'))",
    "FROM json_execute_serialized_sql(json_serialize_sql('FROM duckdb_settings()'))",
]  # fmt: skip


@pytest.mark.parametrize("sql", [*READS, *WRITES, *SETTINGS, *TEXT_AS_SQL])
def test_each_attempt_is_refused_and_leaves_nothing(database: Path, sql: str) -> None:
    folder = database.parent
    before, content = sorted(p.name for p in folder.iterdir()), database.read_bytes()
    with pytest.raises(UsageError) as refused:
        sandbox.run(database, sql.replace("{d}", str(folder)), seconds=5)
    assert "secret\n1" not in str(refused.value)
    assert sorted(p.name for p in folder.iterdir()) == before
    assert database.read_bytes() == content


@pytest.mark.parametrize(
    "sql", ["FROM days", "FROM of_table('days')", "DESCRIBE days", "SUMMARIZE days", "SHOW TABLES", "EXPLAIN FROM days", "VALUES (1)", "SELECT version()"]
)  # fmt: skip
def test_what_a_reader_needs_is_open(database: Path, sql: str) -> None:
    assert sandbox.run(database, sql).height > 0


RUNAWAYS = [
    "SELECT count(*) FROM range(100000000000) t(i) WHERE i % 7 = 3",
    "WITH RECURSIVE r AS (SELECT 1 AS n UNION ALL SELECT n + 1 FROM r) SELECT count(*) FROM r",
    "SELECT count(*) FROM range(1000000) a, range(1000000) b WHERE (a.range * b.range) % 7 = 3",
]


@pytest.mark.parametrize("sql", RUNAWAYS)
def test_a_runaway_is_stopped_in_time(database: Path, sql: str) -> None:
    begun = time.perf_counter()
    with pytest.raises(UsageError, match=r"longer than 0\.5 s"):
        sandbox.run(database, sql, seconds=0.5)
    assert time.perf_counter() - begun < 5.0  # half a second, and room for a busy machine


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT range(500000000)",  # one value of 4 GB
        "SELECT list(i ORDER BY hash(i)) FROM range(300000000) t(i)",
        "FROM range(1000000000)",  # an answer of 8 GB
        "SELECT repeat('x', 3000000000)",
    ],
)
def test_a_memory_hog_is_stopped_and_the_limit_is_lifted_again(database: Path, sql: str) -> None:
    before = resource.getrlimit(resource.RLIMIT_AS)
    with pytest.raises(UsageError):
        sandbox.run(database, sql, seconds=10)
    assert resource.getrlimit(resource.RLIMIT_AS) == before
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < 4 * 2**20  # KiB: four GiB, DuckDB's two and an answer's half among them
    assert sandbox.run(database, "SELECT 1 AS one").rows() == [(1,)]


def test_a_large_answer_within_the_bound_comes_whole(database: Path) -> None:
    found = sandbox.run(database, "SELECT i FROM range(1000000) t(i)")
    assert found["i"].sum() == 999_999 * 1_000_000 // 2


def test_an_interval_says_that_it_must_be_cast(database: Path) -> None:
    with pytest.raises(UsageError, match="cannot be shown"):
        sandbox.run(database, "SELECT INTERVAL 1 DAY AS x")
    assert sandbox.run(database, "SELECT (INTERVAL 1 DAY)::VARCHAR AS x").rows() == [("1 day",)]


ODD = (
    "SELECT '=1+1'::ENUM('=1+1') AS named, '\\x3d1'::BLOB AS bytes, ['=1'] AS list, {'a': '=1'} AS struct, 1.50::DECIMAL(5, 2) AS price, -3 AS n, "
    "NULL AS nothing, DATE '2026-01-01' AS day, TIMESTAMPTZ '2026-01-01 00:00:00+00' AS at, 'nan'::DOUBLE AS nan, true AS yes"
)


def test_csv_of_every_kind_of_column_runs_nothing(database: Path) -> None:
    frame = sandbox.run(database, ODD)
    head, row, *_ = render.as_csv(frame).splitlines()
    assert head == "named,bytes,list,struct,price,n,nothing,day,at,nan,yes"
    assert row == "'=1+1,3d31,['=1'],{'a': '=1'},1.50,-3,,2026-01-01,2026-01-01T00:00:00+00:00,NaN,true"


def test_json_and_parquet_are_exact(database: Path, tmp_path: Path) -> None:
    frame = sandbox.run(
        database, "SELECT '=1+1' AS text, -0.1 AS tenth, 'nan'::DOUBLE AS nan, 9007199254740993 AS big, NULL::INTEGER AS nothing"
    )
    assert render.as_json(frame).split() == [
        "[",
        "{",
        '"text":',
        '"=1+1",',
        '"tenth":',
        '"-0.1",',
        '"nan":',
        "null,",
        '"big":',
        "9007199254740993,",
        '"nothing":',
        "null",
        "}",
        "]",
    ]
    render.to_file(frame, "parquet", tmp_path / "x.parquet")
    back = pl.read_parquet(tmp_path / "x.parquet")
    assert back.schema == frame.schema
    assert back.equals(frame, null_equal=True)


HOSTILE = [
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "\uff1d1",
    'a","=1',
    '="x"',
    "-",
    "plain",
    "a=1",
    "-5",
    "",
]


def test_hostile_tags_and_comments_come_out_as_text() -> None:
    """Cells that a spreadsheet would run begin with an apostrophe; what is quoted stays one cell; numbers stay numbers."""
    import csv
    import io

    text = render.as_csv(pl.DataFrame({"tag": HOSTILE, "value": [-1.5] * len(HOSTILE)}))
    rows = list(csv.reader(io.StringIO(text, newline="")))[1:]
    starts = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d")
    assert [r[0].replace("'", "") for r in rows] == [h.replace("'", "") for h in HOSTILE]
    assert [r[0] for r in rows if r[0].startswith(starts)] == []
    assert {r[1] for r in rows} == {"-1.5"}
