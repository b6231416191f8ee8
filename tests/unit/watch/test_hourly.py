"""Exports of one row an hour: no hour is a gap, and a silence of weeks is one fact, not one a day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pipelines import order
from pipelines.store import Store
from tests.plants import FLOW, RUN, home_of, plant_toml

START, BEFORE, SILENT = datetime(2026, 1, 5, tzinfo=UTC), 8, 25  # days


@pytest.fixture(scope="module")
def flags(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, str | None, datetime, datetime]]:
    """Flags of a plant that exports hourly for eight days, is silent for 25, and exports for two more."""
    meters = [
        FLOW | {"hold_limit": "90 min"},
        RUN,
        {"role": "polymer_neat_flow", "tag": "PT", "unit": "L/h", "range": [0, 40], "hold_limit": "90 min"},
    ]
    home = home_of(tmp_path_factory.mktemp("hourly"), plant_toml(*meters, time_zone="UTC"))
    rows = ["t,FT,YI,PT"]
    for hour in (h for day in (*range(BEFORE), BEFORE + SILENT, BEFORE + SILENT + 1) for h in range(24 * day, 24 * day + 24)):
        on = 6 <= hour % 24 < 18
        rows.append(f"{START + timedelta(hours=hour):%Y-%m-%d %H:%M:%S},{(60 + hour % 5) * on},{int(on)},{(20 + hour % 3) * on}")
    (home.inbox("p") / "hours.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    order.nightly(home, "p", START + timedelta(days=BEFORE + SILENT + 3), publish_now=False)
    with Store(home.store("p"), "p") as store:
        return store.rows("SELECT detector, role, start_utc, end_utc FROM flags ORDER BY start_utc")


def test_no_hour_between_rows_is_a_gap(flags: list[tuple[str, str | None, datetime, datetime]]) -> None:
    heard = START + timedelta(days=BEFORE)
    assert [f for f in flags if f[0] == "data gap" and f[3] <= heard] == []


def test_weeks_of_silence_are_one_fact(flags: list[tuple[str, str | None, datetime, datetime]]) -> None:
    heard, again = START + timedelta(days=BEFORE), START + timedelta(days=BEFORE + SILENT)
    assert len([f for f in flags if f[3] > heard and f[2] < again]) <= 1
