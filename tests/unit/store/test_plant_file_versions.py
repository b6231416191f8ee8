"""Which plant file is in use: the one of the last change, whatever time the runs worked as of."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.store import Store, connect, plant_file_versions
from schemas.tables.plant_file_versions import IN_USE

PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)


def used(home: Home, when: datetime) -> tuple[bool, bool]:
    """Apply the plant file as of a time; whether it said so, and whether the file of the home is in use after it."""
    with Store(home.store(PLANT), PLANT) as store:
        changed = plant_file_versions.apply(store, loader.load(home.plant_file(PLANT)), home.plant_file(PLANT), when)
        return changed, store.rows(IN_USE, {"plant": PLANT}) == [(loader.file_id(home.plant_file(PLANT)),)]


def test_a_change_as_of_an_earlier_time_is_made_once(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    first = home.plant_file(PLANT).read_bytes()
    assert used(home, WHEN) == (True, True)
    home.plant_file(PLANT).write_bytes(first + b"# mended\n")
    assert used(home, WHEN - timedelta(days=1)) == (True, True)
    assert used(home, WHEN - timedelta(days=1)) == (False, True)
    home.plant_file(PLANT).write_bytes(first)  # and back again
    assert used(home, WHEN - timedelta(days=2)) == (True, True)
    assert used(home, WHEN - timedelta(days=2)) == (False, True)


def test_a_store_without_numbers_goes_on_by_time(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    assert used(home, WHEN) == (True, True)
    con = connect(home.store(PLANT))
    con.execute("ALTER TABLE plant_file_versions DROP COLUMN use_no")
    con.close()
    assert used(home, WHEN) == (False, True)
    home.plant_file(PLANT).write_bytes(home.plant_file(PLANT).read_bytes() + b"# mended\n")
    assert used(home, WHEN - timedelta(days=1)) == (True, True)
    assert used(home, WHEN - timedelta(days=1)) == (False, True)
