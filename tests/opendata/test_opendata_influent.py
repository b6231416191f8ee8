"""Influent files of a benchmark plant: the range rule finds a slip of thousands separators, and only that."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.intake import load_files
from pipelines.plant import loader
from pipelines.runs.summary import Summary
from pipelines.store import Store

FLOW = 15  # column of the flow [m3/d], from 0
BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
AS_OF = datetime(2028, 1, 1, tzinfo=UTC)
MOST = 2_000 * 24  # [m3/d] the physical bound of the role
LOW, HIGH = 5_000, 60_000  # [m3/d] range of the flow meter in the plant file: wide about 10,000 to 52,126
SIGNAL = f"""
line = "line-1"
role = "sludge_flow"
tag = "Q"
unit = "m3/d"
range = [{LOW}, {HIGH}]
hold_limit = "15 min"
"""
LAYOUT = """
id = "quarter-hours"
kind = "wide"
files = "*.csv"
delimiter = ";"
time_column = "time"
time_zone = "UTC"
"""
Find = Callable[[str, str], Path]
Rows = list[tuple[datetime, str]]


def rows_of(find: Find, name: str) -> Rows:
    """Time and flow as written, by the standard library alone."""
    with find("bsm2-python", f"bsm2_python/data/{name}.csv").open(encoding="utf-8", newline="") as file:
        return [(BEGIN + timedelta(seconds=round(float(r[0]) * 86400)), r[FLOW].strip()) for r in csv.reader(file)]


def export(home: Home, rows: Rows) -> None:
    lines = [f"{t:%Y-%m-%d %H:%M:%S};{q}" for t, q in rows]
    (home.inbox("works") / "flow.csv").write_text("\n".join(["time;Q", *lines]) + "\n", encoding="utf-8")


def taken(home: Home, rows: Rows) -> Summary:
    export(home, rows)
    return order.nightly(home, "works", AS_OF, publish_now=False)


def as_number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def volume_m3(rows: Rows) -> float:
    """Each value stands for 15 minutes."""
    return sum(float(q) / 96 for _, q in rows)


def stored_volume_m3(home: Home) -> float:
    with Store(home.store("works"), "works") as store:
        return float(store.rows("SELECT sum(sludge_flow_m3_h * sludge_flow_coverage) / 60 FROM minutes")[0][0])


def test_the_dry_file_comes_in_clean(packaged_file: Find, plant_home: Callable[..., Home]) -> None:
    rows = rows_of(packaged_file, "dryinfluent")
    home = plant_home("works", "UTC", SIGNAL, LAYOUT)
    receipt = taken(home, rows).receipts[0]
    assert (receipt.rows_read, receipt.rows_kept, receipt.rows_dropped, receipt.rows_set_aside) == (1345, 1344, 1, 0)
    assert stored_volume_m3(home) == pytest.approx(volume_m3(rows), rel=1e-9)


def test_the_range_rule_finds_the_slip_in_the_rain_file_and_nothing_else(packaged_file: Find, plant_home: Callable[..., Home]) -> None:
    rows = rows_of(packaged_file, "raininfluent")
    slipped = {t for t, q in rows if (n := as_number(q)) is not None and n < LOW - 0.01 * (HIGH - LOW)}
    no_number = {t for t, q in rows if as_number(q) is None}
    assert (len(rows), len(slipped), len(no_number)) == (1344, 1341, 3)
    home = plant_home("works", "UTC", SIGNAL, LAYOUT)
    receipt = taken(home, rows).receipts[0]
    assert receipt.reasons == {"value outside transmitter range": 1341, "text in number": 3}
    assert (receipt.rows_kept, receipt.rows_set_aside) == (0, 1344)
    with Store(home.store("works"), "works") as store:
        aside = store.rows("SELECT reason, first_utc FROM set_aside")
        assert {t for reason, t in aside if reason == "value outside transmitter range"} == slipped
        assert {t for reason, t in aside if reason == "text in number"} == no_number
        assert store.rows("SELECT count(*), count(value) FROM readings") == [(1344, 0)]  # known times, no values
        assert store.rows("SELECT count(sludge_flow_m3_h) FROM minutes") == [(0,)]


def test_a_range_from_zero_would_not_have_found_it(packaged_file: Find, plant_home: Callable[..., Home]) -> None:
    """Why the plant file should state the lowest flow that can be: 21.477 m3/d lies within 0 to 60,000."""
    home = plant_home("works", "UTC", SIGNAL.replace(f"[{LOW},", "[0,"), LAYOUT)
    assert taken(home, rows_of(packaged_file, "raininfluent")).receipts[0].reasons == {"text in number": 3}


def test_with_its_separators_declared_the_rain_file_reads_right(packaged_file: Find, plant_home: Callable[..., Home]) -> None:
    rows, dry = rows_of(packaged_file, "raininfluent"), rows_of(packaged_file, "dryinfluent")
    home = plant_home("works", "UTC", SIGNAL, LAYOUT + 'decimal = ","\nthousands = "."\n')
    receipt = taken(home, rows).receipts[0]
    fine = [n for _, q in rows if (n := float(q.replace(".", ""))) <= MOST]
    too_high, mangled = (
        12,
        3,
    )  # "30.044.50" is no whole groups of three; twelve values of the storm lie above the physical bound of the role
    assert receipt.reasons == {"value outside physical range": too_high, "text in number": mangled}
    assert receipt.rows_kept == len(fine) == 1344 - too_high - mangled
    with Store(home.store("works"), "works") as store:
        found = [v for (v,) in store.rows("SELECT value FROM readings WHERE value IS NOT NULL ORDER BY time_utc")]
    assert found == pytest.approx([n / 24 for n in fine], rel=1e-12)
    # the first week is the dry week, to the last digit written
    assert found[: 7 * 96] == pytest.approx([float(q) / 24 for _, q in dry[: 7 * 96]], abs=0.5 / 24)


def test_609_days_of_the_dynamic_file_against_the_physical_bound(packaged_file: Find, plant_home: Callable[..., Home]) -> None:
    rows = rows_of(packaged_file, "dyninfluent_bsm2")
    expected = Counter(float(q) > MOST for _, q in rows)
    home = plant_home("works", "UTC", SIGNAL.replace(f"{HIGH}]", "100_000]"), LAYOUT)
    export(home, rows)
    with Store(home.store("works"), "works") as store:
        receipts, _ = load_files.load_inbox(home, store, loader.load(home.plant_file("works")), AS_OF)
        total = store.rows("SELECT fsum(value) FROM readings")[0][0]
    assert receipts[0].reasons == {"value outside physical range": expected[True]} == {"value outside physical range": 821}
    assert receipts[0].rows_kept == expected[False]
    assert total == pytest.approx(sum(float(q) for _, q in rows if float(q) <= MOST) / 24, rel=1e-12)
