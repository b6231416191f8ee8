"""What no original can give back, for a store made anew: plant files used so far and the ledger of published versions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.base.errors import Notice
from pipelines.base.home import Home
from pipelines.publish import ledger, parquet
from pipelines.store import Store, connect
from schemas import TABLES

if TYPE_CHECKING:
    import polars as pl

_ORDER = {"plant_file_versions": "use_no, first_used_utc, plant_file_id", ledger.TABLE: "line, operating_day, version"}


def carry_over(home: Home, old: Store | None, new: Store) -> list[Notice]:
    """Bring plant files and ledger into a fresh store: from the old store, else from the copies beside plant files and originals.

    Returns a notice when no ledger is found though there was an archive: the history of restatements then begins anew.
    """
    for table, order in _ORDER.items():
        frame = _of_store(old, table, order) if old is not None else _of_files(home, new.plant, table, order)
        if frame is not None:
            new.append_earlier(table, frame)
    if old is not None:
        for table in (
            t.name for t in TABLES.values() if t.step == "compare" and t.name in old.tables()
        ):  # results stand as they were stated
            new.append_earlier(table, old.frame(f"SELECT * FROM {table}"))
        if "pending_days" in old.tables():
            new.mark_days(ledger.STAGE, old.pending_days(ledger.STAGE))  # versions nobody has seen yet
        return []
    if new.rows(f"SELECT 1 FROM {ledger.TABLE} LIMIT 1"):
        return []
    sentence = (
        f"the ledger of restatements was found neither in a store, nor in {home.ledger(new.plant).name} beside the plant file, nor published: "
        "it begins anew with this rebuild"
    )
    return [Notice("ledger.absent", sentence, {"plant": new.plant})]


def taken_in(home: Home, old: Store | None, plant: str) -> list[str] | None:
    """Return the names in the archive of all originals that were taken in before; None when neither store nor Parquet says."""
    sql = "SELECT DISTINCT split_part(archived_as, '/', 1) FROM {0} ORDER BY 1"  # a member of a ZIP archive follows its slash
    if old is not None:
        return [name for (name,) in old.rows(sql.format("loads"))] if "loads" in old.tables() else []
    loads = parquet.folder_of(home, "loads", plant) / "part.parquet"
    if not parquet.is_whole(loads):
        return None
    con = connect()
    try:
        return [name for (name,) in con.execute(sql.format("read_parquet($f, hive_partitioning = false)"), {"f": str(loads)}).fetchall()]
    finally:
        con.close()


def _of_store(old: Store, table: str, order: str) -> pl.DataFrame | None:
    """Return the rows of a table of the old store, which may be of an earlier version."""
    if table not in old.tables():
        return None
    columns = {
        name
        for (name,) in old.rows(
            "SELECT column_name FROM duckdb_columns() WHERE table_name = $t AND database_name = current_database()", {"t": table}
        )
    }
    by = ", ".join(column for column in order.split(", ") if column in columns)
    return old.frame(f"SELECT * FROM {table} ORDER BY {by}")


def _of_files(home: Home, plant: str, table: str, order: str) -> pl.DataFrame | None:
    """Return the rows of a table from the copy beside the plant file (the ledger), else from published Parquet."""
    import polars as pl

    beside: list[Path] = [home.ledger(plant)] if table == ledger.TABLE else []
    for paths in (beside, sorted(parquet.folder_of(home, table, plant).rglob("*.parquet"))):
        if paths and all(parquet.is_whole(path) for path in paths):
            return pl.concat([pl.read_parquet(path, hive_partitioning=False) for path in paths], how="diagonal").sort(order.split(", "))
    return None
