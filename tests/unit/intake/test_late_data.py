"""A night in which nothing came: which lines are told, from when on, and that status repeats it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import cli, order
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.intake import late_data
from pipelines.plant import loader
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
PLANT = "alder-fork"
EXPORT = ROOT / "sample_data" / "small" / "exports" / "ALDER_SCADA_20260105.csv"


@pytest.fixture
def home(home_with_a_day: Home) -> Home:
    order.nightly(home_with_a_day, PLANT, datetime(2026, 1, 5, 21, tzinfo=UTC), publish_now=False)
    return home_with_a_day


def said(home: Home, when: datetime) -> list[str]:
    with Store(home.store(PLANT), PLANT) as store:
        return [n.sentence for n in late_data.late(store, loader.load(home.plant_file(PLANT)), when)]


def last_reading(home: Home) -> datetime:
    with Store(home.store(PLANT), PLANT) as store:
        found: datetime = store.rows("SELECT max(time_utc) FROM readings")[0][0]
        return found


def test_a_day_after_the_last_reading_its_lines_are_told(home: Home) -> None:
    at = last_reading(home)
    assert said(home, at + timedelta(days=1)) == []
    assert said(home, at + timedelta(days=1, seconds=1)) == [f"no data after {at:%Y-%m-%d %H:%M} UTC for line-1, line-2"]
    assert said(home, at - timedelta(days=30)) == []  # as of before the data


def test_a_line_that_never_had_data_is_told_apart_and_one_that_ended_is_not(home: Home) -> None:
    path = home.plant_file(PLANT)
    text = path.read_text(encoding="utf-8")
    head, *blocks = text.split("[[signals]]")
    of_second = [b for b in blocks if 'line = "line-2"' in b]
    assert of_second
    at = last_reading(home) + timedelta(hours=1)
    path.write_text(
        "[[signals]]".join([head, *(b.replace('tag = "', 'tag = "no such ') if b in of_second else b for b in blocks)]), "utf-8"
    )
    assert said(home, at) == ["no data yet for line-2"]
    ended = [b.replace("\nunit", "\nuntil = 2026-01-01\nunit", 1) if b in of_second else b for b in blocks]
    path.write_text("[[signals]]".join([head, *ended]).replace("no such ", ""), encoding="utf-8")
    assert [s.partition(" UTC ")[2] for s in said(home, at + timedelta(days=3))] == ["for line-1"]


def test_an_empty_night_ends_with_a_warning_and_status_repeats_it(home: Home, capsys: pytest.CaptureFixture[str]) -> None:
    at = last_reading(home)
    assert order.nightly(home, PLANT, at + timedelta(hours=2)).exit_code == ExitCode.OK
    cli.run(["--home", str(home.root), "status"])
    assert "no data" not in capsys.readouterr().out
    summary = order.nightly(home, PLANT, at + timedelta(hours=26))
    assert summary.exit_code == ExitCode.WARNINGS
    (notice,) = summary.notices
    cli.run(["--home", str(home.root), "status"])
    assert f"{PLANT}: {notice.sentence}" in capsys.readouterr().out


def test_a_plant_that_delivers_each_week_is_waited_for_a_week(home: Home) -> None:
    at = last_reading(home)
    with Store(home.store(PLANT), PLANT) as store:
        for week in range(1, 5):
            ending = f"last_utc - INTERVAL {week} WEEK"
            store.con.execute(
                f"INSERT INTO loads SELECT * REPLACE ('week {week}' AS load_id, {ending} AS last_utc) FROM loads WHERE load_id NOT LIKE 'week%'"
            )
    assert said(home, at + timedelta(days=8)) == []
    assert len(said(home, at + timedelta(days=8, seconds=1))) == 1


@pytest.mark.parametrize(("row", "told"), [("10/01/2025 06:30,", ["file.days_far_apart"]), ("01/04/2026 06:30,", [])])
def test_a_stamp_far_before_all_others_of_its_file_is_told(
    tmp_path: Path, home_in: Callable[[Path], Home], row: str, told: list[str]
) -> None:
    home = home_in(tmp_path)
    lines = EXPORT.read_text(encoding="utf-8").splitlines()
    first = next(k for k, line in enumerate(lines) if line.startswith("01/05/2026 06:30,"))
    lines.insert(first, row + lines[first].partition(",")[2])
    (home.inbox(PLANT) / EXPORT.name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    summary = order.nightly(home, PLANT, datetime(2026, 1, 5, 21, tzinfo=UTC), publish_now=False)
    assert [n.name for n in summary.notices] == told
    assert all(EXPORT.name in n.sentence and "on 2 of the 97 days" in n.sentence for n in summary.notices)
