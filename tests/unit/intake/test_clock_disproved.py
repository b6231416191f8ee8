"""A clock without daylight saving read by a zone that has it: the rows in the skipped hour say so, and which offset is meant."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import order
from pipelines.store import Store
from tests.plants import FLOW, WIDE, home_of, plant_toml

HOURLY = WIDE | {"files": "*.csv", "time_column": "time"}


def toml(zone: str, **layout: str) -> str:
    return plant_toml(FLOW | {"tag": "Feed", "hold_limit": "1 h"}, layouts=(HOURLY | layout,), time_zone=zone)


@pytest.mark.parametrize(
    "zone, first, offset",
    [  # days on which the clocks go forward, from the tz database
        ("America/Chicago", datetime(2026, 3, 8), "-06:00"),  # noqa: DTZ001  wall clock
        ("Europe/Copenhagen", datetime(2026, 3, 29), "+01:00"),  # noqa: DTZ001  wall clock
        ("Australia/Adelaide", datetime(2025, 10, 5), "+09:30"),  # noqa: DTZ001  wall clock
    ],
)
def test_stamps_in_the_skipped_hour_name_the_fixed_offset(tmp_path: Path, zone: str, first: datetime, offset: str) -> None:
    home = home_of(tmp_path, toml(zone))
    rows = [f"{first - timedelta(days=2) + timedelta(hours=h):%Y-%m-%d %H:%M:%S},{h % 50}" for h in range(96)]
    (home.inbox("p") / "x.csv").write_text("\n".join(["time,Feed", *rows]) + "\n", encoding="utf-8")
    run = order.nightly(home, "p", datetime(2026, 4, 10, tzinfo=UTC))
    (told,) = [n.sentence for n in run.notices if n.name == "file.no_daylight_saving"]
    assert f'time_zone = "{offset}"' in told
    assert f"1 row at times that {zone} skips, the first at {first:%Y-%m-%d} 02:00" in told
    with Store(home.store("p"), "p") as store:
        (detail,) = store.rows("SELECT detail FROM set_aside WHERE reason = 'local time does not exist'")[0]
        assert offset in detail
    home.plant_file("p").write_text(toml(zone, time_zone=offset), encoding="utf-8")
    run = order.rebuild(home, "p", as_of=datetime(2026, 4, 11, tzinfo=UTC))
    assert not [n for n in run.notices if n.name == "file.no_daylight_saving"]
    with Store(home.store("p"), "p") as store:
        found = store.rows("SELECT count(*), min(time_utc), max(time_utc) FROM readings")[0]
    hours = 96
    assert found[0] == hours
    assert found[2] - found[1] == timedelta(hours=hours - 1)
