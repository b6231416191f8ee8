"""Hours that were not recorded are told as such: no stopped line, no full day of valid minutes."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
SMALL = ROOT / "sample_data" / "small" / "exports"
METER = "L1 FIT-110 Sludge Feed"


def without(text: str, column: str, first: str, end: str) -> str:
    """Blank a column of an export from one clock time to before another."""
    rows = list(csv.reader(text.splitlines()))
    head = next(k for k, row in enumerate(rows) if row[:1] == ["Date/Time"])
    place = rows[head].index(column)
    for row in rows[head + 2 :]:
        if len(row) > place and first <= row[0][-5:] < end:
            row[place] = ""
    return "\n".join(",".join(row) for row in rows) + "\n"


def rows(home: Home, sql: str) -> pl.DataFrame:
    with Store(home.store("alder-fork"), "alder-fork") as store:
        return store.frame(sql)


@pytest.fixture
def night(tmp_path: Path, home_in: Callable[..., Home]) -> Callable[[dict[str, str]], Home]:
    """Return what takes in exports (name -> text) and the lab sheets of the days."""

    def made(texts: dict[str, str]) -> Home:
        home = home_in(tmp_path)
        labs = {path.name: path.read_text(encoding="utf-8") for path in sorted(SMALL.glob("ALDER_LAB_*"))[:2]}
        for name, text in {**labs, **texts}.items():
            (home.inbox("alder-fork") / name).write_text(text, encoding="utf-8")
            os.utime(home.inbox("alder-fork") / name, (1.7e9, 1.7e9))
        order.nightly(home, "alder-fork", datetime(2026, 2, 1, tzinfo=UTC))
        return home

    return made


def exports(*days: int) -> dict[str, str]:
    return {name: (SMALL / name).read_text(encoding="utf-8") for name in (f"ALDER_SCADA_202601{day:02d}.csv" for day in days)}


def day(home: Home, number: int) -> dict[str, Any]:
    return rows(home, f"SELECT * FROM kpi_day WHERE line = 'line-1' AND operating_day = '2026-01-{number:02d}'").to_dicts()[0]


def test_a_day_whose_meters_were_read_throughout_has_lost_nothing(night: Callable[[dict[str, str]], Home]) -> None:
    found = exports(6, 7)
    whole = day(night(found), 6)
    assert (whole["lost_minutes"], whole["missed_share"], whole["dose_reason"]) == (0, 0.0, None)


def test_hours_without_a_meter_lower_the_share_of_valid_minutes(night: Callable[[dict[str, str]], Home]) -> None:
    found = exports(6, 7)
    found["ALDER_SCADA_20260106.csv"] = without(found["ALDER_SCADA_20260106.csv"], METER, "09:00", "12:00")
    home = night(found)
    kpi = day(home, 6)
    assert 120 < kpi["lost_minutes"] < kpi["unknown_minutes"]  # the export begins half an hour into the day
    assert kpi["valid_minutes"] == kpi["processing_minutes"]
    assert kpi["missed_share"] == pytest.approx(kpi["lost_minutes"] / (kpi["processing_minutes"] + kpi["lost_minutes"]))
    assert kpi["dose_active_kg_t"] is None
    assert (
        kpi["dose_reason"]
        == f"{kpi['valid_minutes']} of {kpi['processing_minutes'] + kpi['lost_minutes']} processing and lost minutes valid, 90 % needed"
    )
    quality = rows(home, "SELECT * FROM data_quality WHERE line = 'line-1' AND operating_day = '2026-01-06' AND role = 'sludge_flow'")
    assert quality["missing_processing_minutes"][0] == kpi["lost_minutes"]


def test_sludge_fed_while_the_polymer_meter_was_out_is_counted(night: Callable[[dict[str, str]], Home]) -> None:
    found = exports(6, 7)
    found["ALDER_SCADA_20260106.csv"] = without(found["ALDER_SCADA_20260106.csv"], "L1 FIT-120 Neat Polymer", "09:00", "12:00")
    kpi = day(night(found), 6)
    table = list(csv.reader(found["ALDER_SCADA_20260106.csv"].splitlines()))
    head = next(k for k, row in enumerate(table) if row[:1] == ["Date/Time"])
    place, bit = table[head].index(METER), next(k for k, n in enumerate(table[head]) if n.startswith("L1 YI-110"))
    litres = sum(float(row[place]) for row in table[head + 2 :] if row[bit : bit + 1] == ["1"])  # gpm, one row a minute
    assert kpi["lost_minutes"] > 120
    assert kpi["feed_volume_all_m3"] == pytest.approx(
        litres * 0.003785411784, rel=0.01
    )  # NIST SP 811: gal to m3; a minute at each end may differ


def test_a_day_whose_export_never_came_is_no_stopped_day(night: Callable[[dict[str, str]], Home]) -> None:
    home = night(exports(6, 8, 9))
    kpi = day(home, 7)
    assert kpi["unknown_minutes"] > 0.7 * kpi["minutes_seen"]
    assert kpi["dose_reason"] == f"running state unknown for {kpi['unknown_minutes']} of {kpi['minutes_seen']} minutes"
    assert kpi["down_h"] is None or kpi["down_h"] < 7
    flags = rows(
        home, "SELECT line, detector, operating_day, sentence FROM flags WHERE operating_day BETWEEN '2026-01-06' AND '2026-01-07'"
    )
    gaps = flags.filter((pl.col("line") == "line-1") & (pl.col("detector") == "data gap"))
    assert gaps["operating_day"].to_list() == [date(2026, 1, 6)]  # the silence begins in the evening before, and is one fact
    assert "Nothing was recorded of the line" in gaps["sentence"][0]
