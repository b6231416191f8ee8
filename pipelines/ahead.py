"""One item ahead: the next piece of a file is read while the one at hand is worked on."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")


def ahead(source: Iterator[Item]) -> Iterator[Item]:
    """Yield the items of an iterator in order, the next one being made in another thread meanwhile.

    One item waits at most, so memory holds two. An error of the source comes where its item would have come.
    """
    end = object()
    with ThreadPoolExecutor(1, thread_name_prefix="ahead") as pool:
        following = pool.submit(next, source, end)
        while (item := following.result()) is not end:
            following = pool.submit(next, source, end)
            yield item  # type: ignore[misc]
