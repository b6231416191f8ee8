"""Work on one store from several threads: results and errors come back, what is committed is seen, nothing stays open."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path

import polars as pl
import pytest

from pipelines.store import Store
from pipelines.store.worker_threads import WorkerThreads


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "p.duckdb", "oak-run") as made:
        made.con.execute("CREATE TABLE work.seen AS SELECT 7 AS n")
        yield made


def test_each_thread_has_a_connection_of_its_own_that_sees_what_is_committed_and_work(store: Store) -> None:
    both = threading.Barrier(2, timeout=10)

    def look(side: Store) -> tuple[int, str, int]:
        both.wait()  # two at once, or it breaks
        return side.rows("SELECT n FROM work.seen")[0][0], side.rows("SELECT current_setting('TimeZone')")[0][0], id(side.con)

    with WorkerThreads(store) as sides:
        one, other = [found.result() for found in [sides.submit(look), sides.submit(look)]]
        assert one[:2] == other[:2] == (7, "UTC")
        assert len({one[2], other[2], id(store.con)}) == 3
        store.con.execute("BEGIN")
        store.con.execute("INSERT INTO store_version VALUES (99)")
        count = "SELECT count(*) FROM store_version WHERE version = 99"
        assert sides.submit(lambda side: side.rows(count)).result() == [(0,)]
        store.con.execute("COMMIT")
        assert sides.submit(lambda side: side.rows(count)).result() == [(1,)]


def test_numbers_given_to_texts_are_not_shared_before_they_are_committed(store: Store) -> None:
    tags = pl.Series(["FT-1", "FT-2", "FT-1"])
    with store.beside() as side:
        with contextlib.suppress(ZeroDivisionError), side.transaction():
            assert side.numbers("tag", tags).to_list() == [1, 2, 1]
            raise ZeroDivisionError
        with store.transaction():
            assert store.numbers("tag", tags.reverse().head(2)).to_list() == [1, 2]  # the others were rolled back
        assert side.numbers("tag", tags).n_unique() == 2
        assert side.rows("SELECT count(*) FROM tag_numbers") == [(2,)]


def test_an_error_is_raised_where_the_result_is_asked_for_and_the_thread_goes_on(store: Store) -> None:
    with WorkerThreads(store, 1) as sides:
        broken = sides.submit(lambda side: side.rows("SELECT * FROM nowhere"))
        with pytest.raises(Exception, match="nowhere"):
            broken.result()
        assert sides.submit(lambda side: side.rows("SELECT 1")).result() == [(1,)]


def test_the_end_waits_for_what_was_asked_and_an_error_cancels_what_has_not_begun(store: Store) -> None:
    with WorkerThreads(store, 1) as sides:
        asked = [sides.submit(lambda side: side.rows("SELECT 1")) for _ in range(5)]
    assert all(one.done() and not one.cancelled() for one in asked)
    begun, go_on = threading.Event(), threading.Event()
    submitted: list[Future[None]] = []

    def wait(_: Store) -> None:
        begun.set()
        assert go_on.wait(10)

    def broken() -> None:
        with WorkerThreads(store, 1) as sides:
            submitted.extend(sides.submit(wait) for _ in range(2))
            assert begun.wait(10)
            threading.Timer(0.05, go_on.set).start()
            raise ValueError("outside")

    with pytest.raises(ValueError, match="outside"):
        broken()
    running, waiting = submitted
    assert running.done()
    assert not running.cancelled()
    assert waiting.cancelled()


def test_connections_are_closed_at_the_end(store: Store) -> None:
    with WorkerThreads(store, 1) as sides:
        side = sides.submit(lambda one: one).result()
    with pytest.raises(Exception, match="closed"):
        side.rows("SELECT 1")
    assert store.rows("SELECT 1") == [(1,)]
