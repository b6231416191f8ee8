"""An edit of the plant file that changes how files are read is told at every run until the files were read again."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from pipelines import order
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.store import Store, plant_file_versions

PLANT = "alder-fork"


@pytest.fixture
def home(home_with_a_day: Home) -> Home:
    return home_with_a_day


def edit(home: Home, old: str, new: str) -> None:
    path = home.plant_file(PLANT)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def night(home: Home, day: int) -> tuple[list[str], ExitCode]:
    summary = order.nightly(home, PLANT, datetime(2026, 1, 6, 12 + day, tzinfo=UTC), publish_now=False)
    return [n.name for n in summary.notices], summary.exit_code


def versions(home: Home) -> list[tuple[object, ...]]:
    with Store(home.store(PLANT), PLANT) as store:
        return store.rows("SELECT DISTINCT data_version FROM kpi_day ORDER BY 1")


def test_a_changed_range_is_told_until_a_rebuild(home: Home) -> None:
    assert night(home, 1) == ([], ExitCode.OK)
    edit(home, "range = [0, 600]", "range = [0, 601]")
    for day in (2, 3):
        assert night(home, day) == ([plant_file_versions.READ_OTHERWISE], ExitCode.WARNINGS)
    stale = versions(home)
    assert order.rebuild(home, PLANT, as_of=datetime(2026, 1, 6, 16, tzinfo=UTC)).notices == []
    assert night(home, 5) == ([], ExitCode.OK)
    assert versions(home) != stale


def test_edits_that_only_later_steps_use_are_not_told(home: Home) -> None:
    night(home, 1)
    edit(home, "[plant]", "# a word\n[plant]")
    edit(home, 'feed_cutoff = "', 'feed_cutoff = "1')
    assert night(home, 2) == ([], ExitCode.OK)


def test_an_edit_taken_back_needs_no_rebuild(home: Home) -> None:
    night(home, 1)
    edit(home, 'unit = "gpm"', 'unit = "L/min"')
    night(home, 2)
    edit(home, 'unit = "L/min"', 'unit = "gpm"')
    assert night(home, 3) == ([], ExitCode.OK)


def test_loads_of_an_earlier_version_count_as_read_by_the_same_plant_file(home: Home) -> None:
    night(home, 1)
    with Store(home.store(PLANT), PLANT) as store:
        for table in ("loads", "plant_file_versions"):
            store.con.execute(f"UPDATE {table} SET reads_as = NULL")
    assert night(home, 2) == ([], ExitCode.OK)
    now = loader.load(home.plant_file(PLANT)).reads_as
    with Store(home.store(PLANT), PLANT) as store:
        assert store.rows("SELECT DISTINCT reads_as FROM loads") == [(now,)]
    edit(home, 'unit = "gpm"', 'unit = "L/min"')
    assert night(home, 3)[0] == [plant_file_versions.READ_OTHERWISE]
