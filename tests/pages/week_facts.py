"""A week of a line made by hand, for the tests of its facts."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pipelines.report import language
from pipelines.report.numbers import Limits
from pipelines.report.weekly import facts, sentences
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.facts import LineFacts
from pipelines.report.weekly.rows import LineData, WeekData

T = language.of("en")
WEEK = WeekData(
    "p", "Plant", ZoneInfo("America/New_York"), date(2026, 3, 30), "2026-W14", datetime(2026, 3, 30, 10, tzinfo=UTC),
    datetime(2026, 4, 6, 10, tzinfo=UTC), datetime(2026, 4, 6, 11, tzinfo=UTC), date(2026, 4, 5), "abc", datetime(2025, 1, 1, 5, tzinfo=UTC), (), (),
)  # fmt: skip
SETTINGS = {"units": "US", "currency": "USD", "reference_flow_m3_h": 90.8498796, "polymer_meter": "neat", "operating_day_start_h": 6.0}
THIS: dict[str, Any] = {
    "plant": "p", "line": "line-1", "week_start_day": date(2026, 3, 30), "minutes_seen": 10080, "unknown_minutes": 0, "lost_minutes": 0,
    "processing_minutes": 2496, "processing_h": 41.6, "operating_days": 5, "dry_solids_t": 79.832, "dose_active_kg_t": 7.3, "dose_reason": None,
    "cake_ts_pct": 22.6, "cake_samples": 10, "filtrate_samples": 5, "capture_pct": 95.0, "dilution_ratio": 0.31, "cost_total_per_t": 412.0, "mixing_dp_ref_kpa": 31.0,
    "mixing_dp_ref_method": "fit", "missed_share": 0.04, "is_provisional": False, "data_version": "v",
}  # fmt: skip
FLAG = {
    "flag_id": "f", "detector": "data gap", "role": "sludge_flow", "severity": "check today", "disposition": None, "minutes": 40,
    "start_utc": datetime(2026, 3, 31, 14, tzinfo=UTC),
    "sentence": "The sludge flow was not recorded for 40 min.", "suggestion": "look whether the export stopped",
}  # fmt: skip
LIMITS = {"dose_active_kg_t": Limits(at_most=11.0), "cake_ts_pct": Limits(at_least=21.5), "capture_pct": Limits(at_least=94.0)}
BASE = tuple({"operating_day": date(2026, 1, 5) + timedelta(days=k), "processing_minutes": 400, "dose_active_kg_t": 9.0 + 0.2 * (k % 3 - 1), "cake_ts_pct": 22.6,
              "capture_pct": None, "cost_total_per_t": None, "mixing_dp_ref_kpa": 210.0} for k in range(12))  # fmt: skip


def day(k: int, dose: float | None = 7.3, **given: Any) -> dict[str, Any]:
    values = {
        "operating_day": WEEK.week_start_day + timedelta(days=k),
        "dose_active_kg_t": dose,
        "dry_solids_t": 10.0,
        "feed_samples": 1,
        "processing_minutes": 480,
    }
    return THIS | values | given


DAYS = tuple(day(k, 7.3 + 0.1 * (k % 3 - 1)) for k in range(5))


def line(this: dict[str, Any] | None = None, last: dict[str, Any] | None = None, **given: Any) -> LineData:
    made = None if this is None else THIS | this
    before = None if last is None else THIS | {"week_start_day": date(2026, 3, 23)} | last
    return LineData("line-1", "Belt press 1", SETTINGS, made, before, **({"days": DAYS} | given))


def made(data: LineData, logged: tuple[Event, ...] = (), unmeasured: frozenset[str] = frozenset(), t: language.Language = T) -> LineFacts:
    return facts.of_line(WEEK, data, LIMITS, t, logged, unmeasured)


def said(data: LineData, logged: tuple[Event, ...] = ()) -> list[str]:
    return sentences.three([made(data, logged)], T)
