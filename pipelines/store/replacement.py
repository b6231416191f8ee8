"""Build a new store beside the old one and swap it in when it is complete."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.base import clock, file_lock
from pipelines.base.errors import DataMissingError, LockedError
from pipelines.store import faults
from pipelines.store.plant_store import Store

CARRIED_OVER = {"loads", "plant_file_versions", "kpi_day_history", "pending_days"}  # tables that a rebuild carries over from the old store


@contextmanager
def replaced(path: Path, plant: str) -> Iterator[tuple[Store | None, Store]]:
    """Yield the old store and an empty new one; if the block ends without an error, the new store replaces the old one.

    The old store holds the plant's lock meanwhile and stays unchanged until the swap. It is None when there is none or it is damaged:
    a damaged file is kept beside the new store as `<plant>.damaged-<time>.duckdb`.
    """
    fresh = path.with_suffix(".rebuild.duckdb")
    with file_lock.held(path.with_suffix(".rebuild.lock"), f"the rebuild of {plant}", remedy="wait until it has ended"):
        was_there, old = path.exists(), _opened(path, plant)
        try:
            for stale in (fresh, fresh.with_name(fresh.name + ".wal")):  # of a rebuild that was killed
                stale.unlink(missing_ok=True)
            with Store(fresh, plant) as store:
                yield old, store
            if was_there and old is None:
                _set_aside(path)
            fresh.replace(path)
        finally:
            if old is not None:
                old.con.close()


def _opened(path: Path, plant: str) -> Store | None:
    """Open the old store without changing it; None when it is not there or cannot be read."""
    if not path.exists():
        return None
    try:
        old = Store(path, plant, upgrade=False)
    except (LockedError, DataMissingError):
        raise
    except Exception as error:
        if not faults.is_damage(error):
            raise
        return None
    try:
        old.rows("CHECKPOINT")  # the write-ahead log of a killed run must not be left beside the new store
        for table in old.tables() & CARRIED_OVER:
            old.frame(f"SELECT * FROM {table}")
    except Exception as error:
        old.con.close()
        if not faults.is_damage(error):
            raise
        return None
    return old


def _set_aside(path: Path) -> None:
    """Keep a damaged store, and its log, under another name."""
    stamp = clock.now_utc().strftime("%Y%m%dT%H%M%SZ")
    for part in (path, path.with_name(path.name + ".wal")):
        if part.exists():
            part.replace(path.with_name(part.name.replace(path.stem, f"{path.stem}.damaged-{stamp}", 1)))
