"""Decisions on set-aside rows and flags: what counts afterwards, what is refused and how, and that a rebuild decides the same."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest
from click.testing import CliRunner

from pipelines.base.errors import DataMissingError, ExitCode, UsageError
from pipelines.cli.app import app
from pipelines.decisions import decide, decision_file
from pipelines.decisions.decide import FlagFilter, RowFilter, Verdict

PLAIN = 20 / 1.2  # kg/t, by hand in conftest.py
AT = "2026-01-05 02:05:00+00"
ENGINEER = "process engineer"


def decided(small: Any, disposition: str, given: str | None = None, *, count: int | None = None, **filters: Any) -> decide.Chosen:
    return decide.decide_rows(small.home, "p", RowFilter(**filters), Verdict(disposition, ENGINEER, "looked at it", given), count=count)


def flow(small: Any) -> tuple[float | None, float]:
    found: tuple[float | None, float] = small.ask(f"SELECT sludge_flow_m3_h, sludge_flow_coverage FROM minutes WHERE minute_utc = '{AT}'")[
        0
    ]
    return found


def test_decisions_one_after_the_other_and_a_rebuild_after_each(small: Any) -> None:
    """125 m3/h is past the transmitter's range of 120 but can be: line 14 of the export, 02:00."""
    small.export(0, {12: {"FT": "125"}})
    small.nightly()
    assert flow(small) == (None, 0.0)
    versions = set()
    for disposition, given, expected in (
        ("accept as is", None, (125.0, 1.0)), ("corrected to", "61 m3/h", (61.0, 1.0)), ("ask plant", None, (None, 0.0)), ("reject", None, (None, 0.0)),
    ):  # fmt: skip
        (decision,) = decided(small, disposition, given, file="export_0.csv", line_no=14).decisions
        small.apply_decisions()
        assert flow(small) == expected
        assert small.published("SELECT disposition, disposition_role, disposition_note, disposition_utc FROM set_aside") == [
            (disposition, ENGINEER, "looked at it", decision.decided_utc)
        ]
        versions |= {v for (v,) in small.ask("SELECT data_version FROM kpi_day")}
        counting = small.ask("SELECT action, raw_value, raw_text, corrected_value, corrected_quality, source FROM corrections_applied")
        assert counting == ([] if expected[0] is None else [(disposition, 125.0, "125", expected[0], 1, "disposition")])
    assert len(versions) == 3  # accepted, corrected, and neither
    assert small.published("SELECT disposition FROM dispositions ORDER BY place") == [
        ("accept as is",),
        ("corrected to",),
        ("ask plant",),
        ("reject",),
    ]
    assert small.ask("SELECT value, quality FROM readings WHERE tag = 'FT' AND quality = 2") == [(None, 2)]  # raw, untouched
    small.same_as_rebuilt()


def test_kept_and_then_killed_is_applied_by_the_next_run(small: Any, make_small: Any) -> None:
    """Killed between the line in the file and the tables: the nightly run finds the line."""
    other = make_small("unbroken")
    for one in (small, other):
        one.export(0, {12: {"FT": "125"}})
        one.nightly(publish_now=True)
    decided(other, "accept as is", line_no=14)
    other.apply_decisions()
    decision = decided(small, "accept as is", line_no=14).decisions[0]
    (line,) = small.home.dispositions("p").read_text().splitlines()
    assert json.loads(line)["id"] == decision.id
    small.nightly(publish_now=True)
    told = "SELECT subject, corrected_value, action FROM corrections_applied"
    assert small.published(told) == other.published(told) == [("FT", 125.0, "accept as is")]
    same = ("minutes", "kpi_rolling", "runs", "load_days")
    mine, theirs = small.hashes(), other.hashes()
    assert {
        t for t in same if t != "kpi_rolling" and mine[t] != theirs[t]
    } == set()  # data versions hold the ids, and those the time of decision


