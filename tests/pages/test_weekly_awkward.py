"""Awkward weeks: each gives a correct, decent page: its first page says what it must, says nothing it must not, and stays one page."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pypdf
import pytest

from pipelines import publish, report
from pipelines.base.home import Home
from pipelines.store import Store
from tests.pages.conftest import append, row

WEEK = "week_start_day = DATE '2026-03-30'"
DAYS = "operating_day >= DATE '2026-03-30'"
NOTHING = ("processing_minutes = 0, processing_h = 0, valid_minutes = 0, dry_solids_t = NULL, polymer_active_kg = NULL, dose_active_kg_t = NULL, cake_ts_pct = NULL, "
           "capture_pct = NULL, cost_total_per_t = NULL, mixing_dp_ref_kpa = NULL, missed_share = NULL, dose_reason = 'no processing'")  # fmt: skip
NO_LAB = "dose_active_kg_t = NULL, dry_solids_t = NULL, polymer_active_kg = NULL, cake_ts_pct = NULL, capture_pct = NULL, cost_total_per_t = NULL"
HUGE = "dry_solids_t = 123456.0, dose_active_kg_t = 98765.4, polymer_active_kg = 98765.4 * 123456.0, cost_total_per_t = 1234567.0, mixing_dp_ref_kpa = 55555.0"
CASES: list[tuple[str, list[str], list[str], list[str]]] = [
    ("no data", [f"UPDATE kpi_week SET minutes_seen = 0 WHERE {WEEK}"], ["Report withheld", "no data of this line"], ["lb active"]),
    ("one day", [f"UPDATE kpi_week SET {NO_LAB}, operating_days = 1, dose_reason = '1 days with a dose, 3 needed' WHERE {WEEK}"],
     ["Report withheld", "1 days with a dose, 3 needed"], []),
    ("all provisional", [f"UPDATE kpi_week SET is_provisional = TRUE WHERE {WEEK}"], ["week 2026-W14: provisional"], ["week 2026-W14: final"]),
    ("shutdown", [f"UPDATE kpi_week SET {NOTHING} WHERE {WEEK}", f"UPDATE kpi_day SET {NOTHING}, lost_minutes = 0 WHERE {DAYS}"],
     ["Belt press 1 did not process sludge. Belt press 2 did not process sludge.", "There is nothing to compare."], ["Report withheld"]),
    ("meter fault", ["UPDATE data_quality SET missing_processing_minutes = processing_minutes WHERE role = 'sludge_flow'"],
     ["Report withheld", "the sludge flow meter is missing in 100 % of the processing minutes"], ["lb active"]),
    ("huge values", [f"UPDATE kpi_week SET {HUGE} WHERE {WEEK}"], ["198,000", "outside target"], ["e+"]),
    ("no cake and no filtrate", [f"UPDATE kpi_week SET cake_ts_pct = NULL, capture_pct = NULL WHERE {WEEK}"], ["not enough data", "Dose meets its target"], []),
    ("many lost hours", [f"UPDATE kpi_week SET lost_minutes = 600 WHERE {WEEK}"], ["ran 40.0 to 50.0 hours", "dewatered at least 89"], []),
    ("two arrangements", [f"UPDATE kpi_week SET arrangement_note = 'mixed: a; b' WHERE {WEEK}"],
     ["which is not compared because the week has two arrangements", "mixed week"], ["below its baseline", "above its baseline"]),
]  # fmt: skip


@pytest.mark.parametrize("name, changes, says, never", CASES, ids=[c[0] for c in CASES])
def test_awkward_weeks(
    name: str, changes: list[str], says: list[str], never: list[str], weekly_home: Home, weekly_change: Callable[[str, str], None]
) -> None:
    for sql in changes:
        weekly_change("alder-fork", sql)
    first, path = first_page(weekly_home)
    for text in says:
        assert text in first, (name, first)
    for text in never:
        assert text not in first, (name, text)
    assert "nan" not in first.split()
    assert "None" not in first.replace("Open items. None.", "")
    assert json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["plant"] == "alder-fork"


def first_page(home: Home, day: date | None = None) -> tuple[str, Path]:
    path = report.run(home, "alder-fork", day)
    sheets = [" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(path).pages]
    assert re.search(rf"page 1 of {len(sheets)}", sheets[0])
    if len(sheets) > 1:
        assert not sheets[1].startswith(("Open items", "Data.", "±"))  # page 1 did not run over
    return sheets[0], path


def test_a_full_first_page_stays_one_page(weekly_home: Home, weekly_change: Callable[[str, str], None]) -> None:
    """Two lines, three open items, hours in doubt: the legend does not run over to a page of its own."""
    weekly_change("alder-fork", "INSERT INTO flags SELECT * REPLACE (flag_id || '-2' AS flag_id, flag_id || '-2' AS cause_id) FROM flags")
    weekly_change("alder-fork", f"UPDATE kpi_week SET lost_minutes = 600 WHERE {WEEK}")
    first, _ = first_page(weekly_home)
    assert "open items. First" in first
    assert "3. Belt press" in first
    assert "±: right in about 95" in first


def test_long_names_wrap(weekly_home: Home) -> None:
    toml = weekly_home.plant_file("alder-fork")
    long = "throttled mixing valve upstream of the second static mixer with the long name nobody shortened"
    toml.write_text(toml.read_text(encoding="utf-8").replace("feed pump with injection at the pump in service", long), encoding="utf-8")
    first, path = first_page(weekly_home)
    assert "Belt press 1 ran" in first
    assert long in " ".join(" ".join(s.extract_text().split()) for s in pypdf.PdfReader(path).pages)


def test_missing_targets_and_first_week(weekly_home: Home, weekly_change: Callable[[str, str], None]) -> None:
    toml = weekly_home.plant_file("alder-fork")
    toml.write_text("\n\n".join(b for b in toml.read_text(encoding="utf-8").split("\n\n") if "[[targets]]" not in b), encoding="utf-8")
    for table, column in (("kpi_day", "operating_day"), ("kpi_week", "week_start_day"), ("kpi_rolling", "operating_day")):
        weekly_change("alder-fork", f"DELETE FROM {table} WHERE {column} < DATE '2026-03-30'")
    first, _ = first_page(weekly_home)
    assert "which has no baseline to compare with" in first
    assert "no baseline" in first
    assert "in target" not in first


def test_the_week_of_a_clock_change(weekly_home: Home) -> None:
    """2 to 8 March 2026: New York's clocks go forward on the 8th at 02:00, inside the operating day of the 7th."""
    first, path = first_page(weekly_home, date(2026, 3, 2))
    assert "Mon 2 Mar to Sun 8 Mar 2026; report alder-fork-2026-W10" in first
    assert "ran 40.0 hours on 5 days" in first
    figures = " ".join(pypdf.PdfReader(path).pages[1].extract_text().split())
    assert "Sat 7 Mar has 23 hours because the clock changed" in figures


