"""State of a published file: usable, open for writing elsewhere, or damaged."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.base.errors import LockedError, Notice
from pipelines.store import connect, faults


@contextmanager
def usable(path: Path, notices: list[Notice]) -> Iterator[Path | None]:
    """Give a path under which a published file can be read; None when there is none or it is damaged.

    A file that somebody opened for writing cannot be read in its place: a copy is given, and `notices` say who holds it.
    """
    if not path.exists():
        yield None
        return
    copy = path.with_name(f".{path.stem}.copy")
    try:
        connect(path, read_only=True).close()
    except LockedError as error:
        sentence = f"{error.args[0]}: it was replaced all the same; readers should open it read-only (duckdb -readonly, read_only=True)"
        notices.append(Notice("published.opened_for_writing", sentence, {"file": str(path)}))
        try:
            shutil.copyfile(path, copy)
            yield copy
        finally:
            copy.unlink(missing_ok=True)
        return
    except Exception as error:
        if not faults.is_damage(error):
            raise
        notices.append(damaged(path, error))
        yield None
        return
    yield path


def damaged(path: Path, error: Exception) -> Notice:
    """Return the notice that a published file was damaged and is made again."""
    cause = str(error).strip().splitlines()[0]
    sentence = f"{path} was damaged ({cause}) and was made again"
    return Notice("published.damaged", sentence, {"file": str(path)})
