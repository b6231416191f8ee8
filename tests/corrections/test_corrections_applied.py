"""The corrections register: what counts instead, the raw values untouched, and what a run says when an entry does not hold.

Doses are worked out by hand in the head of conftest.py: 16.667 kg/t on a day without faults.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from pipelines.base.errors import ExitCode

PLAIN = 20 / 1.2
SPIKE = 'id = "spike"\ntag = "FT"\nat = 2026-01-05T02:00:00\n'


def raw(small: Any) -> list[tuple]:  # type: ignore[type-arg]
    return small.ask("SELECT tag, time_utc, value, quality, load_id FROM readings ORDER BY ALL")


def test_an_empty_register_writes_nothing_and_runs_no_step(small: Any) -> None:
    small.export(0)
    small.lab("2026-01-05,2.0,20")
    summary = small.nightly()
    assert [s.step for s in summary.steps] == ["align", "compute", "watch", "compare"]
    assert small.dose() == pytest.approx(PLAIN, rel=1e-12)
    assert small.ask("SELECT count(*) FROM corrections_applied") == [(0,)]


def test_scaled_readings_count_and_the_readings_stay(small: Any) -> None:
    """A meter that reads half: 30 for 60 m3/h; times 2 gives the plain dose, and every minute it touches is uncertain."""
    small.export(0, {k: {"FT": "30"} for k in range(144)})
    small.lab("2026-01-05,2.0,20")
    small.nightly()
    assert small.dose() == pytest.approx(2 * PLAIN, rel=1e-12)
    before = raw(small)
    small.register(
        'id = "half"\ntag = "FT"\nsince = 2026-01-05\nuntil = 2026-01-06\naction = "scale"\nfactor = 2.0\nexpect = "between 20 and 60 m3/h"'
    )
    summary = small.nightly()
    assert summary.exit_code == ExitCode.OK
    assert small.dose() == pytest.approx(PLAIN, rel=1e-12)
    assert raw(small) == before
    assert small.ask("SELECT count(*), min(raw_value), max(corrected_value), max(corrected_quality) FROM corrections_applied") == [
        (144, 30.0, 60.0, 1)
    ]
    assert small.ask("SELECT bool_and(is_uncertain) FROM minutes") == [(True,)]
    assert small.ask("SELECT role, corrected_readings FROM data_quality ORDER BY role") == [
        ("polymer_neat_flow", 0), ("pump_run", 0), ("sludge_flow", 144),
    ]  # fmt: skip
    assert small.ask("SELECT state, matched, contradicted, found FROM corrections") == [("applied", 144, 0, None)]


def test_a_dropped_reading_is_not_held_across(small: Any) -> None:
    """Ten minutes without a value: 1430 valid minutes are left of 1440."""
    small.export(0, {12: {"FT": "119"}})
    small.lab("2026-01-05,2.0,20")
    small.register(SPIKE + 'action = "drop"\nexpect = "> 100 m3/h"')
    small.nightly()
    assert small.ask("SELECT valid_minutes FROM kpi_day") == [(1430,)]
    assert small.ask("SELECT sludge_flow_m3_h, sludge_flow_coverage FROM minutes WHERE minute_utc = '2026-01-05 02:05:00+00'") == [
        (None, 0.0)
    ]
    assert small.dose() == pytest.approx(PLAIN, rel=1e-12)


def test_a_flagged_reading_keeps_its_value_and_is_uncertain(small: Any) -> None:
    small.export(0)
    small.register(SPIKE + 'action = "flag"')
    small.nightly()
    assert small.ask("SELECT count(*), min(sludge_flow_m3_h) FROM minutes WHERE is_uncertain") == [(10, 60.0)]


def test_an_override_brings_a_value_set_aside_back(small: Any) -> None:
    """9999 is outside what a flow can be: set aside, a bad reading in its place. The entry says what it was."""
    small.export(0, {12: {"FT": "9999"}})
    small.register(SPIKE + 'action = "override"\nvalue = "60 m3/h"\nexpect = "= 9999"')
    small.nightly()
    assert small.ask("SELECT raw_value, raw_quality, raw_text, corrected_value, corrected_quality, line_no FROM corrections_applied") == [
        (9999.0, 2, "9999", 60.0, 1, 14)
    ]
    assert small.ask("SELECT min(sludge_flow_m3_h), min(sludge_flow_coverage) FROM minutes") == [(60.0, 1.0)]
    assert small.ask("SELECT reason, disposition FROM set_aside") == [("value outside physical range", None)]


def test_a_state_is_overridden_with_a_word(small: Any) -> None:
    small.export(0, {k: {"YI": "0"} for k in range(72)})
    small.register('id = "bit"\ntag = "YI"\nsince = 2026-01-05\nuntil = 2026-01-05T12:00:00\naction = "override"\nvalue = "on"')
    small.nightly()
    assert small.ask("SELECT run_h FROM kpi_day")[0][0] == pytest.approx(24.0)


def test_the_later_entry_counts_and_works_on_the_raw_value(small: Any) -> None:
    small.export(0, {k: {"FT": "30"} for k in range(144)})
    small.register(
        'id = "half"\ntag = "FT"\nsince = 2026-01-05\naction = "scale"\nfactor = 2.0',
        SPIKE + 'action = "scale"\nfactor = 3.0',
    )
    small.nightly()
    assert small.ask("SELECT corrected_value, count(*) FROM corrections_applied GROUP BY 1 ORDER BY 1") == [(60.0, 143), (90.0, 1)]


def test_scaled_out_of_what_can_be_is_dropped(small: Any) -> None:
    small.export(0, {12: {"FT": "100"}})
    small.register(SPIKE + 'action = "scale"\nfactor = 100.0')
    small.nightly()
    assert small.ask("SELECT corrected_value, corrected_quality FROM corrections_applied") == [(None, 2)]


def test_what_contradicts_the_entry_stays_as_it_came_and_the_run_says_so(small: Any) -> None:
    small.export(0, {12: {"FT": "119"}})
    small.register(
        'id = "wide"\ntag = "FT"\nsince = 2026-01-05T01:50:00\nuntil = 2026-01-05T02:10:00\naction = "drop"\nexpect = "> 100 m3/h"'
    )
    summary = small.nightly()
    assert summary.exit_code == ExitCode.WARNINGS
    assert [n.name for n in summary.notices] == ["corrections.contradicted"]
    assert summary.notices[0].sentence == (
        "p.toml, correction 'wide' (entry 1): FT was expected to be > 100 m3/h, found 60 m3/h at 2026-01-05T01:50:00Z; 1 of 2 values are "
        "left as they came, marked uncertain; take the entry out if the plant has mended its data, else correct its time or `expect`"
    )
    assert small.ask("SELECT time_utc, is_applied, corrected_value, corrected_quality FROM corrections_applied ORDER BY 1") == [
        (datetime(2026, 1, 5, 1, 50, tzinfo=UTC), False, 60.0, 1), (datetime(2026, 1, 5, 2, 0, tzinfo=UTC), True, None, 2),
    ]  # fmt: skip
    assert small.ask("SELECT state, matched, contradicted, found FROM corrections") == [
        ("contradicted", 2, 1, "60 m3/h at 2026-01-05T01:50:00Z")
    ]
    assert [n.name for n in small.nightly().notices] == ["corrections.contradicted"]  # every night until someone looks


def test_an_entry_expires_when_the_plant_mends_its_file(small: Any) -> None:
    small.export(0, {12: {"FT": "119"}})
    small.register(SPIKE + 'action = "drop"\nexpect = "= 119"')
    assert small.nightly().exit_code == ExitCode.OK
    small.export(0, {12: {"FT": "61"}}, name="export_0_mended.csv")
    summary = small.nightly()
    assert "found 61 m3/h at 2026-01-05T02:00:00Z" in summary.notices[0].sentence
    assert small.ask("SELECT sludge_flow_m3_h FROM minutes WHERE minute_utc = '2026-01-05 02:05:00+00'") == [(61.0,)]
    small.same_as_rebuilt()


def test_matching_nothing_is_told_once_the_data_have_come(small: Any) -> None:
    small.export(0)
    small.register(
        'id = "odd-minute"\ntag = "FT"\nat = 2026-01-05T02:05:00\naction = "drop"',
        'id = "next-week"\ntag = "FT"\nat = 2026-01-12T02:00:00\naction = "drop"',
        'id = "no-sample"\nline = "line-1"\npoint = "cake"\nanalyte = "ts"\nat = 2026-01-05\naction = "drop"',
    )
    summary = small.nightly()
    assert [n.sentence for n in summary.notices] == [
        "p.toml, correction 'odd-minute' (entry 1): FT has no value between 2026-01-05T02:05:00Z and 2026-01-05T02:05:00Z that it could match, "
        "though later data are there; correct its time, tag or file name, or take the entry out"
    ]
    assert small.ask("SELECT correction_id, state FROM corrections ORDER BY place") == [
        ("odd-minute", "matches nothing"), ("next-week", "waiting for data"), ("no-sample", "waiting for data"),
    ]  # fmt: skip


def test_only_what_came_with_the_named_file(small: Any) -> None:
    small.export(0)
    small.export(1)
    small.register('id = "one-file"\ntag = "FT"\nsince = 2026-01-05\nfile = "export_1.csv"\naction = "flag"')
    small.nightly()
    assert small.ask("SELECT DISTINCT operating_day FROM corrections_applied") == [(date(2026, 1, 6),)]


def test_a_lab_result_is_corrected_and_its_set_judged_again(small: Any) -> None:
    """A feed TS of 14.0 typed for 1.4 is above the cake's 12: set and dose are out. At 1.4 % the dose is 20 / 0.84 kg/t."""
    small.export(0)
    small.lab("2026-01-05,14.0,12.0")
    small.nightly()
    assert small.dose() is None
    assert small.ask("SELECT DISTINCT unused_reason FROM lab_results") == [("inconsistent sample set",)]
    small.register(
        'id = "typed"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "scale"\nfactor = 0.1\nexpect = "= 14"'
    )
    small.nightly()
    assert small.ask("SELECT point, value, is_used, unused_reason FROM lab_results ORDER BY 1") == [
        ("cake", 12.0, True, None), ("feed", pytest.approx(1.4), True, None),
    ]  # fmt: skip
    assert small.ask("SELECT point, value FROM lab_results_history ORDER BY 1") == [("cake", 12.0), ("feed", 14.0)]
    assert small.dose() == pytest.approx(20 / 0.84, rel=1e-9)
    small.register()
    small.nightly()
    assert small.dose() is None


