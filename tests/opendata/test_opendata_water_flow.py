"""Hourly flow of a pipeline branch, through a spring clock change and ten gaps: counts, times and volume against the raw file."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.store import Store

TAG = "Water flow [l/s]"
HOUR = timedelta(hours=1)
AS_OF = datetime(2022, 5, 17, 4, tzinfo=UTC)
SIGNAL = f"""
line = "line-1"
role = "sludge_flow"
tag = "{TAG}"
unit = "L/s"
range = [0, 150]
hold_limit = "60 min"
"""
OFFSETS = """
id = "hourly"
kind = "wide"
files = "*.csv"
time_column = "Time"
time_format = "iso8601"
"""
WALL_CLOCK = OFFSETS.replace('"iso8601"', '"%d.%m.%Y %H:%M"').replace('"*.csv"', '"*.txt"') + 'delimiter = ";"\ndecimal = ","\n'

Rows = list[tuple[datetime, float]]


@pytest.fixture
def raw(packaged_file: Callable[[str, str], Path]) -> Path:
    return packaged_file("river", "river/datasets/water-flow.csv")


@pytest.fixture
def rows(raw: Path) -> Rows:
    """The file by the standard library alone: UTC time and litres per second."""
    with raw.open(encoding="utf-8", newline="") as file:
        return [(datetime.fromisoformat(r["Time"]).astimezone(UTC), float(r[TAG])) for r in csv.DictReader(file)]


def test_the_raw_file_is_what_the_readme_says(rows: Rows) -> None:
    assert len(rows) == 1268
    steps = [b[0] - a[0] for a, b in pairwise(rows)]
    assert sum(s > HOUR for s in steps) == 10
    assert min(steps) == HOUR


def test_as_it_is(raw: Path, rows: Rows, plant_home: Callable[..., Home]) -> None:
    home = plant_home("branch", "Europe/Rome", SIGNAL, OFFSETS)
    shutil.copy(raw, home.inbox("branch") / "flow.csv")
    receipt = order.nightly(home, "branch", AS_OF, publish_now=False).receipts[0]
    assert (receipt.rows_read, receipt.rows_kept, receipt.rows_dropped, receipt.rows_set_aside) == (1269, 1268, 1, 0)
    assert (receipt.first_utc, receipt.last_utc) == (rows[0][0], rows[-1][0])
    holds(home, rows)


def test_as_wall_clock_of_the_plant_with_decimal_commas_in_three_overlapping_files(rows: Rows, plant_home: Callable[..., Home]) -> None:
    home = plant_home("branch", "Europe/Rome", SIGNAL, WALL_CLOCK)
    parts = [rows[:400], rows[390:900], rows[900:]]
    for number, part in enumerate(parts):
        write_wall_clock(home.inbox("branch") / f"flow_{number}.txt", part)
    receipts = order.nightly(home, "branch", AS_OF, publish_now=False).receipts
    assert [(r.rows_kept, r.rows_duplicate, r.rows_set_aside) for r in receipts] == [(400, 0, 0), (500, 10, 0), (368, 0, 0)]
    holds(home, rows)


def write_wall_clock(path: Path, part: Rows) -> None:
    """Write what a clock on the wall in Italy shows; the hour from 02:00 on 27 March 2022 does not exist there."""
    lines = [f"{t.astimezone(ZoneInfo('Europe/Rome')):%d.%m.%Y %H:%M};{str(v).replace('.', ',')}" for t, v in part]
    assert not any(line.startswith("27.03.2022 02:") for line in lines)
    path.write_text("\n".join([f"Time;{TAG}", *lines]) + "\n", encoding="utf-8")


def holds(home: Home, rows: Rows) -> None:
    """Readings, covered minutes, gaps, the short day and the volume are those of the raw file."""
    with Store(home.store("branch"), "branch") as store:
        found = store.rows("SELECT time_utc, value FROM readings ORDER BY time_utc")
        assert [t for t, _ in found] == [t for t, _ in rows]
        assert [v for _, v in found] == pytest.approx([v * 3.6 for _, v in rows], rel=1e-12)  # 1 L/s is 3.6 m3/h
        covered, volume = store.rows("SELECT sum(sludge_flow_coverage), sum(sludge_flow_m3_h * sludge_flow_coverage) / 60 FROM minutes")[0]
        assert covered == 60 * len(rows)
        assert volume == pytest.approx(sum(v * 3.6 for _, v in rows), rel=1e-12)  # 456,706 m3
        # a minute is unknown exactly where no row of the last hour speaks
        spoken = {t + timedelta(minutes=k) for t, _ in rows for k in range(60)}
        unknown = {t for (t,) in store.rows("SELECT minute_utc FROM minutes WHERE sludge_flow_coverage = 0")}
        every = {t for (t,) in store.rows("SELECT minute_utc FROM minutes")}
        assert unknown == every - spoken
        days = dict(store.rows("SELECT operating_day, minutes_seen FROM data_quality WHERE role = 'sludge_flow'"))
        assert days.pop(date(2022, 3, 27)) == 23 * 60  # clocks went forward
        assert set(days.values()) == {24 * 60}
        assert len(days) == 57
        longest = store.rows("SELECT longest_gap_min FROM data_quality WHERE role = 'sludge_flow' AND operating_day = '2022-04-24'")[0][0]
        assert longest == 21 * 60  # the last row before the gap is of 02:00, and stands until 03:00
