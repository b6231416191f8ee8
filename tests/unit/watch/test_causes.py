"""Repeats and consequences hang under their cause."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from pipelines.watch.causes import cause_ids

MONDAY = datetime(2026, 1, 5, 12, tzinfo=UTC)


def flag(name: str, detector: str, after_h: float, hours: float = 1.0, role: str | None = None) -> dict[str, Any]:
    start = MONDAY + timedelta(hours=after_h)
    return {
        "line": "line-1",
        "flag_id": name,
        "detector": detector,
        "role": role,
        "start_utc": start,
        "end_utc": start + timedelta(hours=hours),
    }


def of(*flags: dict[str, Any]) -> dict[str, str]:
    return {name: cause for (_, name), cause in cause_ids(flags).items()}


def test_what_lasts_is_one_cause_over_a_weekend_and_two_after_a_week() -> None:
    lasting = [flag(n, "flatline", h, role="sludge_flow") for n, h in (("a", 0), ("b", 24), ("c", 96), ("d", 96 + 7 * 24))]
    assert of(*lasting) == {"a": "a", "b": "a", "c": "a", "d": "d"}


def test_events_are_one_cause_on_a_day_and_two_on_two() -> None:
    assert of(*(flag(n, "dry run", h) for n, h in (("a", 0), ("b", 2), ("c", 26)))) == {"a": "a", "b": "a", "c": "c"}


def test_roles_and_lines_are_apart() -> None:
    assert of(flag("a", "flatline", 0, role="sludge_flow"), flag("b", "flatline", 1, role="pump_discharge_pressure")) == {
        "a": "a",
        "b": "b",
    }


def test_consequence_hangs_under_the_first_flag_of_its_cause() -> None:
    found = of(
        flag("a", "flatline", 0, 2, "mixing_upstream_pressure"),
        flag("b", "flatline", 24, 2, "mixing_upstream_pressure"),
        flag("c", "mixing pressure high", 25, 3),
        flag("d", "mixing pressure high", 300, 3),
    )
    assert found == {"a": "a", "b": "a", "c": "a", "d": "d"}
