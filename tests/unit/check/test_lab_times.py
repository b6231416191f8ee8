"""When a sample was taken: stamps of windows in every format a layout can have, zones, odd years, and the order of evidence."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.check.lab.qualifiers import RowError
from pipelines.check.lab.sample_times import days_of, label, reported, when
from pipelines.plant.model import Layout
from tests.plants import plant_file

SHIFTS = [{"name": "Early", "start": "05:00:00", "end": "13:00:00"}, {"name": "Late", "start": "13:00:00", "end": "21:00:00"}]
PLANT = plant_file(time_zone="Europe/Copenhagen", operating_day_start="06:00:00", shifts=SHIFTS)


def layout(time_format: str, zone: str = "plant") -> Layout:
    return Layout.model_validate(
        {
            "id": "lab", "kind": "lab long", "files": "*", "time_column": "t", "time_format": time_format, "time_zone": zone, "point_column": "p",
            "analyte_column": "a", "result_column": "r", "from_column": "f", "to_column": "o", "shift_column": "s",
        }
    )  # fmt: skip


def row(stamp: str = "2026-01-05", at: datetime = datetime(2026, 1, 4, 23, tzinfo=UTC), **given: Any) -> dict[str, Any]:
    """A row whose stamp stands for `at`; midnight of 5 January in Copenhagen is 23:00 UTC."""
    return {"stamp_text": stamp, "time_utc": at, "window_from": None, "window_to": None, "shift_text": None, **given}


@pytest.mark.parametrize(
    ("time_format", "zone", "start", "stop"),
    [
        ("%d-%m-%Y %H.%M", "plant", "05-01-2026 08.00", "05-01-2026 14.00"),
        ("%d-%m-%Y", "plant", "08:00", "14:00"),
        ("%d-%m-%Y", "plant", "8:00 AM", "2:00 PM"),
        ("iso8601", "plant", "2026-01-05T08:00", "2026-01-05T14:00"),
        ("iso8601", "plant", "2026-01-05T07:00Z", "2026-01-05T13:00+00:00"),
        ("%d-%m-%Y", "UTC", "07:00", "13:00"),
        ("%d-%m-%Y", "+02:00", "09:00", "15:00"),
        ("%d-%m-%Y", "UTC+02:00", "09:00", "15:00"),
        ("%d-%m-%Y", "UTC-0530", "01:30", "07:30"),
        ("%d-%m-%Y", "Z", "07:00", "13:00"),
        ("%d-%m-%Y", "utc", "07:00", "13:00"),
        ("%d-%m-%Y", "America/New_York", "02:00", "08:00"),
    ],
)
def test_a_window_as_layouts_write_it(time_format: str, zone: str, start: str, stop: str) -> None:
    at = datetime(2026, 1, 5, 10, tzinfo=UTC)  # 5 January in each of the zones
    found = when(row(at=at, window_from=start, window_to=stop), layout(time_format, zone), PLANT)
    assert (found["from_utc"], found["to_utc"]) == (datetime(2026, 1, 5, 7, tzinfo=UTC), datetime(2026, 1, 5, 13, tzinfo=UTC))
    assert (found["half_width_h"], found["time_basis"], found["operating_day"]) == (3.0, "composite", date(2026, 1, 5))
    assert label(found, PLANT) == "2026-01-05T08:00+01:00--2026-01-05T14:00+01:00"


def test_a_window_without_width_is_a_moment_and_seven_days_are_the_most() -> None:
    form = layout("%Y-%m-%d %H:%M")
    moment = when(row(window_from="2026-01-05 08:00", window_to="2026-01-05 08:00"), form, PLANT)
    assert (moment["time_basis"], moment["half_width_h"]) == ("stated", 0.0)
    week = when(row(window_from="2026-01-05 08:00", window_to="2026-01-12 08:00"), form, PLANT)
    assert days_of(week, PLANT) == {date(2026, 1, d) for d in range(5, 13)}
    for late in ("2026-01-12 08:01", "0001-01-01 00:00", "9999-12-31 23:59"):
        with pytest.raises(RowError) as caught:
            when(row(window_from="2026-01-05 08:00", window_to=late), form, PLANT)
        assert caught.value.reason == "time stamp unreadable"


def test_what_is_known_best_counts() -> None:
    stamp = row("2026-01-05 09:30", datetime(2026, 1, 5, 8, 30, tzinfo=UTC), shift_text="late")
    form = layout("%Y-%m-%d %H:%M")
    assert when(stamp | {"window_from": "08:00", "window_to": "09:00"}, form, PLANT)["time_basis"] == "composite"
    assert when(stamp, form, PLANT)["time_basis"] == "stated"
    dates_only = PLANT.model_copy(update={"lab": PLANT.lab.model_copy(update={"time_is_stated": False})})
    assert when(stamp, form, dates_only)["time_basis"] == "shift"
    assert when(stamp | {"shift_text": None}, form, dates_only)["time_basis"] == "day"


def test_a_shift_that_begins_before_the_operating_day_is_cut_at_its_start() -> None:
    found = when(row(shift_text="EARLY"), layout("%Y-%m-%d"), PLANT)
    # 05:00 to 13:00, the day begins at 06:00: 05:00 UTC to 12:00 UTC in winter
    assert (found["from_utc"], found["to_utc"]) == (datetime(2026, 1, 5, 5, tzinfo=UTC), datetime(2026, 1, 5, 12, tzinfo=UTC))
    assert label(found, PLANT) == "2026-01-05/Early"


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("05-01-2026", datetime(2026, 1, 4, 23, tzinfo=UTC)),
        ("2026-01-05 08:00", datetime(2026, 1, 5, 7, tzinfo=UTC)),
        ("next week", None),
        ("0001-01-01", None),  # east of Greenwich this is before all time
        (None, None),
    ],
)
def test_times_of_report(text: str | None, at: datetime | None) -> None:
    assert reported(text, layout("%d-%m-%Y"), PLANT) == at


texts = st.none() | st.text("0123456789:- TZ+", max_size=17) | st.sampled_from(["08:00", "2026-03-29 02:30", "2026-10-25 02:30", "24:00"])


@given(texts, texts)
def test_any_window_is_a_span_or_refused(start: str | None, stop: str | None) -> None:
    for form in ("iso8601", "%Y-%m-%d", "%Y-%m-%d %H:%M"):
        found: dict[str, Any] | RowError
        try:
            found = when(row(window_from=start, window_to=stop), layout(form), PLANT)
        except RowError as error:
            found = error
        if isinstance(found, RowError):
            assert found.reason in ("time stamp unreadable", "local time does not exist")
        else:
            assert found["from_utc"] <= found["to_utc"]
            assert found["operating_day"] in days_of(found, PLANT)
