"""Doubted weeks as flags that grow, and a balance that nothing else explains."""

from __future__ import annotations

from datetime import date, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pipelines.plant.calendar import Calendar
from pipelines.watch.integrity.week_flags import week_flags

CALENDAR = Calendar(ZoneInfo("UTC"), time(6))
MONDAY = date(2026, 1, 5)
PUMP = "flow per revolution: the pump gave 25 % more a revolution than on the days before"
TICKETS = "solids balance: cake tickets and filtrate hold 84 % of the solids fed"


def row(week: int, role: str, reason: str, deviation: float, line: str = "line-1") -> dict[str, Any]:
    return {
        "line": line, "role": role, "week_start_day": MONDAY + timedelta(days=7 * week), "verdict": "doubted", "deviation_pct": deviation,
        "reason": reason, "evidence": "{}", "data_version": f"v{week}",
    }  # fmt: skip


def test_weeks_in_a_row_are_one_flag_and_the_worst_of_them_speaks() -> None:
    rows = [row(0, "sludge_flow", PUMP, 12.0), row(1, "sludge_flow", f"{PUMP}; {TICKETS}", 25.0), row(4, "sludge_flow", PUMP, 12.0)]
    (first, version), (second, _) = week_flags(rows, CALENDAR)
    assert (first.detector, first.role, first.operating_day, version) == ("meter doubted", "sludge_flow", MONDAY, "v1")
    assert (first.end - first.start).days == 14
    assert first.severity == "check today"
    assert first.sentence == (
        "The sludge flow reads 25 % high in 2 weeks: the pump gave 25 % more a revolution than on the days before; "
        "cake tickets and filtrate hold 84 % of the solids fed. Numbers that rest on it are withheld."
    )
    assert (second.severity, second.operating_day) == ("check this week", MONDAY + timedelta(days=28))
    assert second.sentence.endswith("Numbers that rest on it are widened by 12 %.")


def test_a_balance_that_doubts_two_meters_alone_is_one_flag_of_the_balance() -> None:
    rows = [row(0, "sludge_flow", TICKETS, 19.0), row(0, "feed_solids", TICKETS, 19.0)]
    ((found, _),) = week_flags(rows, CALENDAR)
    assert (found.detector, found.role, found.severity) == ("solids balance open", None, "check this week")


def test_a_balance_of_all_lines_stands_with_the_first_of_them() -> None:
    everyone = TICKETS.replace("balance:", "balance of all lines:")
    found = week_flags([row(0, "feed_solids", everyone, 19.0), row(0, "feed_solids", everyone, 19.0, "line-2")], CALENDAR)
    assert [f.line for f, _ in found] == ["line-1"]
