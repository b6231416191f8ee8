"""Reading ahead changes neither items, their order, nor where an error comes."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from pipelines.base.prefetch import Prefetch


def test_all_items_in_order() -> None:
    assert list(Prefetch(iter(range(100)))) == list(range(100))
    assert list(Prefetch(iter([]))) == []
    assert list(Prefetch(iter([None, 0, False]))) == [None, 0, False]


def test_an_error_comes_after_the_items_before_it() -> None:
    def broken() -> Iterator[int]:
        yield 1
        yield 2
        raise ValueError("third")

    items = Prefetch(broken())
    assert [next(items), next(items)] == [1, 2]
    with pytest.raises(ValueError, match="third"):
        next(items)


def test_the_next_item_is_made_meanwhile_and_never_more_than_one() -> None:
    made, second = [], threading.Event()

    def source() -> Iterator[int]:
        for i in range(5):
            made.append(i)
            if i == 1:
                second.set()
            yield i

    items = Prefetch(source())
    assert next(items) == 0
    assert second.wait(10)
    assert made == [0, 1]
    items.close()
    assert made == [0, 1]


def test_more_items_may_wait_and_a_closed_source_makes_no_more() -> None:
    made: list[int] = []

    def source() -> Iterator[int]:
        for i in range(9):
            made.append(i)
            yield i

    items = Prefetch(source(), waiting=3)
    assert [next(items), next(items)] == [0, 1]
    items.close()
    assert len(made) <= 5  # two taken, three waiting
    assert list(items) == []
    assert list(Prefetch(iter(range(20)), waiting=3)) == list(range(20))