def test_a_dropped_lab_result_is_not_used(small: Any) -> None:
    small.export(0)
    small.lab("2026-01-05,2.0,20")
    small.register('id = "spilt"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nsample = "line-1/feed/2026-01-05"\naction = "drop"')
    small.nightly()
    assert small.ask("SELECT value, is_used, unused_reason FROM lab_results WHERE point = 'feed'") == [
        (2.0, False, "dropped by correction spilt")
    ]
    assert small.dose() is None


def test_an_implausible_lab_result_comes_back_by_an_entry(small: Any) -> None:
    """20000 in a column of per cent is mg/L: set aside as implausible; 20000 mg/L is 2 % at SG 1."""
    small.export(0)
    small.lab("2026-01-05,20000,20")
    small.register(
        'id = "unit"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "override"\nvalue = "20000 mg/L"\nexpect = "= 20000"'
    )
    assert small.nightly().notices == []
    assert small.dose() == pytest.approx(PLAIN, rel=1e-9)
    assert small.ask("SELECT raw_text, raw_value, corrected_value FROM corrections_applied") == [("20000", 20000.0, 2.0)]


def test_register_added_changed_and_taken_out_equals_a_rebuild_each_time(small: Any) -> None:
    small.export(0, {12: {"FT": "119"}, 13: {"FT": "9999"}})
    small.export(1)
    small.lab("2026-01-05,2.0,20", "2026-01-06,2.1,21")
    small.nightly(publish_now=True)
    untouched = small.hashes()
    drop = SPIKE + 'action = "drop"\nexpect = "> 100 m3/h"'
    for entries in ([drop], [drop.replace("drop", "flag"), 'id = "b"\ntag = "PT"\nsince = 2026-01-06\naction = "scale"\nfactor = 1.1'], []):
        small.register(*entries)
        small.nightly()
        small.same_as_rebuilt()
    kept = {"readings_history", "lab_results", "minutes", "runs", "corrections_applied", "corrections", "load_days", "parquet/readings"}
    after = small.hashes()
    assert {name for name in kept if after[name] != untouched[name]} == set()