def test_a_decision_on_a_row_goes_before_the_register(small: Any) -> None:
    small.export(0, {12: {"FT": "125"}, 13: {"FT": "126"}})
    small.register(
        'id = "span"\ntag = "FT"\nsince = 2026-01-05T02:00:00\nuntil = 2026-01-05T02:20:00\naction = "override"\nvalue = "70 m3/h"'
    )
    small.nightly()
    assert flow(small) == (70.0, 1.0)
    decided(small, "reject", line_no=14)
    small.nightly()
    assert flow(small) == (None, 0.0)
    assert small.ask("SELECT raw_value, corrected_value FROM corrections_applied") == [(126.0, 70.0)]


def test_a_good_reading_that_comes_later_stands(small: Any) -> None:
    small.export(0, {12: {"FT": "125"}})
    small.nightly()
    decided(small, "accept as is", line_no=14)
    small.export(0, {12: {"FT": "62"}}, name="export_0_again.csv")
    small.nightly()
    assert flow(small) == (62.0, 1.0)
    assert small.ask("SELECT count(*) FROM corrections_applied") == [(0,)]
    with pytest.raises(UsageError) as error:
        decided(small, "accept as is", line_no=14)
    assert str(error.value) == (
        "cannot be decided as 'accept as is'; nothing was decided:\n"
        "  export_0.csv, line 14: FT: another reading stands at that time: 62 in the internal unit\n"
        "  remedy: decide it as reject or ask plant; or mend the plant file and run `flocledger rebuild`"
    )


def test_a_lab_result_set_aside_is_corrected_and_gives_way_to_the_labs_own(small: Any) -> None:
    small.export(0)
    small.lab("2026-01-05,press down,20")
    small.nightly()
    assert small.dose() is None
    decided(small, "corrected to", "2.0 %", file="lab_0.csv", line_no=2)
    small.nightly()
    assert small.dose() == pytest.approx(PLAIN, rel=1e-12)
    assert small.ask("SELECT value, revision, line_no FROM lab_results WHERE point = 'feed'") == [(2.0, 1, 2)]
    assert small.ask("SELECT count(*) FROM lab_results_history WHERE point = 'feed'") == [(0,)]
    small.same_as_rebuilt()
    small.lab("2026-01-05,4.0,20", name="lab_1.csv")
    small.nightly()
    assert small.dose() == pytest.approx(PLAIN / 2, rel=1e-12)
    small.same_as_rebuilt()


REFUSED = [
    ("9999999", "accept as is", None, "FT: 1e+07 m3/h is outside what can be (-50 to 2000); correct it to a value"),
    ("MAINT", "accept as is", None, "FT: 'MAINT' is no number that could count; correct it to a value"),
    ("MAINT", "corrected to", "60", "not a number with a unit: '60'"),
    ("MAINT", "corrected to", "60 psi", "psi is a unit of pressure, here a flow is needed"),
    ("MAINT", "corrected to", "60 furlong", "unknown unit 'furlong'"),
    ("MAINT", "corrected to", "6000 m3/h", "6000 m3/h is outside what can be: -50 to 2000 m3/h"),
]


def test_what_cannot_count_is_refused(small: Any) -> None:
    small.export(0, {12 + k: {"FT": cell} for k, (cell, *_) in enumerate(REFUSED)})
    small.nightly()
    for k, (_, disposition, given, problem) in enumerate(REFUSED):
        with pytest.raises(UsageError) as error:
            decided(small, disposition, given, line_no=14 + k)
        assert (
            error.value.args[0] == f"cannot be decided as {disposition!r}; nothing was decided:\n  export_0.csv, line {14 + k}: {problem}"
        )
    assert not small.home.dispositions("p").exists()


