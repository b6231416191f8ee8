"""Days are judged beside compute: the same flags as when it is done after it, and again where other days are pending by then."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import polars as pl
import pytest

from pipelines import compute, order, watch
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from pipelines.store.worker_threads import WorkerThreads

PLANT = "sorrel-draw"


@pytest.fixture
def plant_file(demo_home: Path) -> PlantFile:
    return loader.load(Home(demo_home).plant_file(PLANT))


@pytest.fixture
def store(demo_home: Path) -> Iterator[Store]:
    """Give the store of a demonstration with some days to compute."""
    with Store(Home(demo_home).store(PLANT), PLANT) as made:
        days = [d for (d,) in made.rows("SELECT DISTINCT operating_day FROM minutes ORDER BY 1")]
        made.mark_days("compute", [days[2], days[3], days[9]])
        made.mark_days("watch", [days[0]])
        yield made


def outcome(store: Store) -> list[str]:
    return [content_hash(store.con, table) for table in ("flags", "signal_marks")]


def test_days_judged_ahead_are_those_that_are_pending_after_compute(store: Store, plant_file: PlantFile) -> None:
    ahead = compute.will_mark_watch(store)
    assert len(ahead) > 3
    compute.run(store, plant_file)
    assert store.pending_days("watch") == ahead


def test_no_day_is_judged_ahead_that_has_no_minutes(store: Store, plant_file: PlantFile) -> None:
    ahead = compute.will_mark_watch(store)
    store.mark_days("compute", [date(1999, 1, 1)])
    store.mark_days("watch", [date(2099, 1, 1)])
    assert compute.will_mark_watch(store) == ahead
    store.con.execute("DELETE FROM minutes")
    assert compute.will_mark_watch(store) == []
    del plant_file


def test_flags_are_the_same_and_judged_once(store: Store, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    before = outcome(store)
    store.con.execute("DELETE FROM signal_marks WHERE operating_day = (SELECT min(operating_day) FROM minutes)")  # it is on the list
    assert outcome(store) != before
    judged: list[list[date]] = []
    flags_of_days = watch.flags_of_days

    def seen(side: Store, of: PlantFile, days: list[date]) -> object:
        judged.append(days)
        return flags_of_days(side, of, days)

    monkeypatch.setattr(watch, "flags_of_days", seen)
    ahead = compute.will_mark_watch(store)
    order.derive(Home(store.path.parents[1]), store, plant_file, [])
    assert outcome(store) == before
    assert sorted(d for days in judged for d in days) == ahead


def test_other_days_than_were_judged_are_judged_again(store: Store, plant_file: PlantFile) -> None:
    before = outcome(store)
    first = store.rows("SELECT min(operating_day) FROM minutes")[0][0]
    store.con.execute("DELETE FROM signal_marks")
    store.mark_days("compute", [first + timedelta(days=k) for k in range(60)])
    with WorkerThreads(store, 1) as side:
        judging = side.submit(partial(watch.judge_days, plant_file=plant_file, days=[first]))
        compute.run(store, plant_file)
        receipt = watch.run(store, plant_file, judging)
    assert receipt.days > 1
    assert outcome(store) == before


def test_what_goes_wrong_is_raised_by_watch(store: Store, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> pl.DataFrame:
        raise ArithmeticError("no curve")

    monkeypatch.setattr(watch, "flags_of_days", broken)
    pending = store.pending_days("watch")
    with WorkerThreads(store, 1) as side:
        judging = side.submit(partial(watch.judge_days, plant_file=plant_file, days=pending))
        with pytest.raises(ArithmeticError, match="no curve"):
            watch.run(store, plant_file, judging)
    assert store.pending_days("watch") == pending