def test_the_week_of_a_negative_saving(weekly_home: Home) -> None:
    """A result of the newest frozen plan stands on the page, a draft beside it and an older computation of it do not."""
    plan = "alder-fork-injection"
    text = f'[plan]\nplant = "alder-fork"\nlast_day = 2026-03-27\n# {plan}'
    with Store(weekly_home.store("alder-fork"), "alder-fork") as store:
        for of, frozen, at, low, high in (("a", True, 28, -31.4, -12.04), ("b", True, 27, 1.0, 2.0), ("draft", False, 29, 5.0, 6.0)):
            key = {"plant": "alder-fork", "plan": plan, "plan_hash": of, "as_of_utc": datetime(2026, 3, at, 9, tzinfo=UTC)}
            append(
                store, "comparison_plans", [row("comparison_plans", **key, plan_text=text, is_frozen=frozen, last_day=date(2026, 3, 27))]
            )
            append(store, "comparisons", [row("comparisons", **key, outcome="all-in saving", estimate=(low + high) / 2, low=low, high=high, unit="USD/t",
                                              level=95.0, verdict="worse")])  # fmt: skip
        store.mark_days("publish", [date(2026, 4, 5)])
        publish.run(weekly_home, store)
    first, _ = first_page(weekly_home)
    # -31.4 and -12.04 a tonne x 0.90718474 = -28.5 and -10.9 a short ton
    assert "Saving: all-in saving −28 to −11 USD per dry ton, 95 % interval, worse (plan alder-fork-injection, ended Fri 27 Mar)." in first
