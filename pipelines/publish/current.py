"""State of the published file: usable, open for writing elsewhere, or damaged."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.base.errors import LockedError, Notice
from pipelines.base.home import Home
from pipelines.store import connect, faults


@contextmanager
def usable(home: Home, notices: list[Notice]) -> Iterator[Path | None]:
    """Give a path under which the published file can be read; None when there is none or it is damaged.

    A file that somebody opened for writing cannot be read in its place: a copy is given, and `notices` say who holds it.
    """
    if not home.database.exists():
        yield None
        return
    copy = home.published / ".flocledger.copy"
    try:
        connect(home.database, read_only=True).close()
    except LockedError as error:
        sentence = f"{error.args[0]}: it was replaced all the same; readers should open it read-only (duckdb -readonly, read_only=True)"
        notices.append(Notice("published.opened_for_writing", sentence, {"file": str(home.database)}))
        try:
            shutil.copyfile(home.database, copy)
            yield copy
        finally:
            copy.unlink(missing_ok=True)
        return
    except Exception as error:
        if not faults.is_damage(error):
            raise
        notices.append(damaged(home, error))
        yield None
        return
    yield home.database


def damaged(home: Home, error: Exception) -> Notice:
    """Return the notice that the published file was damaged and is made anew."""
    cause = str(error).strip().splitlines()[0]
    sentence = f"{home.database} was damaged ({cause}) and was made anew from the Parquet files and the store"
    return Notice("published.damaged", sentence, {"file": str(home.database)})
