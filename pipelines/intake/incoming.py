"""Files waiting in a plant's inbox; a large one is prefetched while the file before it is loaded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Self

from pipelines import check, receive
from pipelines.base.home import Home
from pipelines.check import Reading
from pipelines.files.original import Original
from pipelines.plant.model import PlantFile


class Incoming:
    """The complete files of a plant's inbox, oldest first: (path, what gives its fingerprint, what reads it if begun).

    One of them is hashed and prefetched: a large export, where an open file may be moved. One of the first two begins at once,
    before the store is open; a later one while the file before it is loaded, unless that one is itself prefetched.
    `left` is what stays in the inbox, with the reason. Use as a context manager; iterate once.
    """

    def __init__(self, home: Home, plant_file: PlantFile, received_utc: datetime, *, settle_s: float = 0.0) -> None:
        self._plant_file, self._received_utc = plant_file, received_utc
        found = receive.waiting(home, plant_file.plant.id, settle_s=settle_s)
        self._paths, self.left = found.complete, found.left
        self._hashing = ThreadPoolExecutor(1, thread_name_prefix="hash")
        self._ahead: tuple[Future[Original], Reading] | None = None
        self._looked_at = -1
        for place in (0, 1):
            self._begin(place)

    def _begin(self, place: int) -> None:
        """Begin to prefetch a file, unless one is in progress or this one was tried."""
        if self._ahead is None and self._looked_at < place < len(self._paths):
            self._looked_at = place
            received = receive.open_early(self._paths[place], self._plant_file)
            if received is not None and not received.layout.is_lab:
                original = self._hashing.submit(receive.fingerprint, self._paths[place])
                self._ahead = original, check.Reading(received, self._plant_file, self._received_utc)

    def __iter__(self) -> Iterator[tuple[Path, Callable[[], Original], Reading | None]]:
        for place, path in enumerate(self._paths):
            self._begin(place)
            here = self._ahead if self._looked_at == place else None
            self._begin(place + 1)
            if here is None:
                yield path, partial(receive.fingerprint, path), None
            else:
                yield path, here[0].result, here[1]
                self._close_reading()

    def _close_reading(self) -> None:
        if self._ahead is not None:
            self._ahead[1].pieces.close()
            self._ahead = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._close_reading()
        self._hashing.shutdown(cancel_futures=True)
