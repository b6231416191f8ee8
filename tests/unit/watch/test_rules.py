"""Each rule of watch on both sides of its edge. Limits are common practice without a source; series are made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.watch import rules
from pipelines.watch.episodes import Mask
from pipelines.watch.rules import Linked, PumpSeries, Series

N = 240
ALWAYS: Mask = np.ones(N, dtype=bool)
NEVER: Mask = np.zeros(N, dtype=bool)


def series(values: float | np.ndarray, unknown: slice | None = None) -> Series:
    known = ALWAYS.copy()
    if unknown is not None:
        known[unknown] = False
    return Series(np.broadcast_to(np.asarray(values, dtype=float), N).copy(), known)


def with_part(value: float, part: slice, other: float) -> np.ndarray:
    out = np.full(N, value)
    out[part] = other
    return out


def lively(still: slice | None = None) -> np.ndarray:
    """A signal that goes up and down by 10 each minute, frozen at 90 for a while."""
    out = 90.0 + 10.0 * (np.arange(N) % 2)
    if still is not None:
        out[still] = 90.0
    return out


SPEED = Linked("pump_speed", series(1000.0 + 60.0 * (np.arange(N) % 2)), 1800.0)  # moves by 60, 3 % of the span is 54
LIMIT = rules.still_below(100.0, 0.0)  # 0.1


def test_still_means_the_larger_of_span_and_half_deadband() -> None:
    assert rules.still_below(100.0, 0.0) == pytest.approx(0.1)
    assert rules.still_below(100.0, 1.0) == pytest.approx(0.5)


@pytest.mark.parametrize(("minutes", "found"), [(29, 0), (30, 1)])
def test_flatline_takes_thirty_minutes(minutes: int, found: int) -> None:
    frozen = lively(slice(61, 61 + minutes))
    frozen[60 + minutes + 1] = 100.0
    frozen[60] = 100.0
    assert len(rules.flatline(series(frozen), ALWAYS, [SPEED], LIMIT, None)) == found


@pytest.mark.parametrize(("movement", "found"), [(0.099, 1), (0.1, 0), (0.101, 0)])
def test_flatline_range_is_below_the_limit(movement: float, found: int) -> None:
    values = movement * (np.arange(N) % 2)
    assert len(rules.flatline(series(values), ALWAYS, [SPEED], LIMIT, None)) == found


@pytest.mark.parametrize(("moves", "found"), [(53.9, 0), (54.1, 1)])
def test_flatline_needs_a_linked_signal_that_moved_over_three_percent(moves: float, found: int) -> None:
    other = Linked("pump_speed", series(1000.0 + moves * (np.arange(N) % 2)), 1800.0)
    assert len(rules.flatline(series(90.0), ALWAYS, [other], LIMIT, None)) == found


def test_flatline_reaches_over_the_whole_time_the_signal_stood() -> None:
    """The linked signal moved for a few minutes only; the flag tells how long the first one stood."""
    other = Linked("pump_speed", series(with_part(1000.0, slice(100, 105), 1100.0)), 1800.0)
    (found,) = rules.flatline(series(lively(slice(40, 200))), ALWAYS, [other], LIMIT, None)
    assert (found.start, found.end) == (40, 201)  # minute 200 happens to be at 90 too
    assert found.facts["linked_role"] == "pump_speed"
    assert found.facts["value"] == 90.0


@pytest.mark.parametrize(
    ("minutes", "usual_range", "found"), [(119, 1.0, 0), (120, 1.0, 1), (120, 0.3, 0), (120, 0.301, 1), (120, None, 0)]
)
def test_flatline_of_a_lively_signal_alone(minutes: int, usual_range: float | None, found: int) -> None:
    """Two hours without movement, though it usually moves by more than three times the limit (0.3)."""
    values = lively(slice(41, 41 + minutes))
    values[40] = values[41 + minutes] = 100.0
    assert len(rules.flatline(series(values), ALWAYS, [], LIMIT, usual_range)) == found


def test_flatline_is_judged_while_processing_and_known_only() -> None:
    stopped = ALWAYS.copy()
    stopped[::20] = False
    assert rules.flatline(series(90.0), stopped, [SPEED], LIMIT, 1.0) == []
    assert rules.flatline(Series(np.full(N, 90.0), stopped), ALWAYS, [SPEED], LIMIT, 1.0) == []
    assert rules.flatline(Series(np.zeros(10), np.ones(10, dtype=bool)), np.ones(10, dtype=bool), [], LIMIT, 1.0) == []


@pytest.mark.parametrize(("seconds", "found"), [([60.0], 0), ([60.0, 29.9], 0), ([30.0, 30.0], 1)])
def test_out_of_range_takes_two_minutes_of_at_least_half(seconds: list[float], found: int) -> None:
    under = np.zeros(N)
    under[10 : 10 + len(seconds)] = seconds
    assert len(rules.out_of_range(under, ALWAYS)) == found
    assert rules.out_of_range(under, NEVER) == []


def pump(flow: np.ndarray, suction: float | None = 15.0, power: float | None = 12.0, on: Mask = ALWAYS) -> PumpSeries:
    """Usual suction 15 kPa and 12 kW; low below 1.2 kPa and 8.4 kW. None: the line has no such signal."""
    nothing = Series(np.zeros(N), NEVER)
    return PumpSeries(
        on, series(flow), 4.5,
        series(suction) if suction is not None else nothing, 1.2 if suction is not None else None,
        series(power) if power is not None else nothing, 8.4 if power is not None else None,
    )  # fmt: skip


EMPTY_ONE, EMPTY_TWO, EMPTY_THREE = (with_part(90.0, slice(60, 60 + k), 0.0) for k in (1, 2, 3))


@pytest.mark.parametrize(
    ("flow", "suction", "power", "verdict"),
    [
        (EMPTY_ONE, 1.0, 3.0, "yes"),
        (EMPTY_ONE, 1.0, None, "yes"),
        (EMPTY_ONE, None, 3.0, "yes"),
        (EMPTY_ONE, 1.2, 3.0, None),  # suction at its limit is not low: it denies, and one minute of flow alone is too little
        (EMPTY_ONE, 1.0, 8.4, None),
        (EMPTY_ONE, 15.0, 12.0, None),
        (EMPTY_TWO, 15.0, 12.0, None),
        (EMPTY_THREE, 15.0, 12.0, "no"),
        (EMPTY_THREE, None, None, "no"),
        (EMPTY_TWO, None, None, None),
        (with_part(90.0, slice(60, 70), 4.4), 1.0, 3.0, "yes"),
        (with_part(90.0, slice(60, 70), 4.5), 1.0, 3.0, None),  # at the cut-off is not below it
    ],
)
def test_dry_run(flow: np.ndarray, suction: float | None, power: float | None, verdict: str | None) -> None:
    found = rules.dry_run(pump(flow, suction, power), NEVER)
    assert [e.facts["confirmed"] for e in found] == ([verdict] if verdict else [])


def test_dry_run_is_not_seen_while_the_pump_stands_or_starts() -> None:
    assert rules.dry_run(pump(EMPTY_THREE, 1.0, 3.0, on=NEVER), NEVER) == []
    assert rules.dry_run(pump(EMPTY_THREE, 1.0, 3.0), ALWAYS) == []
    unknown = replace(pump(EMPTY_THREE, 1.0, 3.0), flow=series(EMPTY_THREE, slice(0, N)))
    assert rules.dry_run(unknown, NEVER) == []


def test_pump_that_never_fed_is_no_dry_run_by_flow_alone() -> None:
    """Flushing with water looks like this: the pump turns, no sludge came before."""
    assert rules.dry_run(pump(np.zeros(N)), NEVER) == []
    assert [e.facts["confirmed"] for e in rules.dry_run(pump(np.zeros(N), 1.0, 3.0), NEVER)] == ["yes"]


@pytest.mark.parametrize(("minutes", "found"), [(2, 0), (3, 1)])
def test_polymer_outage_takes_three_minutes(minutes: int, found: int) -> None:
    polymer = series(with_part(0.02, slice(60, 60 + minutes), 0.0))
    assert len(rules.polymer_outage(series(90.0), 4.5, polymer, 0.002, NEVER)) == found


@pytest.mark.parametrize(("feed", "polymer", "found"), [(4.5, 0.0, 0), (4.51, 0.0, 1), (90.0, 0.002, 0), (90.0, 0.0019, 1)])
def test_polymer_outage_cut_offs(feed: float, polymer: float, found: int) -> None:
    assert len(rules.polymer_outage(series(feed), 4.5, series(polymer), 0.002, NEVER)) == found


def test_polymer_outage_leaves_out_start_up_and_unknown_meters() -> None:
    none = series(0.0)
    assert rules.polymer_outage(series(90.0), 4.5, none, 0.002, ALWAYS) == []
    assert rules.polymer_outage(series(90.0, slice(0, N)), 4.5, none, 0.002, NEVER) == []
    assert rules.polymer_outage(series(90.0), 4.5, series(0.0, slice(0, N)), 0.002, NEVER) == []


def test_polymer_outage_says_how_much_sludge_went_without() -> None:
    """25 minutes at 90 m3/h are 37.5 m3."""
    (found,) = rules.polymer_outage(series(90.0), 4.5, series(with_part(0.02, slice(60, 85), 0.0)), 0.002, NEVER)
    assert found.facts["sludge_without_polymer_m3"] == pytest.approx(37.5)


def gap(minutes: int) -> Mask:
    missing = NEVER.copy()
    missing[60 : 60 + minutes] = True
    return missing


@pytest.mark.parametrize(
    ("minutes", "silent", "found"), [(30, 0, []), (31, 0, [(60, 91)]), (10, 20, []), (10, 21, [(39, 70)]), (10, 30, [(30, 70)])]
)
def test_data_gap_is_over_thirty_minutes_without_record(minutes: int, silent: int, found: list[tuple[int, int]]) -> None:
    """A held value hides the first minutes of a gap; they count."""
    episodes = rules.data_gap(gap(minutes), ALWAYS, lambda _: silent)
    assert [(e.start, e.end) for e in episodes] == found


def test_data_gap_counts_silent_minutes_only_while_the_line_ran() -> None:
    running = ALWAYS.copy()
    running[:50] = False
    assert rules.data_gap(gap(10), running, lambda _: 60) == []  # 10 + 10
    (found,) = rules.data_gap(gap(25), running, lambda _: 60)
    assert (found.start, found.end, found.facts) == (50, 85, {"minutes_without_record": 35, "minutes_unknown": 25})
