"""Run one read-only statement on the published file: no files, no settings, limited in time and memory."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipelines.base.errors import DataMissingError, UsageError
from pipelines.store import connect

if TYPE_CHECKING:
    import polars as pl

_CONFIG = {
    "allow_community_extensions": "false",
    "python_enable_replacements": "false",  # SQL cannot see Python variables
    "memory_limit": "2GB",
    "threads": "2",
    "max_temp_directory_size": "0KB",  # nothing spilled to disk
}
_BATCH_ROWS = 2048  # one vector: a batch of wide text stays small
EXTRA_BYTES = 4 * 2**30  # address space for a statement, twice DuckDB's limit: threads and answer come on top of it
MOST_BYTES = 512 * 2**20  # of an answer in memory; thirty million numbers and more
# Functions and built-in views that tell paths or settings, or run text as SQL past the gate.
_REFUSED = {
    "duckdb_settings", "duckdb_databases", "duckdb_secrets", "duckdb_temporary_files", "duckdb_logs", "duckdb_log_contexts",
    "pragma_database_list", "database_list", "current_setting", "getenv", "query", "query_table", "which_secret", "pragma_user_agent",
    "json_execute_serialized_sql", "getvariable", "read_csv", "read_csv_auto", "read_parquet", "parquet_scan", "read_json", "read_json_auto", "read_text",
    "read_blob", "glob", "sniff_csv", "read_duckdb", "read_ndjson", "read_ndjson_auto", "read_ndjson_objects", "read_json_objects",
    "read_json_objects_auto", "parquet_metadata", "parquet_schema", "parquet_file_metadata", "parquet_kv_metadata", "parquet_bloom_probe",
    "pg_settings", "duckdb_profiling_settings", "duckdb_extensions", "duckdb_external_file_cache", "checkpoint", "force_checkpoint", "write_log",
    "truncate_duckdb_logs", "enable_logging", "disable_logging", "enable_profiling", "disable_profiling", "duckdb_memory",
    "repeat", "lpad", "rpad", "list_resize", "array_resize",  # one call can make gigabytes, and is not stopped in its middle
    "pg_sleep", "sleep_ms",
}  # fmt: skip


def run(
    database: Path, sql: str, parameters: dict[str, Any] | None = None, *, seconds: float = 30.0, parquet: Path | None = None
) -> pl.DataFrame:
    """Return the rows of one SELECT on a published file; parameters are named ($name).

    `parquet` is the folder of Parquet files that its views may read, below the folder `published`; None: no file at all.

    UsageError when it is not one SELECT, reaches for something refused, fails, or takes longer than `seconds`.
    """
    if not database.exists():
        raise DataMissingError(f"there is no {database.name} yet", remedy="run `flocledger nightly` first")
    con = connect(database, read_only=True, config=_CONFIG)
    try:
        _close(con, parquet)
        statement = _one_select(con, sql)
        _refuse(con, statement)
        return _timed(con, statement, parameters or {}, seconds)
    finally:
        con.close()


def _close(con: duckdb.DuckDBPyConnection, parquet: Path | None) -> None:
    """Let the connection read no file but Parquet below the folder, and lock its settings."""
    if parquet is not None:
        folder = str(parquet).replace("'", "''")
        con.execute(f"SET allowed_directories = ['{folder}/']")
        con.execute(f"SET VARIABLE flocledger_published = '{str(parquet.parent).replace(chr(39), chr(39) * 2)}'")
    con.execute("SET enable_external_access = false")  # no network, no ATTACH, COPY, INSTALL
    con.execute("SET lock_configuration = true")


def _one_select(con: duckdb.DuckDBPyConnection, sql: str) -> str:
    try:
        statements = con.extract_statements(sql)
        kinds = [s.type for s in statements]
    except duckdb.Error as error:
        raise UsageError(_first_line(error), remedy="mend the statement; `flocledger ask --list` shows working ones") from error
    except ValueError:  # a kind of statement the Python API has no name for
        kinds = []
    if len(kinds) != 1 or kinds[0] not in (duckdb.StatementType.SELECT, duckdb.StatementType.EXPLAIN):
        raise UsageError("ask runs one SELECT statement", remedy="split it, or use DESCRIBE, SHOW TABLES, SUMMARIZE or a query")
    return statements[0].query


def _refuse(con: duckdb.DuckDBPyConnection, statement: str) -> None:
    """Refuse names of the closed list anywhere in the parsed statement (EXPLAIN is judged by its inner SELECT)."""
    inner = statement.strip()
    while inner[:7].lower() == "explain":
        inner = inner[7:].strip()
        if inner[:7].lower() == "analyze":
            inner = inner[7:].strip()
    parsed = json.loads(con.execute("SELECT json_serialize_sql($q)", {"q": inner}).fetchall()[0][0])
    if parsed.get("error"):
        raise UsageError(parsed.get("error_message", "the statement cannot be read"), remedy="use a plain SELECT")
    named = sorted(_names(parsed) & _REFUSED)
    if named:
        raise UsageError(f"{named[0]} is not available here", remedy="ask reads the published tables only; `SHOW TABLES` lists them")


def _names(node: object) -> set[str]:
    if isinstance(node, dict):
        own = {str(node[k]).lower() for k in ("function_name", "table_name") if isinstance(node.get(k), str)}
        return own.union(*(_names(child) for child in node.values()))
    if isinstance(node, list):
        return set().union(*(_names(child) for child in node))
    return set()


def _timed(con: duckdb.DuckDBPyConnection, statement: str, parameters: dict[str, Any], seconds: float) -> pl.DataFrame:
    timer = threading.Timer(seconds, con.interrupt)
    timer.start()
    try:
        with _address_space(EXTRA_BYTES):
            return _fetched(con, statement, parameters)
    except (duckdb.InterruptException, OSError) as error:
        if "INTERRUPT" not in str(error):
            raise UsageError(_first_line(error), remedy="narrow the statement") from error
        raise UsageError(
            f"the statement took longer than {seconds:g} s and was stopped", remedy="narrow the days, or raise --seconds"
        ) from error
    except (duckdb.Error, MemoryError) as error:
        raise UsageError(_first_line(error), remedy="the names of tables and columns are in the table `dictionary`") from error
    finally:
        timer.cancel()


def _fetched(con: duckdb.DuckDBPyConnection, statement: str, parameters: dict[str, Any]) -> pl.DataFrame:
    """Return the answer, taken in batches and counted: DuckDB's memory limit does not see what has left it."""
    import polars as pl
    import pyarrow as pa

    reader = con.sql(statement, params=parameters or None).to_arrow_reader(_BATCH_ROWS)
    batches, size = [], 0
    for batch in reader:
        size += batch.nbytes
        if size > MOST_BYTES:
            raise UsageError(
                f"the answer is larger than {MOST_BYTES // 2**20} MiB and was stopped",
                remedy="narrow the days or columns, or read the Parquet files beside the published file",
            )
        batches.append(batch)
    try:
        found = pl.from_arrow(pa.Table.from_batches(batches, schema=reader.schema))
    except pl.exceptions.ComputeError as error:
        raise UsageError("a column of the answer has a type that cannot be shown", remedy="cast it, as in x::VARCHAR") from error
    assert isinstance(found, pl.DataFrame)
    return found


@contextmanager
def _address_space(extra: int) -> Iterator[None]:
    """Hold this process to so many bytes more than it has mapped now, where the system can: one value can pass DuckDB's own limit."""
    try:
        import resource

        mapped = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    except (ImportError, OSError):  # not Linux
        yield
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    wanted = mapped + extra
    resource.setrlimit(resource.RLIMIT_AS, (wanted if soft == resource.RLIM_INFINITY else min(soft, wanted), hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _first_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0]
