"""States of a silent line: known for six hours after its last reading, longer only where the signal states a hold limit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipelines.align import grid
from pipelines.align.silence import without_held_states
from pipelines.store.reading_series import Series
from tests.plants import RUN, plant_file

MINUTE_US = 60_000_000
T0_US = 1_767_610_800_000_000  # 2026-01-05T11:00:00Z
FLOW = {"role": "sludge_flow", "tag": "FT", "unit": "m3/h", "range": [0, 100]}


def last_known_minute(run: dict[str, Any], flow_at_min: int = 0) -> int:
    """Return the last minute in which the run bit is known: said once at minute 0, and the flow once more later."""
    spans = grid.spans_by_role("line-1", plant_file(FLOW, run))
    edges = T0_US + MINUTE_US * np.arange(1441)
    series = {
        tag: Series(np.array([T0_US + MINUTE_US * at]), np.array([1.0]), np.zeros(1, dtype=np.uint8))
        for tag, at in (("YI", 0), ("FT", flow_at_min))
    }
    found = without_held_states(grid.line_minutes(spans, series, edges), spans, series, edges)
    return int(np.flatnonzero(found["pump_run"].coverage > 0)[-1])


@pytest.mark.parametrize("last_word_min", [0, 90])
def test_a_state_is_known_until_six_hours_after_the_last_reading_of_its_line(last_word_min: int) -> None:
    assert last_known_minute(RUN, last_word_min) == last_word_min + 6 * 60 - 1


@pytest.mark.parametrize("hours", [2, 10])
def test_a_stated_hold_limit_stands_whatever_the_silence_of_the_line(hours: int) -> None:
    assert last_known_minute(RUN | {"hold_limit": f"{hours} h"}) == hours * 60 - 1
