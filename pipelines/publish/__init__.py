"""Publish: one read-only DuckDB file and Parquet for all plants, built aside, checked, and swapped in.

The published file is written in DuckDB storage v1.2.0, which its 1.x tools from 1.2 on can read (those of analysts often
are); the default of DuckDB 2 they refuse. Readings are in Parquet only: in the file of all plants they would be copied
again every night. Parquet is written and the next file made side by side; when both are whole the file is swapped in, then the
work list is emptied: killed anywhere, the old file stays readable and the days are still on the list, so the next run does
the same again.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from datetime import date, datetime
from functools import partial
from pathlib import Path

from pipelines.base import clock, file_lock
from pipelines.base.errors import Notice
from pipelines.base.home import Home
from pipelines.base.receipts import StepReceipt
from pipelines.publish import current, database, ledger, parquet, readings
from pipelines.publish.carry_over import carry_over, taken_in
from pipelines.publish.database import ONLY_PARQUET, Spans, published_tables
from pipelines.store import Store, connect, faults
from pipelines.store.plant_store import content_hash
from pipelines.store.worker_threads import WorkerThreads
from schemas import TABLES

__all__ = ["ONLY_PARQUET", "carry_over", "hashes", "published_tables", "readings", "run", "taken_in"]


def run(
    home: Home,
    store: Store,
    *,
    whole: bool = False,
    known_from: datetime | None = None,
    readings_written: Future[set[date]] | None = None,
    notices: list[Notice] | None = None,
) -> StepReceipt:
    """Bring the published file and Parquet up to date with a plant's store; waits while another plant publishes.

    `readings_written` is the writing of readings to Parquet that has begun already, and gives their days.
    `whole` publishes every day again and packs the file anew; `known_from` is the time new versions of days are known from
    in the ledger (default: receipt of the last file). What a person should know is added to `notices`. InternalError when a check
    fails; the old file stays.
    """
    started, said = clock.stopwatch(), [] if notices is None else notices
    cut = _mark_damaged(home, store, said)
    days = store.pending_days("publish")
    if not whole and not days and not cut:
        with current.usable(home, said) as published:
            if database.state(published, store).loads == store.rows("SELECT count(*) FROM loads")[0][0]:
                return StepReceipt("publish", 0, {}, clock.stopwatch() - started)
    with file_lock.waiting_for(home.publish_lock), current.usable(home, said) as published:
        found = database.state(published, store)  # a load that touched no day (a file set aside whole) is told by the count
        anew = whole or bool(store.emptied) or not found.is_of_today
        spans = None if anew or not found.loads else contiguous(days)
        with WorkerThreads(store, 1) as side:
            tables = [t for t in published_tables() if t.name != ledger.TABLE]
            in_parquet = [side.submit(partial(parquet.write, home, table=t, spans=None if t.name in cut else spans)) for t in tables]
            with store.transaction():
                ledger.take_back_unpublished(store, published)
                added = ledger.write(store, published, spans, known_from)
                store.mark_days(ledger.STAGE, {day for _, day, _ in added})
            try:
                in_parquet.append(side.submit(partial(_rest_in_parquet, home, spans=spans, readings_written=readings_written)))
                build = partial(database.build, home, store, before_swap=lambda: [one.result() for one in in_parquet])
                rows = _built(home, build, published, spans, anew=anew, notices=said)
            except BaseException:
                with store.transaction():
                    ledger.take_back(store, added)
                raise
    if added or not home.ledger(store.plant).exists():
        ledger.keep_copy(store, home.ledger(store.plant))
    with store.transaction():
        for stage in ("publish", readings.STAGE, ledger.STAGE):
            store.clear_days(stage)
    return StepReceipt("publish", len(days), rows, clock.stopwatch() - started)


def _built(
    home: Home,
    build: Callable[..., dict[str, int]],
    published: Path | None,
    spans: Spans | None,
    *,
    anew: bool,
    notices: list[Notice],
) -> dict[str, int]:
    """Build and swap in the next file; where a page of the current one turns out damaged, make it from store and Parquet."""
    try:
        return build(spans, published=published, anew=anew)
    except Exception as error:
        if published is None or not faults.is_damage(error):
            raise
        notices.append(current.damaged(home, error))
        return build(None, published=None, anew=True)


def _mark_damaged(home: Home, store: Store, notices: list[Notice]) -> set[str]:
    """Return the tables whose Parquet files of the plant are cut, and put damaged days of readings on their list; a notice names them."""
    damaged = parquet.damaged(home, store.plant)
    if damaged:
        names = ", ".join(str(path.relative_to(home.published)) for path in damaged[:3]) + (" ..." if len(damaged) > 3 else "")
        sentence = f"{len(damaged)} Parquet file{'s' if len(damaged) > 1 else ''} cut or damaged, written again: {names}"
        notices.append(Notice("published.parquet_damaged", sentence, {"files": [str(path) for path in damaged]}))
    tables = {path.relative_to(home.parquet).parts[0] for path in damaged}
    store.mark_days(readings.STAGE, {readings.day_of(path) for path in damaged if "readings" in path.parts})
    return tables


def _rest_in_parquet(home: Home, store: Store, spans: Spans | None, readings_written: Future[set[date]] | None) -> None:
    """Write the ledger and what is lacking of the readings."""
    parquet.write(home, store, TABLES[ledger.TABLE], spans)
    written = readings_written.result() if readings_written is not None else set()
    written |= readings.write(home, store, set(store.pending_days(readings.STAGE)) - written)
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
