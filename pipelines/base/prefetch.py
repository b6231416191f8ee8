"""Prefetch: the next piece of a file is read while the current one is processed."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Generic, Self, TypeVar

Item = TypeVar("Item")
_END = object()


class Prefetch(Generic[Item]):
    """Iterator whose next items are produced in another thread, beginning at once.

    At most `waiting` items are queued, so memory holds one more. An error of the source is raised in place of its item.
    """

    def __init__(self, source: Iterator[Item], waiting: int = 1) -> None:
        self._source, self._is_open = source, True
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="ahead")
        self._following = deque(self._pool.submit(next, source, _END) for _ in range(waiting))

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> Item:
        if not self._is_open:
            raise StopIteration
        try:
            item = self._following.popleft().result()
        except BaseException:
            self.close()
            raise
        if item is _END:
            self.close()
            raise StopIteration
        self._following.append(self._pool.submit(next, self._source, _END))
        return item  # type: ignore[return-value]

    def wait(self) -> None:
        """Wait until the next item, or its error, is there."""
        wait([self._following[0]])

    def close(self) -> None:
        """End the thread and close the source after its current item; may be called more than once."""
        if self._is_open:
            self._is_open = False
            self._pool.shutdown(cancel_futures=True)
            close = getattr(self._source, "close", None)
            if close is not None:
                close()
