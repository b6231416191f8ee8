"""Publish: one read-only DuckDB file and Parquet for all plants, built aside, checked, and swapped in.

The published file is written in DuckDB storage v1.2.0, which its 1.x tools from 1.2 on can read (those of analysts often
are); the default of DuckDB 2 they refuse. Readings are in Parquet only: in the file of all plants they would be copied
again every night. Parquet is written and the next file made side by side; when both are whole the file is swapped in, then the
work list is emptied: killed anywhere, the old file stays readable and the days are still on the list, so the next run does
the same again.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from datetime import date, datetime
from functools import partial

from pipelines.base import clock
from pipelines.base.home import Home
from pipelines.base.receipts import StepReceipt
from pipelines.plant.model import PlantFile
from pipelines.publish import database, ledger, parquet, readings
from pipelines.publish.database import ONLY_PARQUET, published_tables
from pipelines.store import Store, connect
from pipelines.store.plant_store import content_hash
from pipelines.store.worker_threads import WorkerThreads
from schemas import TABLES

__all__ = ["ONLY_PARQUET", "hashes", "published_tables", "readings", "run"]


def run(
    home: Home,
    store: Store,
    plant_file: PlantFile,
    *,
    whole: bool = False,
    known_from: datetime | None = None,
    meanwhile: Future[set[date]] | None = None,
) -> StepReceipt:
    """Bring the published file and Parquet up to date with a plant's store; waits while another plant publishes.

    `meanwhile` writes the readings already, and gives their days.
    `whole` publishes every day again and packs the file anew; `known_from` is the time new versions of days are known from
    in the ledger (default: receipt of the last file). InternalError when a check fails; the old file stays.
    """
    del plant_file  # settings the pages need are in line_settings
    started = clock.stopwatch()
    days = store.pending_days("publish")
    if not whole and not days and database.state(home, store).loads == store.rows("SELECT count(*) FROM loads")[0][0]:
        return StepReceipt("publish", 0, {}, clock.stopwatch() - started)
    with _alone(home):
        found = database.state(home, store)  # a load that touched no day (a file set aside whole) is told by the count
        anew = whole or bool(store.emptied) or not found.is_of_today
        everything = anew or not found.loads
        spans = None if everything else contiguous(days)
        with WorkerThreads(store, 1) as side:
            tables = (t for t in published_tables() if t.name != ledger.TABLE)
            in_parquet = [side.submit(partial(parquet.write, home, table=t, spans=spans)) for t in tables]
            with store.transaction():
                ledger.take_back_unpublished(home, store)
                added = ledger.write(home, store, spans, known_from)
                store.mark_days(ledger.STAGE, {day for _, day, _ in added})
            try:
                in_parquet.append(side.submit(partial(_rest_in_parquet, home, spans=spans, meanwhile=meanwhile)))
                rows = database.build(home, store, spans, anew=anew, before_swap=lambda: [one.result() for one in in_parquet])
            except BaseException:
                with store.transaction():
                    ledger.take_back(store, added)
                raise
    with store.transaction():
        for stage in ("publish", readings.STAGE, ledger.STAGE):
            store.clear_days(stage)
    return StepReceipt("publish", len(days), rows, clock.stopwatch() - started)


def _rest_in_parquet(home: Home, store: Store, spans: list[tuple[date, date]] | None, meanwhile: Future[set[date]] | None) -> None:
    """Write the ledger and what is lacking of the readings."""
    parquet.write(home, store, TABLES[ledger.TABLE], spans)
    written = meanwhile.result() if meanwhile is not None else readings.write(home, store, store.pending_days(readings.STAGE))
    if spans is None:
        readings.write_all(home, store, written)


def contiguous(days: list[date]) -> list[tuple[date, date]]:
    """Return sorted days as spans (first, last) of days that follow each other."""
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and (day - spans[-1][1]).days == 1:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    return spans


@contextmanager
def _alone(home: Home) -> Iterator[None]:
    """Hold the publish lock: several plants share one published file, each waits for its turn."""
    import fcntl

    home.published.mkdir(parents=True, exist_ok=True)
    with home.publish_lock.open("w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)  # falls with the process
        yield


def hashes(home: Home) -> dict[str, str]:
    """Return a content hash of every published table, and of every table in Parquet as `parquet/<table>`.

    The ledger of published versions is left out: it depends on when runs took place, and a rebuild carries it over.
    """
    con = connect(home.database, read_only=True)
    try:
        names = [r[0] for r in con.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY 1").fetchall()]
        found = {name: content_hash(con, name) for name in names if name != ledger.TABLE}
    finally:
        con.close()
    memory = connect()
    for folder in sorted(home.parquet.glob("*")):
        files = [str(p) for p in sorted(folder.rglob("*.parquet"))]
        if files and folder.name in TABLES and folder.name != ledger.TABLE:
            columns = ", ".join(TABLES[folder.name].column_names)
            listed = ", ".join(database.quoted(f) for f in files)
            source = f"(SELECT {columns} FROM read_parquet([{listed}], hive_partitioning = false))"
            found[f"parquet/{folder.name}"] = content_hash(memory, source)
    memory.close()
    return found
