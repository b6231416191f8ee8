"""The day total of a sludge register: what it counted over the day, whatever was recorded in between."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from pipelines.compute import register_days
from pipelines.plant.calendar import micros
from pipelines.plant.signals import Signal
from pipelines.store.reading_series import Series

BEGIN = datetime(2026, 1, 5, 6, tzinfo=UTC)
END = BEGIN + timedelta(days=1)
FQ = Signal.model_validate(
    {"line": "line-1", "role": "sludge_total", "tag": "FQ", "unit": "m3", "rollover": 10_000.0, "maximum_rate": "120 m3/h"}
)
NEAR = "register not read near the beginning or the end of the day"


def counted(*readings: tuple[float, float] | tuple[float, float, int]) -> register_days.Counted:
    """Readings at hours after the day's beginning: (hour, register), or with a quality."""
    t = np.array([micros(BEGIN + timedelta(hours=r[0])) for r in readings], dtype=np.int64)
    q = np.array([r[2] if len(r) > 2 else 0 for r in readings], dtype=np.uint8)
    return register_days.of_day(Series(t, np.array([float(r[1]) for r in readings]), q), FQ, None, BEGIN, END)


@pytest.mark.parametrize(
    ("readings", "m3"),
    [
        (((0, 1000), (4, 1000), (10, 1392), (24, 1392)), 392.0),  # six hours without a record, and the register knows all of it
        (((-0.25, 1000), (0.25, 1010), (12, 1400), (24.2, 1400)), 5.0 + 390.0),  # half of the first increment lies before the day
        (((-20, 1000), (8, 1000), (9, 1100), (24.5, 1100)), 100.0),  # nothing counted over the beginning: known, however far apart
        (((0, 9_900), (12, 150), (24, 150)), 250.0),  # a rollover within the hole
        (((0, 1000), (5, 5_000, 2), (12, 1200), (24, 1200)), 200.0),  # a bad reading is passed over
    ],
)
def test_the_register_knows_the_day_over_a_hole(readings: tuple[tuple[float, float], ...], m3: float) -> None:
    assert counted(*readings) == register_days.Counted(pytest.approx(m3), None)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        (((2, 1000), (24, 1200)), "register not read up to the beginning of the day"),
        (((0, 1000), (20, 1200)), "register not read up to the end of the day"),
        (((0, 1000), (20, 1200), (24.6, 1200)), "register not read up to the end of the day"),  # the next reading lies past its reach
        (((-1, 1000), (5, 1100), (24, 1100)), NEAR),  # how much of the 100 m3 came before the day is not known
        (((0, 1000), (1, 1200), (24, 1200)), "register increment impossible"),  # 200 m3 in an hour, 144 can be
    ],
)
def test_a_day_the_register_cannot_tell_says_why(readings: tuple[tuple[float, float], ...], reason: str) -> None:
    assert counted(*readings) == register_days.Counted(None, reason)
