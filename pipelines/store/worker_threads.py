"""Run work on one store in several threads, each with its own connection."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from queue import SimpleQueue
from typing import Self, TypeVar

from pipelines.store import Store

Result = TypeVar("Result")


class WorkerThreads:
    """Threads with a store connection each; as a context manager it waits for them on exit."""

    def __init__(self, store: Store, count: int = 2) -> None:
        self._pool, self._open, self._free = ThreadPoolExecutor(count, thread_name_prefix="side"), ExitStack(), SimpleQueue[Store]()
        for _ in range(count):
            self._free.put(self._open.enter_context(store.beside()))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, error: object, *_: object) -> None:
        self._pool.shutdown(cancel_futures=error is not None)
        self._open.close()

    def submit(self, work: Callable[[Store], Result]) -> Future[Result]:
        """Queue work on the store; it sees the data committed when it starts."""
        return self._pool.submit(self._on_one, work)

    def _on_one(self, work: Callable[[Store], Result]) -> Result:
        side = self._free.get()
        try:
            return work(side)
        finally:
            self._free.put(side)
