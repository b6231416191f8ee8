"""Publish: a read-only DuckDB file and Parquet for each plant, and one small DuckDB file of views over the Parquet of all plants.

A plant's night writes its own share only. Published files are written in DuckDB storage v1.2.0, which its 1.x tools from 1.2 on can read
(those of analysts often are); the default of DuckDB 2 they refuse. Readings are in Parquet only: in the plant's file they would be
copied again every night. Parquet and the next file are written side by side, beside what they replace; when all are whole they are put
in place, then the work list is emptied: killed anywhere, the old files stay readable and the days are still on the list, so the next
run does the same again.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from datetime import date, datetime
from functools import partial
from pathlib import Path

from pipelines.base import clock
from pipelines.base.errors import Notice
from pipelines.base.home import Home
from pipelines.base.receipts import StepReceipt
from pipelines.plant.calendar import contiguous
from pipelines.publish import all_plants, current, database, ledger, parquet, readings
from pipelines.publish.carry_over import carry_over, taken_in
from pipelines.publish.database import ONLY_PARQUET, Spans, published_tables
from pipelines.publish.describe import WRITTEN_HERE
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
    """Bring a plant's published file and Parquet up to date with its store, and the file of all plants where it lacks the plant.

    `readings_written` is the writing of readings to Parquet that has begun already, and gives their days.
    `whole` publishes every day again and packs the file anew; `known_from` is the time new versions of days are known from
    in the ledger (default: receipt of the last file). What a person should know is added to `notices`. InternalError when a check
    fails; the old file stays.
    """
    started, said = clock.stopwatch(), [] if notices is None else notices
    cut = _mark_damaged(home, store, said)
    days, rows, added = store.pending_days("publish"), dict[str, int](), list[ledger.Key]()
    with current.usable(home.published_plant(store.plant), said) as published:
        found = database.state(published, store)  # a load that touched no day (a file set aside whole) is told by the count
        if whole or days or cut or found.loads != store.rows("SELECT count(*) FROM loads")[0][0]:
            anew = whole or bool(store.emptied) or not found.is_of_today or not found.loads
            spans = None if anew else contiguous(days)
            rows, added = _published(home, store, published, spans, cut, known_from, readings_written, said)
    if added or (rows and not home.ledger(store.plant).exists()):
        ledger.keep_copy(store, home.ledger(store.plant))
    if published is not None or rows:
        all_plants.refresh(home, store.plant, said, whole=whole)
    with store.transaction():
        for stage in ("publish", readings.STAGE, ledger.STAGE):
            store.clear_days(stage)
    return StepReceipt("publish", len(days), rows, clock.stopwatch() - started)


def _published(
    home: Home, store: Store, published: Path | None, spans: Spans | None, cut: set[str],
    known_from: datetime | None, readings_written: Future[set[date]] | None, notices: list[Notice],
) -> tuple[dict[str, int], list[ledger.Key]]:  # fmt: skip
    """Write ledger, Parquet and the plant's file, and put them in place; return rows written per table and versions added."""
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
            rows = _built(build, published, spans, home.published_plant(store.plant), notices)
        except BaseException:
            with store.transaction():
                ledger.take_back(store, added)
            raise
    for one in in_parquet:
        parquet.put(one.result())
    return rows, added


def _built(
    build: Callable[..., dict[str, int]], published: Path | None, spans: Spans | None, path: Path, notices: list[Notice]
) -> dict[str, int]:
    """Build and swap in the next file; where a page of the current one turns out damaged, make it from the store."""
    base = None if spans is None else published
    try:
        return build(spans, published=base)
    except Exception as error:
        if base is None or not faults.is_damage(error):
            raise
        notices.append(current.damaged(path, error))
        return build(None, published=None)


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


def _rest_in_parquet(home: Home, store: Store, spans: Spans | None, readings_written: Future[set[date]] | None) -> list[parquet.Change]:
    """Write the ledger and what is lacking of the readings; return the ledger's files to put in place."""
    changes = parquet.write(home, store, TABLES[ledger.TABLE], spans)
    written = readings_written.result() if readings_written is not None else set()
    written |= readings.write(home, store, set(store.pending_days(readings.STAGE)) - written)
    if spans is None:
        readings.write_all(home, store, written)
    return changes


def hashes(home: Home) -> dict[str, str]:
    """Return a content hash of every published table, and of every table in Parquet as `parquet/<table>`.

    The ledger of published versions is left out: it depends on when runs took place, and a rebuild carries it over.
    """
    memory, found = connect(), dict[str, str]()
    paths = sorted(home.published.glob("plants/*.duckdb"))
    for number, path in enumerate(paths):
        memory.execute(f"ATTACH {database.quoted(path)} AS plant_{number} (READ_ONLY)")
    for table in (t.name for t in published_tables() if t.name != ledger.TABLE):
        each = " UNION ALL ".join(f"SELECT * FROM plant_{number}.main.{table}" for number in range(len(paths)))
        found[table] = content_hash(memory, f"({each})")
    memory.execute(f"ATTACH {database.quoted(home.database)} AS words (READ_ONLY)")
    found |= {name: content_hash(memory, f"words.main.{name}") for name in WRITTEN_HERE}
    for folder in sorted(home.parquet.glob("*")):
        files = [str(p) for p in sorted(folder.rglob("*.parquet"))]
        if files and folder.name in TABLES and folder.name != ledger.TABLE:
            columns = ", ".join(TABLES[folder.name].column_names)
            listed = ", ".join(database.quoted(f) for f in files)
            source = f"(SELECT {columns} FROM read_parquet([{listed}], hive_partitioning = false))"
            found[f"parquet/{folder.name}"] = content_hash(memory, source)
    memory.close()
    return found
