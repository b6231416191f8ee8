"""The store of a plant, and the only module that opens DuckDB.

One DuckDB file a plant, one writer at a time. Frames go in and come out as polars; tables are made from
`schemas`. Anything that must survive a kill is written inside `Store.transaction`.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import duckdb

from pipelines.base.errors import DataMissingError, LockedError
from pipelines.store import migrate
from schemas import TABLES

if TYPE_CHECKING:
    import polars as pl

# No network, ever; time zone fixed, since DuckDB otherwise follows the process.
_CONFIG = {"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}


def connect(
    path: str | Path = ":memory:", *, read_only: bool = False, config: dict[str, str] | None = None, locked: bool = False
) -> duckdb.DuckDBPyConnection:
    """Open a DuckDB file (or memory) with this project's settings; LockedError says who holds the file.

    `locked=True` ends with the configuration locked, for statements of others.
    """
    extra = dict(config or {})
    extra.pop("lock_configuration", None)
    try:
        con = duckdb.connect(str(path), read_only=read_only, config={**_CONFIG, **extra})
    except duckdb.IOException as error:
        raise _explained(error, Path(path)) from error
    con.execute("SET TimeZone = 'UTC'")
    con.execute("SET enable_progress_bar = false")
    if locked:
        con.execute("SET lock_configuration = true")
    return con


def _explained(error: duckdb.IOException, path: Path) -> Exception:
    held = re.search(r"held in (.+?) \(PID (\d+)\)", str(error))
    if held:
        return LockedError(
            f"{path.name} is being written by {held[1]}, process {held[2]}", remedy="wait until that run has ended, then run again"
        )
    if not path.exists():
        return DataMissingError(f"there is no {path}", remedy="run `flocledger nightly` first")
    return error


# One thread: with several, a sum of doubles adds in an order that changes from run to run, and rows lie scattered over more
# blocks at half as much work again. The other core reads ahead, or writes Parquet. Memory for blocks ends somewhere: a backfill
# of a year must not keep all that it wrote.
_OF_STORE = {"threads": "1", "memory_limit": "1GiB"}


class Store:
    """A plant's store, open for writing by one process; use as a context manager.

    Opening brings the tables of an earlier version up to date (`migrate`), unless `upgrade` is false. `read_only`: nothing is
    made or changed, and several may read at once; DataMissingError when there is no store, or one of another version.

    Frames are given to DuckDB as variables, found by their names: it would keep each registered frame in memory until the
    transaction ends, and a load is one transaction.
    """

    def __init__(self, path: Path, plant: str, *, upgrade: bool = True, read_only: bool = False) -> None:
        self.plant, self.path = plant, path
        if not read_only:
            path.parent.mkdir(parents=True, exist_ok=True)
        self.con = connect(path, config=_OF_STORE, read_only=read_only)
        try:
            self.emptied = migrate.upgrade(self.con, path.name) if upgrade and not read_only else []
            if read_only and not migrate.is_of_today(self.con):
                raise DataMissingError(f"{path.name} was made by another version of flocledger", remedy="run `flocledger nightly` first")
        except BaseException:
            self.con.close()  # otherwise DuckDB returns the instance this process has already opened
            raise
        if not read_only:
            self.con.execute("ATTACH ':memory:' AS work")
        self._numbers: dict[str, dict[str, int]] = {}  # by kind: text -> number, as far as asked for

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.con.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Run the block in one transaction."""
        self.con.execute("BEGIN")
        try:
            yield
        except BaseException:
            migrate.roll_back(self.con)
            self._numbers.clear()
            raise
        self.con.execute("COMMIT")

    @contextmanager
    def beside(self) -> Iterator[Store]:
        """Return another connection to the same store, for another thread; it sees committed data and `work`."""
        other = copy.copy(self)
        other.con, other._numbers = self.con.cursor(), {}
        try:
            other.con.execute("SET TimeZone = 'UTC'")  # of a connection, not of the store
            yield other
        finally:
            other.con.close()

    def frame(self, sql: str, **params: Any) -> pl.DataFrame:
        """Return the result of one query as a polars frame; parameters are named ($name). Sees the open transaction."""
        found: pl.DataFrame = self.con.sql(sql, params=params or None).pl()
        return found

    def rows(self, sql: str, params: dict[str, Any] | list[Any] | None = None) -> list[tuple[Any, ...]]:
        """Execute one statement and return all its rows as tuples."""
        return self.con.execute(sql, params or []).fetchall()

    def tables(self) -> set[str]:
        """Return the names of the tables in the store."""
        return {
            name
            for (name,) in self.rows("SELECT table_name FROM duckdb_tables() WHERE NOT internal AND database_name = current_database()")
        }

    def recorded(self) -> tuple[datetime | None, datetime | None]:
        """Return the times of the first and the last reading; None without any."""
        first, last = self.rows("SELECT min(time_utc), max(time_utc) FROM packed_readings")[0]
        return first, last

    def to_work(self, table: str, frame: pl.DataFrame) -> None:
        """Create or replace a table of `work`, the in-memory database, from a frame."""
        incoming = frame
        self.con.execute(f"CREATE OR REPLACE TABLE work.{table} AS SELECT * FROM incoming")
        del incoming

    def append(self, table: str, frame: pl.DataFrame) -> None:
        """Insert the frame's rows in their order; columns are matched by name."""
        if frame.height == 0:
            return
        if table == "readings":
            table, frame = "packed_readings", self._packed(frame)
        columns = ", ".join(TABLES[table].column_names)
        incoming = frame
        self.con.execute(f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM incoming")
        del incoming

    def append_earlier(self, table: str, frame: pl.DataFrame) -> None:
        """Insert rows of another version's table: dropped columns are ignored, new columns are null."""
        import polars as pl

        schema = TABLES[table].polars_schema()
        self.append(table, frame.select(pl.col(c) if c in frame.columns else pl.lit(None, kind).alias(c) for c, kind in schema.items()))

    def _packed(self, readings: pl.DataFrame) -> pl.DataFrame:
        """Return readings with numbers in place of tag (text or Enum) and load; numbers are assigned on first use."""
        tags, loads = self.numbers("tag", readings["tag"]), self.numbers("load_id", readings["load_id"])
        return readings.select(tags.alias("tag_no"), "time_utc", "value", "quality", loads.alias("load_no"))

    def numbers(self, kind: str, texts: pl.Series) -> pl.Series:
        """Return the numbers of tags ("tag") or loads ("load_id"), assigning new ones as needed; Int32."""
        import polars as pl

        table, number = ("tag_numbers", "tag_no") if kind == "tag" else ("load_numbers", "load_no")
        coded = texts if isinstance(texts.dtype, pl.Enum) else texts.cast(pl.Enum(texts.unique().sort()))
        distinct = coded.dtype.categories.to_list()  # type: ignore[attr-defined]
        known = self._numbers.get(kind) or dict(self.rows(f"SELECT {kind}, {number} FROM {table}"))
        new = [text for text in distinct if text not in known]
        if new:
            known |= {text: len(known) + k for k, text in enumerate(new, start=1)}
            frame = pl.DataFrame({number: [known[t] for t in new], "plant": self.plant, kind: new}, schema_overrides={number: pl.Int32})
            self.append(table, frame.select(TABLES[table].column_names))
        self._numbers[kind] = known
        return pl.Series(number, [known[t] for t in distinct], dtype=pl.Int32).gather(coded.to_physical())

    def upsert(self, table: str, frame: pl.DataFrame) -> None:
        """Replace rows of equal key by the frame's rows, insert the others; the frame's keys must be unique."""
        if frame.height == 0:
            return
        key = TABLES[table].key
        incoming_keys, match = frame.select(key), " AND ".join(f"t.{k} = k.{k}" for k in key)
        self.con.execute(f"DELETE FROM main.{table} t USING incoming_keys k WHERE {match}")
        del incoming_keys
        self.append(table, frame)

    def mark_hours(self, first: datetime, last: datetime) -> None:
        """Mark the UTC hours from `first` to `last`, both included, for align."""
        self.con.execute(
            "INSERT INTO pending_hours SELECT h FROM (SELECT unnest(generate_series(date_trunc('hour', $a::TIMESTAMPTZ), "
            "date_trunc('hour', $b::TIMESTAMPTZ), INTERVAL 1 HOUR)) AS h) WHERE h NOT IN (SELECT hour_utc FROM pending_hours)",
            {"a": first, "b": last},
        )

    def mark_days(self, stage: str, days: Iterable[date]) -> None:
        """Mark operating days for a stage (compute, watch, publish)."""
        import polars as pl

        known = set(self.pending_days(stage))
        new = sorted(set(days) - known)
        self.append(
            "pending_days", pl.DataFrame({"stage": [stage] * len(new), "operating_day": new}, schema=TABLES["pending_days"].polars_schema())
        )

    def pending_days(self, stage: str) -> list[date]:
        """Return the operating days marked for a stage, sorted."""
        return [r[0] for r in self.rows("SELECT operating_day FROM pending_days WHERE stage = $s ORDER BY 1", {"s": stage})]

    def clear_days(self, stage: str) -> None:
        """Clear the marks of a stage; call it in the transaction that did the work."""
        self.con.execute("DELETE FROM pending_days WHERE stage = $s", {"s": stage})


def content_hash(con: duckdb.DuckDBPyConnection, table: str, columns: Iterable[str] | None = None) -> str:
    """Return a hash of a table's content that does not depend on the order of its rows.

    Row count, xor and sum of 64-bit row hashes; equal bits of doubles are required. Comparable only
    within one DuckDB version.
    """
    chosen = ", ".join(columns) if columns else "*COLUMNS(*)"  # unpacked: COLUMNS(*) alone would hash the first column only
    row = con.execute(f"SELECT count(*), bit_xor(h), sum(h % 4294967296) FROM (SELECT hash({chosen}) AS h FROM {table})").fetchall()[0]
    return f"{row[0]}-{row[1] or 0:016x}-{int(row[2] or 0):x}"
