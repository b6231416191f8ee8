"""Scaling of currents, counts, percent and roots with their dates; saturated and clipped readings, on both sides of each edge."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from pipelines.check.readings.signals import Signals
from pipelines.check.readings.values import typed
from tests.unit.check.typed_texts import FLOW, GPM, check, layout, plant, rows, value


def quality_of(text: str, signal: dict[str, Any]) -> tuple[float | None, int]:
    """The SI value and quality code of one text that is not set aside."""
    done = check(rows((signal["tag"], text)), signal)
    assert done.failed.height == 0
    return done.readings["value"][0], done.readings["quality"][0]


PRESSURE = {"role": "pump_discharge_pressure", "tag": "PT", "unit": "kPa", "range": [0, 1000]}
COUNTS = PRESSURE | {"scaling": {"raw": [6400, 32000], "reads": [0, 1000], "ma": [4, 20]}}  # 1600 counts a milliampere


@pytest.mark.parametrize(
    ("ma", "expected"),
    [
        (3.59, "transmitter failure level"), (3.6, "value outside transmitter range"), (3.7999, "value outside transmitter range"),
        (3.8, (-12.5, 1)), (3.99, (-0.625, 1)), (4.0, (0.0, 0)), (12.0, (500.0, 0)), (19.99, (999.375, 0)),
        (20.0, (1000.0, 1)), (20.5, (1031.25, 1)), (20.5001, "value outside transmitter range"), (21.0, "value outside transmitter range"),
        (21.01, "transmitter failure level"),
    ],
)  # fmt: skip
def test_counts_of_a_current_keep_the_signal_levels(ma: float, expected: str | tuple[float, int]) -> None:
    """NE 43 levels, from memory: failure below 3.6 and above 21 mA, measuring from 3.8 to 20.5; 4 to 20 is the range."""
    for text, signal in ((f"{ma * 1600:.6f}", COUNTS), (f"{ma}", COUNTS | {"scaling": {"raw": [4, 20], "reads": [0, 1000]}})):
        if isinstance(expected, str):
            assert value(text, signal) == expected
        else:
            assert quality_of(text, signal) == (pytest.approx(expected[0], abs=1e-9), expected[1])


def test_a_falling_current_is_saturated_at_both_ends_too() -> None:
    signal = PRESSURE | {"scaling": {"raw": [4, 20], "reads": [1000, 0]}}
    assert quality_of("3.8", signal) == (pytest.approx(1012.5), 1)
    assert quality_of("20.5", signal) == (pytest.approx(-31.25), 1)
    assert value("3.79", signal) == value("20.51", signal) == "value outside transmitter range"


def test_a_narrower_range_than_the_scaling_stands() -> None:
    signal = PRESSURE | {"range": [0, 800], "scaling": {"raw": [4, 20], "reads": [0, 1000]}}
    assert quality_of("16.92", signal)[0] == pytest.approx(807.5)  # within 1 % of 800
    assert value("16.93", signal) == "value outside transmitter range"
    assert quality_of("3.8", signal) == (pytest.approx(-12.5), 1)  # the end both share


def test_percent_of_range_is_scaled_and_needs_no_current() -> None:
    signal = FLOW | {"scaling": {"raw": [0, 100], "reads": [0, 400]}}
    assert quality_of("25", signal) == (pytest.approx(100 * GPM), 0)
    assert quality_of("-1", signal) == (pytest.approx(-4 * GPM), 0)  # 1 % of span below is kept, with its sign
    assert value("-1.001", signal) == value("101.001", signal) == "value outside transmitter range"


@pytest.mark.parametrize(
    ("text", "quality"), [("399.999", 0), ("399.9999999", 1), ("400", 1), ("400.0000001", 1), ("404", 1), ("200", 0), ("0", 0), ("-4", 0)]
)
def test_a_value_at_the_range_top_is_clipped(text: str, quality: int) -> None:
    # the edge is 1e-9 of the span with its margins, 408 gpm: 4.08e-7 gpm below 400
    assert quality_of(text, FLOW)[1] == quality


def test_clipped_does_not_better_a_bad_or_uncertain_reading_and_spares_drives_and_valves() -> None:
    done = check(rows(("FT", "400", "bad"), ("FT", "400", "uncertain"), ("FT", "400", "good")), FLOW, quality_column="q")
    assert done.readings["quality"].to_list() == [2, 1, 1]
    assert quality_of("100", {"role": "mixing_valve_position", "tag": "ZT", "unit": "%", "range": [0, 100]}) == (100.0, 0)
    assert quality_of("1800", {"role": "pump_speed", "tag": "ST", "unit": "rpm", "range": [0, 1800]}) == (1800.0, 0)


def test_a_re_ranged_transmitter_and_a_date_without_scaling() -> None:
    """4-20 mA read 0 to 500 kPa until 5 January 06:00 (11:00 UTC), 0 to 1000 from 7 January on; between, nobody knows."""
    old = PRESSURE | {"range": [0, 500], "scaling": {"raw": [4, 20], "reads": [0, 500]}, "until": date(2026, 1, 5)}
    new = PRESSURE | {"scaling": {"raw": [4, 20], "reads": [0, 1000]}, "since": date(2026, 1, 7)}
    edges = [datetime(2026, 1, d, 11, tzinfo=UTC) for d in (5, 7)]
    tick = timedelta(microseconds=1)
    at = [edges[0] - tick, edges[0], edges[1] - tick, edges[1]]
    frame = rows(*(("PT", "12", None, t, None) for t in at))
    done = typed(frame, Signals.of(plant(old, new)), layout(), datetime(2026, 1, 8, tzinfo=UTC))
    assert done.readings["value"].to_list() == pytest.approx([250.0, 500.0])
    assert done.failed.select("line_no", "reason").rows() == [(3, "scaling not known for date"), (4, "scaling not known for date")]
    assert (
        done.failed["detail"][0]
        == "PT: 12 at 2026-01-05T11:00:00Z: no [[signals]] block of this tag is in force then (its since and until)"
    )


def test_a_differential_pressure_becomes_a_flow_by_its_root() -> None:
    # a quarter of the differential pressure is half of the flow
    signal = FLOW | {"scaling": {"raw": [4, 20], "reads": [0, 400], "extraction": "square root"}}
    assert quality_of("8", signal) == (pytest.approx(200 * GPM), 0)
    assert quality_of("4", signal) == (pytest.approx(0.0), 0)
    assert quality_of("20", signal) == (pytest.approx(400 * GPM), 1)
    assert quality_of("20.5", signal) == (pytest.approx(400 * GPM * (16.5 / 16) ** 0.5), 1)
    assert value("20.51", signal) == "value outside transmitter range"
    # zero drifts: 3.99 mA is 1/1600 of the span below zero, -400/40 gpm; its root makes it look large, so the sign stays
    assert quality_of("3.99", signal)[0] == pytest.approx(-400 / 40 * GPM)
    mixed = check(rows(("FT", "8"), ("ST", "1000")), signal, {"role": "pump_speed", "tag": "ST", "unit": "rpm", "range": [0, 3000]})
    assert mixed.readings.sort("tag")["value"].to_list() == pytest.approx([200 * GPM, 1000.0])


@pytest.mark.parametrize(
    "scaling", [{"raw": [4, 4], "reads": [0, 1]}, {"raw": [4, 20], "reads": [1, 1]}, {"raw": [0, 9], "reads": [0, 1], "ma": [4, 4]}]
)
def test_a_scaling_without_slope_is_refused(scaling: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="two different numbers"):
        plant(FLOW | {"scaling": scaling})
