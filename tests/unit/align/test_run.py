"""The align step on a store: which minutes exist, what stands in them, what is marked, and that all of it is one piece."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipelines import align
from pipelines.align import worklist
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from tests.plants import FLOW, RUN
from tests.unit.align.stored_readings import BAD, T0, UNCERTAIN, minute, plant, put

# --- which minutes --------------------------------------------------------------------------------------------------


def test_nothing_pending_and_nothing_to_align(store: Store) -> None:
    receipt = align.run(store, plant(FLOW))
    assert (receipt.step, receipt.days, receipt.rows) == ("align", 0, {})
    store.mark_hours(T0, T0)  # marked, but there is no reading
    assert align.run(store, plant(FLOW)).days == 0
    assert store.rows("SELECT count(*) FROM pending_hours") == [(0,)]


def test_minutes_cover_whole_operating_days_from_first_to_last_reading(store: Store) -> None:
    put(store, "FT", (600.0, 1.0), (1440.0 + 700.0, 2.0))
    receipt = align.run(store, plant(FLOW, lines=("line-1", "line-2")))
    assert (receipt.days, receipt.rows) == (2, {"minutes": 2 * 2880})
    assert store.rows("SELECT min(minute_utc), max(minute_utc), count(DISTINCT (line, minute_utc)) FROM minutes") == [
        (T0, T0 + timedelta(minutes=2879), 5760)
    ]
    assert store.rows("SELECT DISTINCT operating_day FROM minutes ORDER BY 1") == [(date(2026, 1, 5),), (date(2026, 1, 6),)]
    assert store.pending_days("compute") == [date(2026, 1, 5), date(2026, 1, 6)]  # and not the 7th, which has no minutes
    ordered = store.rows("SELECT line, minute_utc FROM minutes")
    assert ordered == sorted(ordered)
    assert store.rows("SELECT count(*) FROM pending_hours") == [(0,)]


@pytest.mark.parametrize(("at", "day"), [(0.0, date(2026, 1, 5)), (-1e-6 / 60.0, date(2026, 1, 4))])
def test_the_first_reading_on_either_side_of_a_day_start(store: Store, at: float, day: date) -> None:
    put(store, "FT", (at, 1.0))
    align.run(store, plant(FLOW))
    assert store.rows("SELECT DISTINCT operating_day FROM minutes") == [(day,)]


@pytest.mark.parametrize(("at", "minutes"), [(datetime(2026, 3, 7, 20, tzinfo=UTC), 1380), (datetime(2026, 10, 31, 20, tzinfo=UTC), 1500)])
def test_days_on_which_the_clock_changes(store: Store, at: datetime, minutes: int) -> None:
    put(store, "FT", ((at - T0) / timedelta(minutes=1), 1.0))
    assert align.run(store, plant(FLOW)).rows == {"minutes": minutes}


def test_only_marked_hours_are_done_again_and_the_next_day_is_marked_too(store: Store) -> None:
    put(store, "FT", (0.0, 1.0), (4000.0, 1.0))
    align.run(store, plant(FLOW))
    store.clear_days("compute")
    store.con.execute("UPDATE packed_readings SET value = 7.0 WHERE time_utc = $t", {"t": T0})
    store.mark_hours(T0 + timedelta(minutes=5), T0 + timedelta(minutes=5))
    receipt = align.run(store, plant(FLOW))
    assert receipt.rows == {"minutes": 120}  # the hour, and one more: the start-up timer may reach into it
    assert minute(store, 5, "sludge_flow_m3_h") == (7.0,)
    assert store.pending_days("compute") == [date(2026, 1, 5), date(2026, 1, 6)]
    assert store.rows("SELECT count(*), count(DISTINCT minute_utc) FROM minutes") == [(3 * 1440, 3 * 1440)]


def test_marked_hours_outside_the_days_with_readings_are_dropped(store: Store) -> None:
    put(store, "FT", (0.0, 1.0))
    store.mark_hours(T0 - timedelta(days=3), T0 + timedelta(days=3))
    assert align.run(store, plant(FLOW)).rows == {"minutes": 1440}


@pytest.mark.parametrize("at", [-3000.0, 5000.0])
def test_a_wider_span_is_filled_though_not_marked(store: Store, at: float) -> None:
    put(store, "FT", (0.0, 1.0))
    align.run(store, plant(FLOW))
    put(store, "FT", (at, 1.0), mark=False)
    store.mark_hours(T0 + timedelta(minutes=at), T0 + timedelta(minutes=at))
    align.run(store, plant(FLOW))
    first, last, count = store.rows("SELECT min(minute_utc), max(minute_utc), count(*) FROM minutes")[0]
    assert count == (last - first) / timedelta(minutes=1) + 1 == 4 * 1440
    assert store.rows("SELECT count(*) FROM minutes GROUP BY operating_day") == [(1440,)] * 4


def test_half_hour_zones_leave_no_minute_out(store: Store) -> None:
    where = plant(FLOW, time_zone="Asia/Kolkata")
    put(store, "FT", (0.0, 1.0), (3000.0, 1.0))
    align.run(store, where)
    assert store.rows("SELECT count(*), count(DISTINCT minute_utc) FROM minutes GROUP BY operating_day") == [(1440, 1440)] * 3


def test_a_day_that_turns_out_to_have_stood_marks_the_days_its_feed_sample_reached(store: Store) -> None:
    run_bit = {"role": "pump_run", "tag": "YI", "unit": "state"}
    put(store, "YI", (0.0, 1.0), (1440.0, 1.0), (20 * 1440.0, 0.0))
    put(store, "FT", (0.0, 50.0), (20.0, 50.0), (1440.0, 50.0), (20 * 1440.0, 0.0))
    align.run(store, plant(FLOW, run_bit))
    store.clear_days("compute")
    store.con.execute("UPDATE packed_readings SET value = 0.0 WHERE time_utc < $t", {"t": T0 + timedelta(days=1)})
    put(store, "YI", *((60.0 * k, 0.0) for k in range(1, 24)))
    put(store, "FT", *((10.0 * k, 0.0) for k in range(3, 144)))
    align.run(store, plant(FLOW, run_bit))
    assert store.rows("SELECT DISTINCT state FROM minutes WHERE operating_day = DATE '2026-01-05'") == [("stopped",)]
    assert store.pending_days("compute") == [date(2026, 1, 5) + timedelta(days=k) for k in range(15)]


def test_another_start_of_the_day_leaves_no_minute_behind(store: Store) -> None:
    put(store, "FT", (0.0, 1.0), (30.0, 1.0))
    align.run(store, plant(FLOW))
    store.clear_days("compute")
    store.mark_hours(*store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes")[0])  # as a changed plant file does
    align.run(store, plant(FLOW, operating_day_start=time(8)))
    assert store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes") == [(T0 - timedelta(hours=22), T0 + timedelta(minutes=119))]
    assert store.rows("SELECT DISTINCT operating_day FROM minutes") == [(date(2026, 1, 4),)]
    assert store.pending_days("compute") == [date(2026, 1, 4), date(2026, 1, 5)]  # the 5th is gone: compute must know


# --- what stands in them ----------------------------------------------------------------------------------------------


def test_mean_coverage_and_uncertainty(store: Store) -> None:
    put(store, "FT", (1.25, 40.0), (1.75, 80.0, UNCERTAIN), (2.5, None, BAD), (3.0, 60.0))
    align.run(store, plant(FLOW))
    flow = ("sludge_flow_m3_h", "sludge_flow_coverage", "is_uncertain")
    assert minute(store, 0, *flow) == (None, 0.0, False)
    assert minute(store, 1, *flow) == ((40.0 * 0.5 + 80.0 * 0.25) / 0.75, 0.75, True)
    assert minute(store, 2, *flow) == (80.0, 0.5, True)
    assert minute(store, 3, *flow) == (60.0, 1.0, False)
    assert minute(store, 32, *flow) == (60.0, 1.0, False)  # held 30 minutes
    assert minute(store, 33, *flow) == (None, 0.0, False)


def test_a_line_without_a_signal_has_nulls(store: Store) -> None:
    put(store, "FT", (0.0, 40.0))
    align.run(store, plant(FLOW, lines=("line-1", "line-2")))
    assert minute(store, 0, "pump_run_share", "pump_run_coverage", "state") == (None, None, "start-up")
    assert minute(store, 0, "sludge_flow_m3_h", "sludge_flow_coverage", "state", line="line-2") == (None, None, "unknown")


def test_state_share(store: Store) -> None:
    put(store, "YI", (0.0, 1.0), (1.25, 0.0))
    align.run(store, plant(RUN))
    assert [minute(store, k, "pump_run_share", "pump_run_coverage") for k in (0, 1, 1439)] == [(1.0, 1.0), (0.25, 1.0), (0.0, 1.0)]


def test_sloped_signals_follow_the_line(store: Store) -> None:
    put(store, "FT", (0.0, 0.0), (10.0, 100.0), (41.0, 0.0))
    align.run(store, plant(FLOW | {"interpolation": "sloped", "hold_limit": "2 h"}))
    assert minute(store, 4, "sludge_flow_m3_h")[0] == pytest.approx(45.0, rel=1e-12)
    assert minute(store, 20, "sludge_flow_m3_h", "sludge_flow_coverage") == (None, 0.0)  # 31 minutes: lines reach back 30 at most


@pytest.mark.parametrize(("limit", "last_covered"), [("15 min", 14), ("48 h", 1439)])
def test_hold_limit_is_the_signals_own_but_never_above_a_day(store: Store, limit: str, last_covered: int) -> None:
    put(store, "FT", (0.0, 40.0))
    put(store, "XX", (2000.0, 1.0))  # another tag, a day later
    align.run(store, plant(FLOW | {"hold_limit": limit}))
    covered = [m for (m,) in store.rows("SELECT minute_utc FROM minutes WHERE sludge_flow_coverage > 0 ORDER BY 1")]
    assert covered[-1] == T0 + timedelta(minutes=last_covered)


def test_a_range_on_its_own_sees_what_is_held_from_a_day_before(store: Store) -> None:
    put(store, "YI", (0.5, 1.0))
    frame = align.aligned(store, plant(RUN), T0 + timedelta(hours=23), T0 + timedelta(hours=25))
    assert frame["pump_run_coverage"].to_list() == [1.0] * 60 + [0.5] + [0.0] * 59


REGISTER = {"role": "sludge_total", "tag": "FQ", "unit": "m3", "rollover": 1000.0, "maximum_rate": "120 m3/h"}
TOTAL = ("sludge_total_m3", "sludge_total_coverage")


def test_totaliser_increment_by_linear_interpolation(store: Store) -> None:
    # 6 m3 in 4 minutes from 0:30 on: 1.5 m3 a minute; half a minute of it in minute 0 and in minute 4
    put(store, "FQ", (0.5, 100.0), (4.5, 106.0))
    align.run(store, plant(REGISTER))
    assert [minute(store, k, *TOTAL) for k in (0, 1, 3, 4)] == [(0.75, 0.5), (1.5, 1.0), (1.5, 1.0), (0.75, 0.5)]
    assert minute(store, 5, *TOTAL) == (None, 0.0)


def test_totaliser_rollover_impossible_bad_and_far(store: Store) -> None:
    put(store, "FQ", (0.0, 998.0), (4.0, 2.0), (5.0, 500.0), (6.0, None, BAD), (7.0, 501.0), (8.0, 502.0, UNCERTAIN), (39.0, 503.0))
    align.run(store, plant(REGISTER))
    assert minute(store, 2, *TOTAL, "is_uncertain") == (1.0, 1.0, False)  # 998 to 1002 in 4 minutes
    assert minute(store, 4, *TOTAL) == (None, 0.0)  # 498 m3 in a minute cannot be
    assert minute(store, 5, *TOTAL) == (None, 0.0)
    assert minute(store, 6, *TOTAL) == (None, 0.0)  # nothing known next to a bad reading
    assert minute(store, 7, *TOTAL, "is_uncertain") == (1.0, 1.0, True)
    assert minute(store, 20, *TOTAL) == (None, 0.0)  # 31 minutes


def test_effective_dates_choose_the_tag(store: Store) -> None:
    change = T0 + timedelta(minutes=10, seconds=30)
    old, new = FLOW | {"until": change}, FLOW | {"tag": "FT-new", "since": change, "range": [0, 500]}
    put(store, "FT", *((float(k), 40.0) for k in range(20)))
    put(store, "FT-new", *((float(k), 80.0) for k in range(5, 20)))
    align.run(store, plant(old, new))
    found = [minute(store, k, "sludge_flow_m3_h", "sludge_flow_coverage") for k in (5, 9, 10, 11, 19)]
    assert found == [(40.0, 1.0), (40.0, 1.0), (40.0, 0.5), (80.0, 1.0), (80.0, 1.0)]  # the first new reading counts from 11:00 on


def test_a_signal_not_yet_there_is_null_and_no_missing_evidence(store: Store) -> None:
    later = T0 + timedelta(minutes=10)
    device = {"role": "device_run", "tag": "YD", "unit": "state", "since": later}
    neat = {"role": "polymer_neat_flow", "tag": "FP", "unit": "m3/h", "range": [0, 1]}
    for tag, value in (("FT", 50.0), ("FP", 0.5)):
        put(store, tag, *((float(k), value) for k in range(20)))
    align.run(store, plant(FLOW, neat, device))
    assert minute(store, 9, "device_run_coverage", "state") == (None, "processing")
    assert minute(store, 10, "device_run_coverage", "state") == (0.0, "unknown")


def test_two_tags_on_one_role_at_the_same_time_are_refused_by_name(store: Store) -> None:
    put(store, "FT", (0.0, 40.0))
    until, since = datetime(2026, 2, 2, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC)
    with pytest.raises(
        ValidationError, match=r"tag: 'FT' and 'FT-2' are both sludge_flow of line-1, from 2026-02-01 on; give one .* `until`"
    ):
        plant(FLOW | {"until": until}, FLOW | {"tag": "FT-2", "since": since})
    align.run(store, plant(FLOW | {"until": since}, FLOW | {"tag": "FT-2", "since": since}))  # one ends as the other begins


def test_start_up_at_the_start_of_the_data_and_across_a_day_start(store: Store) -> None:
    neat = {"role": "polymer_neat_flow", "tag": "FP", "unit": "m3/h", "range": [0, 1]}
    for tag, value in (("FT", 50.0), ("FP", 0.5)):
        put(store, tag, *((k / 2.0, value) for k in range(2, 2 * 1460)))
    align.run(store, plant(FLOW, neat))
    states = [minute(store, k, "state")[0] for k in (0, 1, 3, 4, 1439, 1440)]
    assert states == ["unknown", "start-up", "start-up", "processing", "processing", "processing"]


# --- one piece --------------------------------------------------------------------------------------------------------


def test_pieces_of_a_backfill_give_the_same_table(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [(k * 7.3, float(k % 90)) for k in range(1200)]
    put(store, "FT", *rows)
    align.run(store, plant(FLOW | {"interpolation": "sloped"}))
    monkeypatch.setattr(worklist, "LONGEST_PIECE", timedelta(hours=7))
    monkeypatch.setattr(worklist, "MOST_READINGS", 30)
    with Store(tmp_path / "other.duckdb", "p") as other:
        put(other, "FT", *rows)
        align.run(other, plant(FLOW | {"interpolation": "sloped"}))
        assert content_hash(other.con, "minutes") == content_hash(store.con, "minutes")


def test_pieces_are_bounded_in_time_and_readings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worklist, "MOST_READINGS", 10)
    hours = [T0 + timedelta(hours=k) for k in (0, 1, 2, 5, 6)]
    size = {int(h.timestamp()) // 3600: n for h, n in zip(hours, (5, 5, 1, 99, 0), strict=True)}
    found = [((a - T0) // timedelta(hours=1), (b - T0) // timedelta(hours=1)) for a, b in worklist._pieces(hours, size)]
    assert found == [(0, 2), (2, 3), (5, 6), (6, 7)]


def test_a_failure_midway_leaves_everything_as_it_was(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put(store, "FT", (0.0, 40.0))
    align.run(store, plant(FLOW))
    store.clear_days("compute")
    put(store, "FT", (10.0, 90.0))
    before = content_hash(store.con, "minutes"), content_hash(store.con, "pending_hours")

    def broken(*_: object) -> None:
        raise RuntimeError("killed")

    monkeypatch.setattr(store, "mark_days", broken)
    with pytest.raises(RuntimeError, match="killed"):
        align.run(store, plant(FLOW))
    assert (content_hash(store.con, "minutes"), content_hash(store.con, "pending_hours")) == before
    assert store.pending_days("compute") == []


def test_a_run_bit_that_all_others_contradict_adds_no_run_hours(store: Store) -> None:
    """The bit stands on while speed and flow stand still: its coverage is 0, so neither on nor off counts."""
    speed = {"role": "pump_speed", "tag": "SI", "unit": "rpm", "range": [0, 300]}
    for tag, value in (("YI", 1.0), ("FT", 0.0), ("SI", 0.0)):
        put(store, tag, *((k, value) for k in range(0, 20, 5)))
    align.run(store, plant(FLOW, RUN, speed))
    assert minute(store, 7, "state", "pump_run_coverage", "is_pump_running") == ("unknown", 0.0, None)
