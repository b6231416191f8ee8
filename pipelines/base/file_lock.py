"""Locks between processes: the file names its holder; the operating system releases the lock when the process ends."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.base.errors import LockedError


@contextmanager
def waiting_for(path: Path) -> Iterator[None]:
    """Acquire the lock of a file, waiting for its holder."""
    import fcntl

    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+", encoding="utf-8") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


@contextmanager
def held(path: Path, what: str, *, remedy: str, words: str = "") -> Iterator[None]:
    """Acquire the lock of a file and write process id and `words` into it; raise LockedError, naming the holder, when it is taken."""
    import fcntl

    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+", encoding="utf-8") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            handle.seek(0)
            holder = handle.read(200).strip() or "another process"
            raise LockedError(f"{what} is held by {holder}", remedy=remedy) from None
        handle.seek(0)
        handle.truncate()
        handle.write(f"process {os.getpid()}{words}\n")
        handle.flush()
        yield
