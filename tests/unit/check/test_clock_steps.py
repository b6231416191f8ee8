"""Rows that go back in time: found by tag, on both sides of a second, kept, counted, flagged; not where late rows are declared."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.check.readings.clock_steps import StepsBack, steps_back
from pipelines.store import Store
from tests.plants import FLOW, LONG, SPEED, WIDE, home_of, plant_toml

S = 1_000_000
NO_TIME = np.iinfo(np.int64).min
FLOW_AND_SPEED = (FLOW, SPEED)
LOG = LONG | {"files": "*.csv", "time_column": "time", "time_zone": "UTC", "value_column": "value"}
EXPORT = WIDE | {"files": "*.csv", "time_column": "time", "time_zone": "UTC"}


def found(*seconds: float | None, code: list[int] | None = None) -> StepsBack | None:
    times = np.array([NO_TIME if s is None else round(s * S) for s in seconds], dtype=np.int64)
    return steps_back(np.array(code or [0] * len(times), dtype=np.uint32), times, NO_TIME)


@pytest.mark.parametrize(("back", "count"), [(1.0, 0), (1.000001, 1), (3600.0, 1)])
def test_a_step_back_of_more_than_a_second(back: float, count: int) -> None:
    steps = found(0, 10, 20, 20 - back, 30, 40)
    assert steps == (StepsBack(20 * S, 1, round(back * S)) if count else None)


def test_steps_are_told_by_tag_and_counted_by_time() -> None:
    # the second tag begins where the first did: no step; both go back at 20 s: one clock, one step
    assert found(0, 10, 20, 0, 10, 20, code=[0, 0, 0, 1, 1, 1]) is None
    assert found(0, 20, 5, 30, 0, 20, 5, 30, code=[0] * 4 + [1] * 4) == StepsBack(20 * S, 1, 15 * S)
    assert found(0, 20, 5, 30, 21, 40) == StepsBack(20 * S, 2, 15 * S)


def test_newest_first_is_an_order_too() -> None:
    assert found(50, 40, 30, 20, 10) is None
    assert found(50, 40, 30, 45, 20, 10, 0) == StepsBack(30 * S, 1, 15 * S)


def test_rows_without_time_are_passed_over() -> None:
    assert found(0, None, 10, None, 20) is None
    assert found(None, None) is None
    assert found() is None
    assert found(0, 10, None, 5, 20) == StepsBack(10 * S, 1, 5 * S)


def nightly(root: Path, **layout: Any) -> Home:
    """An hour of two tags each ten seconds, in which the clock is set back by two minutes at 00:30."""
    home = home_of(root, plant_toml(*FLOW_AND_SPEED, layouts=(LOG | layout,), time_zone="UTC"))
    lines = ["time,tag,value"]
    for k in range(360):
        at = datetime(2026, 1, 5, tzinfo=UTC) + timedelta(seconds=10 * k - (125 if k >= 180 else 0))
        lines += [f"{at:%Y-%m-%d %H:%M:%S},FT,{40 + k % 7}", f"{at:%Y-%m-%d %H:%M:%S},ST,{900 + k % 5}"]
    (home.inbox("p") / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    receipt = order.nightly(home, "p", datetime(2026, 1, 6, tzinfo=UTC), publish_now=False).receipts[0]
    assert (receipt.rows_kept, receipt.rows_set_aside) == (720, 0)
    return home


def test_a_clock_set_back_is_noted_and_flagged_once(tmp_path: Path) -> None:
    home = nightly(tmp_path)
    with Store(home.store("p"), "p") as store:
        before = datetime(2026, 1, 5, 0, 29, 50, tzinfo=UTC)
        assert store.rows("SELECT first_step_utc, step_count, largest_step_s FROM clock_steps") == [(before, 1, 115.0)]
        flags = store.rows("SELECT detector, role, operating_day, start_utc, severity, sentence FROM flags WHERE detector = 'clock error'")
    sentence = "In the file log.csv time went back 1 time, by up to 115 s, from one row to the next."
    assert flags == [("clock error", None, date(2026, 1, 5), before.replace(second=0), "check this week", sentence)]


def test_a_source_that_buffers_is_left_alone(tmp_path: Path) -> None:
    home = nightly(tmp_path, late_rows=True)
    with Store(home.store("p"), "p") as store:
        assert store.rows("SELECT count(*) FROM clock_steps") == [(0,)]
        assert store.rows("SELECT count(*) FROM flags WHERE detector = 'clock error'") == [(0,)]


def test_unknown_columns_of_a_wide_file_are_no_clock(tmp_path: Path) -> None:
    home = home_of(tmp_path, plant_toml(*FLOW_AND_SPEED, layouts=(EXPORT,), time_zone="UTC"))
    lines = ["time,FT,Mystery A,Mystery B"]
    lines += [f"{datetime(2026, 1, 5, tzinfo=UTC) + timedelta(minutes=k):%Y-%m-%d %H:%M:%S},{40 + k % 7},1,2" for k in range(60)]
    (home.inbox("p") / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    order.nightly(home, "p", datetime(2026, 1, 6, tzinfo=UTC), publish_now=False)
    with Store(home.store("p"), "p") as store:
        assert store.rows("SELECT count(*) FROM clock_steps") == [(0,)]