def test_many_at_once_need_their_number(small: Any) -> None:
    small.export(0, {12: {"FT": "125"}, 13: {"FT": "126"}, 14: {"FT": "what", "PT": "999"}})
    small.nightly()
    with pytest.raises(UsageError) as error:
        decided(small, "reject", reason="value outside transmitter range")
    assert str(error.value) == (
        "2 set-aside rows fit; nothing was decided\n  remedy: look at them with --dry-run, then confirm with --count 2"
    )
    with pytest.raises(UsageError, match="2 set-aside rows fit, not 3; nothing was decided"):
        decided(small, "reject", reason="value outside transmitter range", count=3)
    with pytest.raises(UsageError, match="2 values are set aside; name one with --tag: FT, PT"):
        decided(small, "corrected to", "60 m3/h", line_no=16)
    with pytest.raises(DataMissingError, match="no set-aside row fits"):
        decided(small, "reject", line_no=99)
    with pytest.raises(UsageError, match="a value belongs to `corrected to`"):
        decided(small, "reject", "60 m3/h", line_no=14)
    assert len(decided(small, "accept as is", reason="value outside transmitter range", count=2).decisions) == 2
    decided(small, "corrected to", "60 m3/h", line_no=16, tag="FT")
    small.nightly()
    assert small.ask("SELECT subject, corrected_value FROM corrections_applied ORDER BY time_utc") == [
        ("FT", 125.0),
        ("FT", 126.0),
        ("FT", 60.0),
    ]
    with pytest.raises(DataMissingError, match="no set-aside row fits"):
        decided(small, "reject", only_open=True, line_no=14)


def test_flags_keep_their_decision_through_a_rebuild(small: Any) -> None:
    """No polymer for an hour while sludge is fed: a polymer outage."""
    small.export(0, {k: {"PT": "0"} for k in range(60, 66)})
    small.nightly(publish_now=True)
    ((flag_id,),) = small.ask("SELECT flag_id FROM flags WHERE detector = 'polymer outage'")
    chosen = decide.decide_flags(
        small.home,
        "p",
        FlagFilter(flag_id=flag_id),
        Verdict("confirmed", "operator", "tote was empty", owner="operator", due_day=date(2026, 3, 9)),
    )
    small.apply_decisions()
    told = "SELECT disposition, disposition_role, disposition_note, disposition_utc, owner, due_day FROM flags WHERE detector = 'polymer outage'"
    assert small.published(told) == [
        ("confirmed", "operator", "tote was empty", chosen.decisions[0].decided_utc, "operator", date(2026, 3, 9))
    ]
    small.same_as_rebuilt()
    assert small.published(told)[0][0] == "confirmed"
    with pytest.raises(DataMissingError, match="no flag fits"):
        decide.decide_flags(small.home, "p", FlagFilter(flag_id="x"), Verdict("confirmed", "operator", "n"))


def test_the_command_decides_publishes_and_says_so(small: Any) -> None:
    small.export(0, {12: {"FT": "125"}})
    small.nightly(publish_now=True)
    runner, home = CliRunner(), str(small.home.root)
    given = [
        "--home",
        home,
        "dispose",
        "row",
        "--plant",
        "p",
        "--file",
        "export_0.csv",
        "--row",
        "14",
        "--role",
        "operator",
        "--note",
        "seen",
    ]
    dry = runner.invoke(app, [*given, "--as", "accept as is", "--dry-run"])
    assert dry.output.splitlines()[-1] == "1 would be decided as 'accept as is'; nothing was recorded (--dry-run)"
    assert not small.home.dispositions("p").exists()
    later = runner.invoke(app, [*given, "--as", "ask plant", "--later"])
    assert later.output.splitlines()[-1] == "recorded; the next nightly run applies it"
    done = runner.invoke(app, [*given, "--as", "corrected to", "--value", "60 m3/h"])
    assert done.output.splitlines()[0] == (
        "export_0.csv, line 14: value outside transmitter range: FT: 125 is not within -1.2 to 121.2 (SI, 1 % of span added), range 0 to 120 m3/h (open)"
    )
    assert done.output.splitlines()[-1].startswith("published; operating days worked on: align 1, compute 1")
    assert small.published("SELECT corrected_value FROM corrections_applied") == [(60.0,)]
    wrong = runner.invoke(app, [*given, "--as", "maybe"])
    assert "is not one of 'accept as is', 'corrected to', 'reject', 'ask plant'" in wrong.output
    traced = runner.invoke(app, ["--home", home, "trace", "--plant", "p", "--file", "export_0.csv", "--row", "14"])
    assert "  raw: 2026-01-05 02:00,125,50,1" in traced.output.splitlines()
    assert "corrected to by disposition" in traced.output