def test_an_entry_that_others_outrank_is_not_called_unmatched(small: Any) -> None:
    small.export(0)
    small.lab("2026-01-05,2.0,20")
    small.register(
        SPIKE.replace("spike", "first") + 'action = "flag"',
        SPIKE + 'action = "drop"',
        'id = "lab-first"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "flag"',
        'id = "lab-last"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "flag"',
    )
    assert small.nightly().notices == []
    assert small.ask("SELECT state FROM corrections ORDER BY place") == [
        ("changes nothing",),
        ("applied",),
        ("changes nothing",),
        ("applied",),
    ]


def test_a_new_load_is_looked_at_only_where_it_speaks(small: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """An open entry: the second night looks at the second day's readings, a night without files at none."""
    from pipelines.check.corrections import readings

    windows = []

    def watched(*given: Any) -> None:
        windows.append(given[-1])
        make(*given)

    make = readings.make
    monkeypatch.setattr(readings, "make", watched)
    small.register('id = "open"\ntag = "FT"\nsince = 2026-01-05\naction = "flag"')
    small.export(0)
    small.nightly()
    small.export(1)
    small.nightly()
    small.nightly()
    assert windows[0] == readings.EVERYTHING
    assert [(w.first.day, w.end.day) for w in windows[1:]] == [(6, 6)]
    assert small.ask("SELECT matched FROM corrections") == [(288,)]
