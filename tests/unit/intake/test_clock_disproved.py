"""A clock without daylight saving read by a zone that has it: the rows in the skipped hour say so, and which offset is meant."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.store import Store

PLANT = """
[plant]
id = "p"
name = "Clock"
invented = true
time_zone = "{zone}"
units = "SI"
[[lines]]
id = "line-1"
name = "Line 1"
device = "centrifuge"
feed_cutoff = "2 m3/h"
polymer_cutoff = "5 L/h"
polymer_meter = "neat"
reference_flow = "50 m3/h"
dilution_counted = "none"
pump = {{ id = "P-1", kind = "displacement" }}
[[signals]]
line = "line-1"
role = "sludge_flow"
tag = "Feed"
unit = "m3/h"
range = [0, 100]
hold_limit = "1 h"
[[layouts]]
id = "hourly"
kind = "wide"
files = "*.csv"
time_column = "time"
{layout_zone}
"""


@pytest.mark.parametrize(
    "zone, first, offset",
    [  # days on which the clocks go forward, from the tz database
        ("America/Chicago", datetime(2026, 3, 8), "-06:00"),  # noqa: DTZ001  wall clock
        ("Europe/Copenhagen", datetime(2026, 3, 29), "+01:00"),  # noqa: DTZ001  wall clock
        ("Australia/Adelaide", datetime(2025, 10, 5), "+09:30"),  # noqa: DTZ001  wall clock
    ],
)
def test_stamps_in_the_skipped_hour_name_the_fixed_offset(tmp_path: Path, zone: str, first: datetime, offset: str) -> None:
    home = Home(tmp_path)
    home.plant_file("p").parent.mkdir(parents=True)
    home.plant_file("p").write_text(PLANT.format(zone=zone, layout_zone=""), encoding="utf-8")
    home.inbox("p").mkdir(parents=True)
    rows = [f"{first - timedelta(days=2) + timedelta(hours=h):%Y-%m-%d %H:%M:%S},{h % 50}" for h in range(96)]
    (home.inbox("p") / "x.csv").write_text("\n".join(["time,Feed", *rows]) + "\n", encoding="utf-8")
    run = order.nightly(home, "p", datetime(2026, 4, 10, tzinfo=UTC))
    (told,) = [n.sentence for n in run.notices if n.name == "file.no_daylight_saving"]
    assert f'time_zone = "{offset}"' in told
    assert f"1 row at times that {zone} skips, the first at {first:%Y-%m-%d} 02:00" in told
    with Store(home.store("p"), "p") as store:
        (detail,) = store.rows("SELECT detail FROM set_aside WHERE reason = 'local time does not exist'")[0]
        assert offset in detail
    home.plant_file("p").write_text(PLANT.format(zone=zone, layout_zone=f'time_zone = "{offset}"'), encoding="utf-8")
    run = order.rebuild(home, "p", as_of=datetime(2026, 4, 11, tzinfo=UTC))
    assert not [n for n in run.notices if n.name == "file.no_daylight_saving"]
    with Store(home.store("p"), "p") as store:
        found = store.rows("SELECT count(*), min(time_utc), max(time_utc) FROM readings")[0]
    hours = 96
    assert found[0] == hours
    assert found[2] - found[1] == timedelta(hours=hours - 1)
