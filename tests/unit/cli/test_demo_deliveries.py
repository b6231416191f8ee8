"""The demonstration's delivery: order of arrival, names that come again, mornings in plant time."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import demo
from pipelines.base import resources
from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.demo import Delivery
from pipelines.plant import loader

START = datetime(2026, 1, 6, 7, 30, tzinfo=UTC)


def delivery(name: str, hours: float, plant: str = "p") -> Delivery:
    return Delivery(plant, Path("exports") / name, START + timedelta(hours=hours))


def test_due_takes_off_the_list_what_has_come() -> None:
    waiting = [delivery("a.csv", 0), delivery("b.csv", 1), delivery("c.csv", 1, "q"), delivery("d.csv", 2)]
    assert [d.path.name for d in demo.due("p", waiting, START + timedelta(hours=1))] == ["a.csv", "b.csv"]
    assert [d.path.name for d in waiting] == ["c.csv", "d.csv"]


def test_a_name_that_comes_again_waits_for_the_next_run() -> None:
    arriving = [delivery("a.csv", 0), delivery("b.csv", 1), delivery("resent/a.csv", 2), delivery("c.csv", 3), delivery("x/c.csv", 4)]
    assert [[str(d.path.relative_to("exports")) for d in part] for part in demo.batches(arriving)] == [
        ["a.csv", "b.csv"],
        ["resent/a.csv", "c.csv"],
        ["x/c.csv"],
    ]
    assert demo.batches([]) == [[]]  # a night without files is still a run


def test_morning_is_plant_time_in_winter_and_summer() -> None:
    plant_file = loader.load(resources.folder("sample_data") / "plants" / "brenholm.toml")
    assert demo.morning(plant_file, date(2026, 3, 28)) == datetime(2026, 3, 28, 6, 30, tzinfo=UTC)
    assert demo.morning(plant_file, date(2026, 3, 29)) == datetime(2026, 3, 29, 5, 30, tzinfo=UTC)  # clocks went forward


def test_every_delivery_listed_by_the_generator_is_found(tmp_path: Path) -> None:
    start = demo.generate(tmp_path, 2, 3, lambda *_: None)
    found = demo.deliveries(tmp_path)
    assert start == date(2026, 1, 5)
    assert all(d.path.is_file() for d in found)
    assert {d.path for d in found} == {p for p in tmp_path.glob("*/exports/**/*") if p.is_file()}
    assert [d.arrives_utc for d in found] == sorted(d.arrives_utc for d in found)
    assert {d.plant for d in found} == {"alder-fork", "brenholm", "sorrel-draw"}


def test_too_few_weeks_are_refused_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="leave nothing"):
        demo.run(Home(tmp_path / "new"), weeks=2, nights=14)
    assert not (tmp_path / "new").exists()


def test_a_demonstration_is_made_anew_and_nothing_else_touched(tmp_path: Path) -> None:
    home = Home(tmp_path)
    demo.prepare(home, 3, 1)
    (home.root / "store").mkdir()
    (home.root / "store" / "old.duckdb").write_text("old", encoding="utf-8")
    (home.root / "notes.txt").write_text("mine", encoding="utf-8")
    demo.prepare(home, 3, 1)
    assert sorted(p.name for p in home.root.iterdir()) == [demo.MARKER, "notes.txt"]