def test_the_file_of_decisions_shows_tampering_and_forgets_a_torn_line(small: Any) -> None:
    small.export(0, {12: {"FT": "125"}, 13: {"FT": "126"}})
    small.nightly()
    path = small.home.dispositions("p")
    first = decided(small, "reject", line_no=14).decisions[0]
    with path.open("ab") as file:
        file.write(b'{"id": "torn by a ki')
    assert [d.id for d in decision_file.read(path)] == [first.id]
    decided(small, "reject", line_no=15)
    assert len(decision_file.read(path)) == 2
    whole = path.read_text()
    path.write_text(whole.replace("looked at it", "never looked", 1))
    with pytest.raises(decision_file.DispositionFileError) as error:
        small.nightly()
    assert error.value.exit_code == ExitCode.PLANT_FILE_OR_USAGE
    assert str(error.value) == (
        f"{path}, line 1: does not follow from the lines before it: a line was changed, moved or deleted\n"
        "  remedy: restore the file from a backup; revoke a decision by a new decision, never by an edit"
    )
    path.write_text("\n".join(whole.splitlines()[1:]) + "\n")
    with pytest.raises(decision_file.DispositionFileError, match="line 1: does not follow"):
        decision_file.read(path)
    path.write_text(whole + "nonsense\n")
    with pytest.raises(decision_file.DispositionFileError, match="line 3: cannot be read"):
        decision_file.read(path)


def test_readings_accepted_are_out_of_range_no_longer(small: Any) -> None:
    small.export(0, {k: {"FT": "125"} for k in range(60, 72)})
    small.nightly()
    told = "SELECT count(*) FROM flags WHERE detector = 'out of range'"
    assert small.ask(told) == [(1,)]
    decided(small, "accept as is", reason="value outside transmitter range", count=12)
    small.nightly()
    assert small.ask(told) == [(0,)]


def test_a_run_that_breaks_off_in_the_middle_is_finished_by_the_next(small: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once inside the transaction of corrections, which then leaves nothing, once right after it."""
    small.export(0, {12: {"FT": "125"}, 20: {"FT": "119"}})
    small.lab("2026-01-05,14,12")
    small.nightly()
    small.register(
        'id = "spike"\ntag = "FT"\nat = 2026-01-05T03:20:00\naction = "drop"',
        'id = "slip"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "scale"\nfactor = 0.1',
    )
    decided(small, "accept as is", line_no=14)

    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    tables = "SELECT (SELECT count(*) FROM corrections_applied), (SELECT count(*) FROM dispositions), (SELECT count(*) FROM corrections)"
    with monkeypatch.context() as patched:
        patched.setattr("pipelines.check.corrections.register._write_register", broken)
        with pytest.raises(KeyboardInterrupt):
            small.nightly()
    assert small.ask(tables) == [(0, 0, 0)]
    with monkeypatch.context() as patched:
        patched.setattr("pipelines.align.run", broken)
        with pytest.raises(KeyboardInterrupt):
            small.nightly()
    assert small.ask(tables) == [(3, 1, 2)]
    small.nightly()
    assert small.ask("SELECT valid_minutes, feed_ts_pct FROM kpi_day") == [(1430, pytest.approx(1.4))]
    small.same_as_rebuilt()
