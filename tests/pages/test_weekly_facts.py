"""Facts of the weekly page: sentences, open items, withholding, at their edges; every number with its place."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import sqrt
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from pipelines.report import words
from pipelines.report.weekly import charts, facts, uncertainty
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.read import LineData, WeekData, iso_week
from pipelines.report.words import Limits

WEEK = WeekData(
    "p", "Plant", ZoneInfo("America/New_York"), date(2026, 3, 30), "2026-W14", datetime(2026, 3, 30, 10, tzinfo=UTC),
    datetime(2026, 4, 6, 10, tzinfo=UTC), datetime(2026, 4, 6, 11, tzinfo=UTC), date(2026, 4, 5), "abc", datetime(2025, 1, 1, 5, tzinfo=UTC), 0, (),
)  # fmt: skip
SETTINGS = {"units": "US", "currency": "USD", "reference_flow_m3_h": 90.8498796, "polymer_meter": "neat"}
THIS: dict[str, Any] = {
    "plant": "p", "line": "line-1", "week_start_day": date(2026, 3, 30), "minutes_seen": 10080, "unknown_minutes": 0,
    "processing_minutes": 2496, "processing_h": 41.6, "operating_days": 5, "dry_solids_t": 79.832, "dose_active_kg_t": 7.3, "dose_reason": None,
    "cake_ts_pct": 22.6, "cake_samples": 10, "filtrate_samples": 5, "capture_pct": 95.0, "dilution_ratio": 0.31, "cost_total_per_t": 412.0, "mixing_dp_ref_kpa": 31.0,
    "mixing_dp_ref_method": "fit", "missed_share": 0.04, "is_provisional": False, "data_version": "v",
}  # fmt: skip
FLAG = {
    "flag_id": "f",
    "severity": "check today",
    "disposition": None,
    "sentence": "The suction pressure fell to -3 psi.",
    "suggestion": "grinder and suction valve.",
}
LIMITS = {
    "dose_active_kg_t": Limits(at_most=11.0, usual=(8.5, 12.0)),
    "cake_ts_pct": Limits(at_least=21.5),
    "capture_pct": Limits(at_least=94.0),
}


def line(this: dict[str, Any] | None = None, last: dict[str, Any] | None = None, **given: Any) -> LineData:
    made = None if this is None else THIS | this
    before = None if last is None else THIS | {"week_start_day": date(2026, 3, 23)} | last
    return LineData("line-1", "Belt press 1", SETTINGS, made, before, **given)


def said(data: LineData) -> tuple[str, ...]:
    return facts.of_line(WEEK, data, LIMITS).sentences


def test_the_three_sentences_of_an_ordinary_week() -> None:
    # 79.832 t / 0.90718474 = 88.0 short tons; 7.3 kg/t x 2 = 14.6 lb/short ton; 7.3 / 7.157 = 1.02: 2 % above.
    first, second, third = said(line({}, {"dose_active_kg_t": 7.157}))
    assert first == (
        "Belt press 1 processed sludge for 41.6 hours on 5 days and was fed 88 short dry tons; polymer was 14.6 lb active per short dry ton."
    )
    assert second == (
        "The dose is 2 % above last week and unusually low (17 to 24); cake was 22.6 % solids, in target; capture was 95 %, in target."
    )
    assert third == "Nothing needs a decision."


def test_provisional_is_said_once_and_marks_what_rests_on_feed_ts() -> None:
    made = facts.of_line(WEEK, line({"is_provisional": True}), LIMITS)
    assert "14.6 lb active per short dry ton (provisional)" in made.sentences[0]
    assert [r.provisional for r in made.rows] == [True, False, True, True, True, False]
    assert made.data_line.endswith("provisional")


def test_no_dose_gives_its_reason() -> None:
    first, second, third = said(line({"dose_active_kg_t": None, "dose_reason": "2 days with a dose, 3 needed"}, {}))
    assert first.endswith("on 5 days; only 88 short dry tons could be counted and no dose is reported: 2 days with a dose, 3 needed.")
    assert third == "No flag is open, but the dose could not be reported: see that exports and lab sheets of the week arrive."
    nothing = said(line({"dose_active_kg_t": None, "dry_solids_t": None, "dose_reason": "feed TS unknown"}))[0]
    assert nothing.endswith("; no dry solids could be counted and no dose is reported: feed TS unknown.")
    assert second.startswith("Without a dose there is nothing to compare; cake was")


def test_missing_samples_are_said_not_skipped() -> None:
    second = said(line({"cake_ts_pct": None, "capture_pct": None}))[1]
    assert "not enough data to say how dry the cake was" in second
    assert "not enough data to say what was captured" in second
    assert "not compared with last week, which has no dose" in second


def test_line_that_did_not_run() -> None:
    made = facts.of_line(WEEK, line({"processing_minutes": 0, "processing_h": 0.0, "dose_active_kg_t": None, "missed_share": None}), LIMITS)
    assert made.withheld is None
    assert made.sentences[:2] == ("Belt press 1 did not process sludge this week.", "There is nothing to compare with last week.")
    assert made.data_line.startswith("no processing minutes")


@pytest.mark.parametrize("missed, expected", [(0.10, "Nothing needs a decision."), (0.104, "No flag is open, but 10 %")])
def test_unusable_minutes_are_worth_a_word_above_a_tenth(missed: float, expected: str) -> None:
    assert said(line({"missed_share": missed}))[2].startswith(expected)


def test_numbers_outside_target_are_said_when_no_flag_is_open() -> None:
    one = said(line({"dose_active_kg_t": 11.1}))[2]  # 22.2 lb/dt, at most 22
    assert one == "No flag is open, but polymer dose is outside target: find out why before anything is changed."
    two = said(line({"dose_active_kg_t": 11.1, "capture_pct": 93.0}))[2]
    assert two.startswith("No flag is open, but polymer dose and solids capture are outside target")
    assert said(line({"dose_active_kg_t": 11.0}))[2] == "Nothing needs a decision."


@pytest.mark.parametrize("missed, text", [(0.0, "100 %"), (0.004, "99 %"), (0.04, "96 %"), (0.07, "93 %")])
def test_usable_minutes_are_rounded_down(missed: float, text: str) -> None:
    assert facts.of_line(WEEK, line({"missed_share": missed}), LIMITS).data_line.startswith(f"{text} of processing minutes usable")


def test_decision_names_the_most_urgent_and_counts() -> None:
    one = said(line({}, flags=(FLAG,)))[2]
    assert one == "One thing needs a decision: The suction pressure fell to -3 psi (check today; first: grinder and suction valve)."
    notes = (FLAG | {"severity": "note"}, FLAG | {"disposition": "expected"})
    assert said(line({}, flags=notes))[2] == "Nothing needs a decision."
    assert said(line({}, flags=(FLAG,) * 9))[2].startswith("Nine things need a decision, the first: ")
    assert said(line({}, flags=(FLAG,) * 10))[2].startswith("10 things need a decision, the first: ")


@pytest.mark.parametrize("count, shown, more", [(0, 0, 0), (3, 3, 0), (4, 3, 1)])
def test_at_most_three_open_items(count: int, shown: int, more: int) -> None:
    made = facts.of_line(WEEK, line({}, flags=(FLAG,) * count), LIMITS)
    assert (len(made.open_items), made.more_items) == (shown, more)


def test_nothing_published_is_withheld() -> None:
    assert facts.withheld(line()) == "no data of this line are published for the week"
    assert facts.withheld(line({"minutes_seen": 0})) == "no data of this line are published for the week"
    assert facts.of_line(WEEK, line(), LIMITS).sentences == ()


@pytest.mark.parametrize("unknown, reason", [(5040, None), (5141, "the running state is unknown for 51 % of the week")])
def test_withheld_when_more_than_half_the_states_are_unknown(unknown: int, reason: str | None) -> None:
    assert facts.withheld(line({"unknown_minutes": unknown})) == reason


@pytest.mark.parametrize(
    "role, missing, reason",
    [
        ("sludge_flow", 50, None),
        ("sludge_flow", 51, "the sludge flow meter is missing in 51 % of the processing minutes"),
        ("polymer_neat_flow", 80, "the neat polymer flow meter is missing in 80 % of the processing minutes"),
        ("polymer_solution_flow", 100, None),  # this line doses by its neat meter
        ("wash_water_flow", 100, None),
    ],
)
def test_withheld_when_a_critical_meter_is_missing(role: str, missing: int, reason: str | None) -> None:
    quality = {"role": role, "processing_minutes": 100, "missing_processing_minutes": missing, "covered_share": 0.9}
    assert facts.withheld(line({}, quality=(quality,))) == reason


def test_a_meter_of_a_line_that_did_not_run_withholds_nothing() -> None:
    quality = {"role": "sludge_flow", "processing_minutes": 0, "missing_processing_minutes": 0, "covered_share": None}
    assert facts.withheld(line({"processing_minutes": 0}, quality=(quality,))) is None


def test_basis_counts_valid_days() -> None:
    days = tuple(
        THIS | {"operating_day": date(2026, 3, 30 if k == 0 else 31), "dose_active_kg_t": None if k else 7.0, "feed_samples": k, "processing_minutes": 480}
        for k in range(2)
    )  # fmt: skip
    made = facts.of_line(WEEK, line({}, days=days), LIMITS)
    assert made.rows[0].basis == "ratio of totals over valid minutes; 1 of 2 days"
    assert made.rows[1].basis == "weighted by dry solids; 10 samples, 2 days"
    assert made.rows[2].basis == "from samples, dilution 0.31; 2 of 2 days"
    assert made.rows[3].basis == "terms with a price since 2025-01-01; 2 of 2 days"
    assert made.data_line == "96 % of processing minutes usable; feed TS sampled on 1 of 2 processing days; final"


def test_numbers_name_table_column_and_key() -> None:
    made = facts.of_line(WEEK, line({}, {}), LIMITS)
    dose = next(n for n in made.numbers if n.column == "dose_active_kg_t" and n.key["week_start_day"] == "2026-03-30")
    assert (dose.text, dose.stored, dose.table) == ("14.6", 7.3, "kpi_week")
    assert dose.key == {"plant": "p", "line": "line-1", "week_start_day": "2026-03-30"}


def test_iso_week_is_that_of_the_first_monday() -> None:
    """ISO 8601: 2026-12-28 is the Monday of week 53 of 2026; 2027-01-04 that of week 1 of 2027 (Python's calendar agrees)."""
    assert iso_week(date(2026, 12, 28)) == "2026-W53"
    assert iso_week(date(2026, 12, 29)) == "2027-W01"
    assert iso_week(date(2027, 1, 4)) == "2027-W01"


def test_words_of_a_row_follow_its_limits() -> None:
    made = facts.of_line(WEEK, line({}), {})
    assert {r.words for r in made.rows} == {("no target set",)}
    assert {r.usual for r in made.rows} == {"not set"}
    assert made.rows[4].extra == f"{words.one_decimal(41.6)} h"


def day(k: int, dose: float | None = 7.3, **given: Any) -> dict[str, Any]:
    values = {
        "operating_day": WEEK.week_start_day + timedelta(days=k),
        "dose_active_kg_t": dose,
        "dry_solids_t": 10.0,
        "feed_samples": 1,
        "processing_minutes": 480,
    }
    return THIS | values | given


def test_noise_is_the_larger_of_random_parts_and_scatter() -> None:
    days = [day(k, dose) for k, dose in enumerate((7.0, 8.0, 9.0, None))]
    assert uncertainty.dose_noise(None, days) == pytest.approx(1.0 / sqrt(3))  # sd 1.0 of three days
    assert uncertainty.dose_noise({"dose_active_kg_t_u_random": 0.4}, days) == pytest.approx(1.0 / sqrt(3))
    assert uncertainty.dose_noise({"dose_active_kg_t_u_random": 0.7}, days) == 0.7
    assert uncertainty.dose_noise(None, days[:1]) is None


@pytest.mark.parametrize("last, said", [(7.0, "shows no difference from last week that can be told and is unusually low (17 to 24)"),
                                        (6.6, "is 11 % above last week and unusually low (17 to 24)")])  # fmt: skip
def test_only_differences_beyond_the_noise_are_told(last: float, said: str) -> None:
    # Noise of 0.2 kg/t a week: differences up to 2 x sqrt(0.2^2 + 0.2^2) = 0.57 kg/t cannot be told; 7.3 - 7.0 = 0.3, 7.3 - 6.6 = 0.7.
    parts = {"dose_active_kg_t_u": 0.3, "dose_active_kg_t_u_random": 0.2}
    second = facts.of_line(WEEK, line({}, {"dose_active_kg_t": last}, this_known=parts, last_known=parts), LIMITS).sentences[1]
    assert second.startswith(f"The dose {said}")


def test_scatter_of_the_days_counts_where_no_uncertainty_is_published() -> None:
    days = tuple(day(k, dose) for k, dose in ((-7, 6.0), (-6, 7.0), (-5, 8.0), (0, 6.3), (1, 7.3), (2, 8.3)))
    second = facts.of_line(WEEK, line({}, {"dose_active_kg_t": 7.0}, days=days), LIMITS).sentences[1]
    assert second.startswith("The dose shows no difference from last week that can be told")


def test_plus_minus_of_the_week() -> None:
    """Dose 2 x 0.35 kg/t x 2 lb/short ton; cake of two equal days 0.6 / sqrt(2) x 2 = 0.85; capture stays 2 x 1.2; no word where nothing is known."""
    days = tuple(day(k, cake_ts_pct_u=0.6, capture_pct_u=1.2, cost_total_per_t_u=None) for k in range(2))
    made = facts.of_line(WEEK, line({}, days=days, this_known={"dose_active_kg_t_u": 0.35}), LIMITS)
    assert [r.within for r in made.rows] == ["± 1.4", "± 0.8", "± 2", "", "", ""]
    assert "polymer was 14.6 ± 1.4 lb active per short dry ton." in made.sentences[0]


def test_a_balance_that_does_not_close_is_an_open_item() -> None:
    balance = {"line": "line-1", "verdict": "above limits", "solids_closure": 1.233, "limit_low": 0.9, "limit_high": 1.1}
    made = facts.of_line(WEEK, line({}, flags=(FLAG | {"severity": "check this week"}, FLAG), balance=balance), LIMITS)
    assert [i["severity"] for i in made.open_items] == ["check today", "check this week", "check this week"]
    assert "cake and filtrate hold 123 % of the solids fed, 90 to 110 expected" in made.open_items[1]["sentence"]
    assert made.data_line.endswith("; final but for the open items")
    crowded = facts.of_line(WEEK, line({}, flags=(FLAG,) * 5, balance=balance), LIMITS)  # it stands in no table of flags
    assert ("does not close" in crowded.open_items[2]["sentence"], crowded.more_items) == (True, 3)
    closed = facts.of_line(WEEK, line({}, balance=balance | {"verdict": "within limits"}), LIMITS)
    assert (closed.open_items, closed.data_line[-5:]) == ((), "final")
    whole = facts.of_line(WEEK, line({}, balance=balance | {"line": "all lines"}), LIMITS)
    assert whole.sentences[2].startswith("One thing needs a decision: The solids balance of all lines does not close")


def event(day: int, hour: int = 0) -> Event:
    at = WEEK.start_utc + timedelta(days=day, hours=hour)
    return Event(at, (WEEK.start_utc + timedelta(days=day)).date(), f"thing {day}")


@pytest.mark.parametrize(
    "logged, told, why",
    [
        ((), None, None),
        ((event(-14), event(7)), None, None),
        ((event(0),), "On Monday 30 March: “thing 0”.", "(the event of Monday 30 March)"),
        ((event(2),), "On Wednesday 1 April: “thing 2”; the week's figures mix before and after.", "(the event of Wednesday 1 April)"),
        ((event(0), event(0, 3)), "2 events, the first on Monday 30 March: “thing 0”; the week's figures mix before and after.", "(the events of Monday 30 March and after)"),
        ((event(-7),), None, None),  # last week was whole on the near side of it
        ((event(-5),), None, "(it holds an event of Wednesday 25 March: “thing -5”)"),
    ],
)  # fmt: skip
def test_no_comparison_reaches_over_an_event(logged: tuple[Event, ...], told: str | None, why: str | None) -> None:
    made = facts.of_line(WEEK, line({}, {"dose_active_kg_t": 3.0}), LIMITS, logged)
    assert (made.sentences[1] if len(made.sentences) == 4 else None) == told
    start = (
        f"The dose is not compared with last week {why} and is unusually low"
        if why
        else "The dose is 143 % above last week and unusually low"
    )
    assert made.sentences[-2].startswith(start)


def weekend(known_after: timedelta, *, delay_h: float | None, before: tuple[dict[str, Any], ...] = ()) -> facts.LineFacts:
    """A week whose Saturday (day 5, ends 2026-04-05 10:00 UTC) has no sample, known so long after that day's end."""
    end = WEEK.start_utc + timedelta(days=6)
    days = (
        *before,
        *(day(k, is_provisional=k == 5, feed_samples=int(k != 5), period_end_utc=WEEK.start_utc + timedelta(days=k + 1)) for k in range(6)),
    )
    week = replace(WEEK, known_utc=end + known_after)
    return facts.of_line(week, line({"is_provisional": True}, days=days, lab_delay_h=delay_h), LIMITS)


@pytest.mark.parametrize(
    "known_after, delay_h, open_still",
    [
        (timedelta(days=1), 48.0, True),
        (timedelta(days=3), 48.0, False),
        (timedelta(days=13), None, True),
        (timedelta(days=15), 999.0, False),
    ],
)
def test_provisional_ends_when_no_result_is_expected_any_more(known_after: timedelta, delay_h: float | None, open_still: bool) -> None:
    made = weekend(known_after, delay_h=delay_h)
    assert ("(provisional)" in made.sentences[0], made.rows[0].provisional, made.rows[0].held) == (open_still, open_still, not open_still)
    end = (
        "provisional: lab results of 1 of 6 days can still come"
        if open_still
        else "final; lab results of 1 of 6 days are missing and no longer expected"
    )
    assert made.data_line.endswith(end)


def test_feed_ts_is_held_only_where_a_day_has_none() -> None:
    lacks_cake = (day(0, is_provisional=True, feed_samples=1, cake_samples=0, period_end_utc=WEEK.start_utc - timedelta(days=30)),)
    made = facts.of_line(WEEK, line({"is_provisional": True}, days=lacks_cake), LIMITS)
    assert (made.rows[0].held, made.rows[0].provisional) == (False, False)


@pytest.mark.parametrize("weeks, sampled, open_still", [(4, (), False), (3, (), True), (4, (2,), True)])
def test_a_weekday_never_sampled_is_not_waited_for(weeks: int, sampled: tuple[int, ...], open_still: bool) -> None:
    none = {"feed_samples": 0, "filtrate_samples": 0}
    before = tuple(day(5 - 7 * k, cake_samples=int(k in sampled), **none) for k in range(1, weeks + 1))
    made = weekend(timedelta(hours=1), delay_h=48.0, before=before)
    assert made.standing is not None
    assert made.standing.is_provisional is open_still


def test_the_least_known_signal_is_named_only_when_something_is_missing() -> None:
    full, less = (
        {"role": "device_power", "processing_minutes": 0, "covered_share": 1.0},
        {"role": "pump_run", "processing_minutes": 0, "covered_share": 0.9996},
    )
    assert "least known" not in facts.of_line(WEEK, line({}, quality=(full,)), LIMITS).data_line
    assert "; least known signal: pump run, 99 % of the week; " in facts.of_line(WEEK, line({}, quality=(full, less)), LIMITS).data_line


def test_a_state_of_no_hours_is_not_told() -> None:
    start = WEEK.start_utc
    lasted = {"processing": 120, "idle running": 2, "stopped": 60}
    states = tuple(
        {"operating_day": WEEK.week_start_day, "state": s, "start_utc": start, "end_utc": start + timedelta(minutes=m)}
        for s, m in lasted.items()
    )
    settings = SETTINGS | {"operating_day_start_h": 6.0}
    strip = charts._strip(WEEK, facts.of_line(WEEK, replace(line({}, states=states), settings=settings), LIMITS))
    assert strip["title"] == "Running state: processing 2.0 h, stopped 1.0 h"


def test_rounding_does_not_hide_a_change() -> None:
    made = facts.of_line(
        WEEK, line({"capture_pct": 95.4, "cost_total_per_t": 330.4}, {"capture_pct": 94.6, "cost_total_per_t": 327.0}), LIMITS
    )
    assert [(r.this, r.last) for r in made.rows[2:4]] == [
        ("95.4", "94.6"),
        ("300", "297"),
    ]  # 330.4 and 327 per t are 299.7 and 296.7 per short ton
    assert "capture was 95.4 %" in made.sentences[1]
    assert next(n.text for n in made.numbers if n.column == "capture_pct" and "this week" in n.name) == "95.4"
    plain = facts.of_line(WEEK, line({"capture_pct": 95.4}, {"capture_pct": 93.4}), LIMITS)
    assert (plain.rows[2].this, plain.rows[2].last) == ("95", "93")


def test_a_kpi_without_signals_is_not_measured_here() -> None:
    made = facts.of_line(WEEK, line({"mixing_dp_ref_kpa": None}), LIMITS, (), frozenset({"mixing_dp_ref_kpa"}))
    assert (made.rows[5].words, made.rows[5].basis) == (("not measured here",), "no such signal in the plant file")
    assert facts.of_line(WEEK, line({"mixing_dp_ref_kpa": None}), LIMITS).rows[5].words == ("not enough data to say",)
