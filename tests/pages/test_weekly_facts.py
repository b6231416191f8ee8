"""Facts of the weekly page: sentences, open items, withholding, at their edges; every number with its place."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from pipelines.report import language
from pipelines.report.numbers import Limits
from pipelines.report.weekly import charts, facts, items, money, page, sentences, trail
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.facts import LineFacts
from pipelines.report.weekly.read import iso_week
from pipelines.report.weekly.rows import LineData, WeekData

T = language.of("en")
WEEK = WeekData(
    "p", "Plant", ZoneInfo("America/New_York"), date(2026, 3, 30), "2026-W14", datetime(2026, 3, 30, 10, tzinfo=UTC),
    datetime(2026, 4, 6, 10, tzinfo=UTC), datetime(2026, 4, 6, 11, tzinfo=UTC), date(2026, 4, 5), "abc", datetime(2025, 1, 1, 5, tzinfo=UTC), (), (),
)  # fmt: skip
SETTINGS = {"units": "US", "currency": "USD", "reference_flow_m3_h": 90.8498796, "polymer_meter": "neat", "operating_day_start_h": 6.0}
THIS: dict[str, Any] = {
    "plant": "p", "line": "line-1", "week_start_day": date(2026, 3, 30), "minutes_seen": 10080, "unknown_minutes": 0, "lost_minutes": 0,
    "processing_minutes": 2496, "processing_h": 41.6, "operating_days": 5, "dry_solids_t": 79.832, "dose_active_kg_t": 7.3, "dose_reason": None,
    "cake_ts_pct": 22.6, "cake_samples": 10, "filtrate_samples": 5, "capture_pct": 95.0, "dilution_ratio": 0.31, "cost_total_per_t": 412.0, "mixing_dp_ref_kpa": 31.0,
    "mixing_dp_ref_method": "fit", "missed_share": 0.04, "is_provisional": False, "data_version": "v",
}  # fmt: skip
FLAG = {
    "flag_id": "f", "detector": "data gap", "role": "sludge_flow", "severity": "check today", "disposition": None, "minutes": 40,
    "start_utc": datetime(2026, 3, 31, 14, tzinfo=UTC),
    "sentence": "The sludge flow was not recorded for 40 min.", "suggestion": "look whether the export stopped",
}  # fmt: skip
LIMITS = {"dose_active_kg_t": Limits(at_most=11.0), "cake_ts_pct": Limits(at_least=21.5), "capture_pct": Limits(at_least=94.0)}
BASE = tuple({"operating_day": date(2026, 1, 5) + timedelta(days=k), "processing_minutes": 400, "dose_active_kg_t": 9.0 + 0.2 * (k % 3 - 1), "cake_ts_pct": 22.6,
              "capture_pct": None, "cost_total_per_t": None, "mixing_dp_ref_kpa": 210.0} for k in range(12))  # fmt: skip


def day(k: int, dose: float | None = 7.3, **given: Any) -> dict[str, Any]:
    values = {
        "operating_day": WEEK.week_start_day + timedelta(days=k),
        "dose_active_kg_t": dose,
        "dry_solids_t": 10.0,
        "feed_samples": 1,
        "processing_minutes": 480,
    }
    return THIS | values | given


DAYS = tuple(day(k, 7.3 + 0.1 * (k % 3 - 1)) for k in range(5))


def line(this: dict[str, Any] | None = None, last: dict[str, Any] | None = None, **given: Any) -> LineData:
    made = None if this is None else THIS | this
    before = None if last is None else THIS | {"week_start_day": date(2026, 3, 23)} | last
    return LineData("line-1", "Belt press 1", SETTINGS, made, before, **({"days": DAYS} | given))


def made(data: LineData, logged: tuple[Event, ...] = (), unmeasured: frozenset[str] = frozenset(), t: language.Language = T) -> LineFacts:
    return facts.of_line(WEEK, data, LIMITS, t, logged, unmeasured)


def said(data: LineData, logged: tuple[Event, ...] = ()) -> list[str]:
    return sentences.three([made(data, logged)], T)


def test_the_three_sentences_of_an_ordinary_week() -> None:
    # 79.832 t / 0.90718474 = 88.0 short tons; 7.3 kg/t x 2 = 14.6 lb/short ton, u 2 x 0.35 x 2 = 1.4; the baseline's median is 9.0: 7.3 / 9.0 is 19 % below.
    first, second, third = said(line({}, baseline=BASE, this_known={"dose_active_kg_t_u": 0.35, "dose_active_kg_t_u_random": 0.2}))
    assert first == "Belt press 1 ran 41.6 hours on 5 days and dewatered 88 dry tons."
    assert second == "Polymer was 14.6 ± 1.4 lb active per dry ton, 19 % below baseline; dose, cake and capture are in target."
    assert third == "Nothing needs a decision."


def test_verdicts_are_said_worst_first() -> None:
    days = tuple(d | {"capture_pct_u": 1.0} for d in DAYS)
    second = said(line({"dose_active_kg_t": 11.5, "capture_pct": 94.5}, days=days))[1]
    assert second.endswith("; dose is outside target; capture cannot be told from target; cake is in target.")


def test_hours_that_no_meter_could_judge_make_a_range_and_a_day() -> None:
    days = (*DAYS, day(5, None, processing_minutes=0, lost_minutes=390))
    assert (
        said(line({"lost_minutes": 390}, days=days))[0]
        == "Belt press 1 ran 41.6 to 48.1 hours on 6 days and dewatered at least 88 dry tons."
    )
    text = sentences.data_line(WEEK, [made(line({"lost_minutes": 390, "unknown_minutes": 600}, days=days))], T)
    assert "state unknown for 10.0 h; 6.5 h not judged for want of a meter" in text


def test_the_solids_of_all_fed_minutes_are_the_tons_where_they_are_known() -> None:
    assert "dewatered 99 dry tons" in said(line({"dry_solids_all_t": 90.0}))[0]  # 90 / 0.90718474 = 99.2


def test_no_dose_gives_its_reason() -> None:
    first, second, third = said(line({"dose_active_kg_t": None, "dose_reason": "2 days with a dose, 3 needed"}))
    assert first.endswith("dewatered 88 dry tons.")
    assert second == "No dose is reported for Belt press 1: 2 days with a dose, 3 needed; cake and capture are in target."
    assert third == "See that exports and lab sheets of the week arrive: no dose could be reported."


def test_line_that_did_not_run() -> None:
    found = made(line({"processing_minutes": 0, "processing_h": 0.0, "dose_active_kg_t": None, "missed_share": None}))
    assert found.withheld is None
    assert sentences.three([found], T)[:2] == ["Belt press 1 did not process sludge.", "There is nothing to compare."]


@pytest.mark.parametrize(
    "missed, expected", [(0.10, "Nothing needs a decision."), (0.104, "Have the meters checked: 10 % of processing minutes lack")]
)
def test_unusable_minutes_are_worth_a_word_above_a_tenth(missed: float, expected: str) -> None:
    assert said(line({"missed_share": missed}))[2].startswith(expected)


def test_missed_targets_are_said_when_no_flag_is_open() -> None:
    one = said(line({"dose_active_kg_t": 11.1}))[2]  # 22.2 lb/dt, at most 22
    assert one == "Nothing is flagged, but dose missed the target: find out why before anything is changed."
    assert said(line({"dose_active_kg_t": 11.1, "capture_pct": 93.0}))[2].startswith("Nothing is flagged, but dose and capture missed")
    assert said(line({"dose_active_kg_t": 11.0}))[2] == "Nothing needs a decision."


@pytest.mark.parametrize("missed, text", [(0.0, "100 %"), (0.004, "99 %"), (0.04, "96 %"), (0.07, "93 %")])
def test_usable_minutes_are_rounded_down(missed: float, text: str) -> None:
    assert sentences.data_line(WEEK, [made(line({"missed_share": missed}))], T).startswith(
        f"{text} of minutes usable; feed TS on 5 of 5 days"
    )


def test_decision_names_the_most_urgent_and_counts() -> None:
    one = said(line({}, flags=(FLAG,)))[2]
    assert one == "One item needs a check: sludge flow meter, data gap of 40 min on Tue 31 Mar."
    assert said(line({}, flags=(FLAG | {"severity": "note"}, FLAG | {"disposition": "expected"})))[2] == "Nothing needs a decision."
    later = FLAG | {"severity": "check this week", "detector": "flatline"}
    assert said(line({}, flags=(later, FLAG)))[2].startswith("Two items need a check. First: sludge flow meter, data gap")
    assert said(line({}, flags=(FLAG,) * 12))[2].startswith("12 items need a check. First: ")


def test_an_open_item_has_an_owner_and_a_day() -> None:
    # Known on Monday 6 April 07:00 plant time: what is due today is due then, what is due this week a week later.
    found = made(
        line({}, flags=(FLAG, FLAG | {"severity": "check this week", "detector": "mixing pressure high", "role": None, "minutes": 444}))
    )
    assert [i.words(T, None) for i in found.items] == [
        "Sludge flow meter, data gap of 40 min on Tue 31 Mar: data engineer, by Mon 6 Apr",
        "Mixing pressure high of 7.4 h on Tue 31 Mar: process engineer, by Mon 13 Apr",
    ]
    assert found.items[0].words(T, "Belt press 1").startswith("Belt press 1, sludge flow meter")


@pytest.mark.parametrize("count, shown, more", [(0, 0, None), (3, 3, None), (4, 3, "and 1 more in the table of flags")])
def test_at_most_three_open_items(count: int, shown: int, more: str | None) -> None:
    found = page._items([made(line({}, flags=(FLAG,) * count))], False, T)
    assert (len(found["items"]), found["more_items"]) == (shown, more)


def test_nothing_published_is_withheld() -> None:
    assert facts.withheld(line(), T) == "no data of this line are published for the week"
    assert facts.withheld(line({"minutes_seen": 0}), T) == "no data of this line are published for the week"
    assert made(line()).rows == ()


@pytest.mark.parametrize("unknown, reason", [(5040, None), (5141, "the running state is unknown for 51 % of the week")])
def test_withheld_when_more_than_half_the_states_are_unknown(unknown: int, reason: str | None) -> None:
    assert facts.withheld(line({"unknown_minutes": unknown}), T) == reason


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
    assert facts.withheld(line({}, quality=(quality,)), T) == reason


def test_withheld_when_most_of_its_numbers_are_missing() -> None:
    none = {"dose_active_kg_t": None, "dose_reason": "0 days with a dose, 3 needed", "cake_ts_pct": None, "capture_pct": None}
    assert made(line(none)).withheld is None  # three of six
    found = made(line(none | {"mixing_dp_ref_kpa": None}))
    assert found.withheld == "4 of its 6 numbers are missing (dose, cake, capture and mixing pressure): 0 days with a dose, 3 needed"
    # What has no signal is not missing: three of five.
    assert made(line(none | {"mixing_dp_ref_kpa": None}), unmeasured=frozenset({"mixing_dp_ref_kpa"})).withheld is not None
    assert made(line(none | {"processing_minutes": 0})).withheld is None  # a line at rest lacks nothing


def test_rows_that_cannot_have_a_number_take_no_place() -> None:
    unpriced = replace(WEEK, prices_since=None)
    found = facts.of_line(
        unpriced, line({"cost_total_per_t": None, "mixing_dp_ref_kpa": None}), LIMITS, T, (), frozenset({"mixing_dp_ref_kpa"})
    )
    assert [r.why for r in found.rows] == [None, None, None, "not priced", None, "no signal for it in the plant file"]
    assert [page.is_on_page_1(r, T) for r in found.rows] == [True, True, True, False, True, False]
    assert page.is_on_page_1(made(line({"capture_pct": None})).row("capture"), T)  # it could be there: its absence is said


def test_basis_counts_valid_days() -> None:
    days = tuple(day(k, None if k else 7.0, feed_samples=k) for k in range(2))
    found = made(line({}, days=days))
    assert found.row("dose").basis == "polymer over dry solids in valid minutes; 1 of 2 days"
    assert found.row("cake").basis == "weighted by dry solids; 10 samples, 2 days"
    assert found.row("capture").basis == "from samples, dilution 0.31; 2 of 2 days"
    assert found.row("cost").basis == "terms with a price since Wed 1 Jan 2025; 2 of 2 days"
    undiluted = made(line({"dilution_ratio": None}, days=days)).row("capture").basis
    assert undiluted == "from samples, dilution not known and taken as none; 2 of 2 days"


def test_numbers_name_table_column_and_key() -> None:
    dose = next(
        n for n in trail.numbers_of(made(line({}, {})), T) if n.column == "dose_active_kg_t" and n.key.get("week_start_day") == "2026-03-30"
    )
    assert (dose.text, dose.stored, dose.table) == ("14.6", 7.3, "kpi_week")
    assert dose.key == {"plant": "p", "line": "line-1", "week_start_day": "2026-03-30"}


def test_changes_between_revisions_name_the_numbers_that_differ() -> None:
    def trail_of(dose: float) -> dict[str, Any]:
        found = made(line({"dose_active_kg_t": dose}))
        return trail.of_week(WEEK, (found,), {"withheld": None, "sentences": [], "data_line": "", "items": []}, T)

    before, now = trail_of(7.3), trail_of(7.5)
    assert trail.changes(before, now, T) == ["Belt press 1, Polymer dose, this week: 14.6 to 15.0"]
    assert trail.fingerprint(before) != trail.fingerprint(now)
    assert trail.fingerprint(before) == trail.fingerprint(trail_of(7.3))


def test_iso_week_is_that_of_the_first_monday() -> None:
    """ISO 8601: 2026-12-28 is the Monday of week 53 of 2026; 2027-01-04 that of week 1 of 2027 (Python's calendar agrees)."""
    assert iso_week(date(2026, 12, 28)) == "2026-W53"
    assert iso_week(date(2026, 12, 29)) == "2027-W01"
    assert iso_week(date(2027, 1, 4)) == "2027-W01"


def test_plus_minus_of_the_week() -> None:
    """Dose 2 x 0.35 x 2 lb/short ton; cake of two equal days 0.6 / sqrt(2) x 2 = 0.85; capture stays 2 x 1.2; tons 2 x (1 + 1) / 20 of 88.0 = 17.6;
    pressure 2 x 3 kPa = 0.87 psi; nothing where nothing is known.
    """
    days = tuple(
        day(k, cake_ts_pct_u=0.6, capture_pct_u=1.2, cost_total_per_t_u=None, dry_solids_t_u=1.0, mixing_dp_ref_kpa_u=3.0) for k in range(2)
    )
    found = made(line({}, days=days, this_known={"dose_active_kg_t_u": 0.35}))
    assert [r.value(T) for r in found.rows] == ["14.6 ± 1.4", "22.6 ± 0.8", "95 ± 2", "370", "88 ± 18", "4.5 ± 0.9"]


def test_a_doubted_meter_is_named_and_its_numbers_widened_or_withheld() -> None:
    def doubted(percent: float) -> LineFacts:
        row = {
            "role": "sludge_flow",
            "verdict": "doubted",
            "deviation_pct": percent,
            "reason": f"the register disagrees by {percent:.0f} %",
        }
        return made(line({}, integrity=(row,), this_known={"dose_active_kg_t_u": 0.35}, baseline=BASE))

    widened = doubted(-10.0)
    assert widened.row("dose").value(T) == "14.6 ± 2.9"  # 1.4 + 10 % of 14.6
    assert widened.row("dose").change_pct is None  # no comparison rests on a doubted meter
    assert widened.row("cake").doubts == ()
    first, second, third = sentences.three([widened], T)
    assert "14.6 ± 2.9" in second
    assert third == "Have the sludge flow meter checked: the register disagrees by -10 %."
    assert "doubted: sludge flow meter (the register disagrees by -10 %)" in sentences.data_line(WEEK, [widened], T)
    gone = doubted(-25.0)  # dose, cost, tons and pressure rest on it: four of six
    assert gone.withheld is not None
    assert gone.withheld == (
        "4 of its 6 numbers are missing (dose, cost, solids fed and mixing pressure): doubted: sludge flow meter (the register disagrees by -25 %)"
    )
    good = made(line({}))
    assert sentences.three([good, gone], T)[2] == "Have the sludge flow meter checked: the register disagrees by -25 %."
    assert "doubted: sludge flow meter" in sentences.data_line(WEEK, [good, gone], T)
    assert first


def event(day_no: int, hour: int = 0) -> Event:
    at = WEEK.start_utc + timedelta(days=day_no, hours=hour)
    return Event(at, (WEEK.start_utc + timedelta(days=day_no)).date(), f"thing {day_no}")


@pytest.mark.parametrize(
    "logged, note, declared, told",
    [
        ((), None, False, "19 % below baseline"),
        ((event(0),), None, False, "19 % below baseline"),  # the week is whole on the near side of it
        ((event(2),), None, False, "not compared, because the week holds a change on Wednesday 1 April"),
        ((event(2),), None, True, "19 % below baseline"),  # arrangements are declared: they say what divides a week
        ((), "mixed: a; b", True, "not compared, because the week holds two arrangements"),
    ],
)
def test_no_comparison_reaches_over_a_change(logged: tuple[Event, ...], note: str | None, declared: bool, told: str) -> None:
    arrangements = ({"operating_day": WEEK.week_start_day, "arrangement": "a", "processing_share": 1.0},) if declared else ()
    second = said(line({"arrangement_note": note}, baseline=BASE, arrangements=arrangements), logged)[1]
    assert f", {told};" in second


def test_a_balance_that_does_not_close_is_said_with_the_data() -> None:
    balance = {"line": "line-1", "verdict": "above limits", "solids_closure": 1.233, "limit_low": 0.9, "limit_high": 1.1}
    text = sentences.data_line(WEEK, [made(line({}, balance=balance))], T)
    assert "cake and filtrate hold 123 % of the solids fed, 90 to 110 expected" in text
    assert "cake and filtrate" not in sentences.data_line(WEEK, [made(line({}, balance=balance | {"verdict": "within limits"}))], T)


def weekend(known_after: timedelta, *, delay_h: float | None, before: tuple[dict[str, Any], ...] = (), **given: Any) -> LineFacts:
    """A week whose Saturday (day 5, ends 2026-04-05 10:00 UTC) has no sample, known so long after that day's end."""
    end = WEEK.start_utc + timedelta(days=6)
    days = (
        *before,
        *(day(k, is_provisional=k == 5, feed_samples=int(k != 5), period_end_utc=WEEK.start_utc + timedelta(days=k + 1)) for k in range(6)),
    )
    week = replace(WEEK, known_utc=end + known_after)
    return facts.of_line(week, line({"is_provisional": True}, days=days, lab_delay_h=delay_h, **given), LIMITS, T)


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
    told = page.standing([weekend(known_after, delay_h=delay_h)], T)
    assert told == (
        "provisional: lab results of 1 of 6 days can still come"
        if open_still
        else "final; lab results of 1 of 6 days are missing and no longer expected"
    )


def test_lab_rows_that_came_and_were_refused_are_not_waited_for() -> None:
    refused = frozenset({WEEK.week_start_day + timedelta(days=5)})
    assert page.standing([weekend(timedelta(days=1), delay_h=48.0, refused_lab_days=refused)], T).startswith(
        "final; lab results of 1 of 6 days are missing"
    )


@pytest.mark.parametrize("weeks, sampled, open_still", [(4, (), False), (3, (), True), (4, (2,), True)])
def test_a_weekday_never_sampled_is_not_waited_for(weeks: int, sampled: tuple[int, ...], open_still: bool) -> None:
    none = {"feed_samples": 0, "filtrate_samples": 0}
    before = tuple(day(5 - 7 * k, cake_samples=int(k in sampled), **none) for k in range(1, weeks + 1))
    found = weekend(timedelta(hours=1), delay_h=48.0, before=before)
    assert found.standing is not None
    assert found.standing.is_provisional is open_still


def test_a_state_of_no_hours_is_not_told() -> None:
    start = WEEK.start_utc
    lasted = {"processing": 120, "idle running": 2, "stopped": 60}
    states = tuple(
        {"operating_day": WEEK.week_start_day, "state": s, "start_utc": start, "end_utc": start + timedelta(minutes=m)}
        for s, m in lasted.items()
    )
    assert charts._strip(WEEK, made(line({}, states=states)), T).title == "Running state: processing 2.0 h, stopped 1.0 h"


def test_rounding_does_not_hide_a_change() -> None:
    found = made(line({"capture_pct": 95.4, "cost_total_per_t": 330.4}, {"capture_pct": 94.6, "cost_total_per_t": 327.0}))
    assert [r.value(T) for r in found.rows[2:4]] == ["95.4", "300"]  # 330.4 and 327 per t are 299.7 and 296.7 per short ton
    assert made(line({"capture_pct": 95.4}, {"capture_pct": 93.4})).row("capture").value(T) == "95"


@pytest.mark.parametrize(
    "row, text",
    [
        ({"unit": "%"}, None),
        ({"unit": "USD/year", "verdict": "refused"}, None),
        ({"unit": "USD/year"}, "not before the planned day (plan x)"),
        (
            {"unit": "USD/year", "method": "interval valid at all times"},
            "so far 12,000 to 31,000 USD/year (interval valid at all times; plan x)",
        ),
    ],
)
def test_money_is_said_only_with_an_interval_valid_at_all_times(row: dict[str, Any], text: str | None) -> None:
    plain = {"plan": "x", "outcome": "money", "verdict": "not shown", "low": 12_040.0, "high": 31_400.0, "method": "bootstrap"}
    assert money.line([plain | row], T) == text


def test_durations_are_minutes_up_to_two_hours() -> None:
    assert [items.lasted(m, language.of("da")) for m in (120, 121, 600)] == ["120 min", "2,0 t", "10,0 t"]


def test_consequences_hang_under_their_cause() -> None:
    cause, consequence = FLAG | {"cause_id": "f"}, FLAG | {"flag_id": "g", "cause_id": "f", "detector": "flatline"}
    assert [i.flag["flag_id"] for i in made(line({}, flags=(consequence, cause))).items] == ["f"]


def test_a_doubt_is_said_in_the_language_of_the_plant() -> None:
    row = {"role": "sludge_flow", "verdict": "doubted", "deviation_pct": -10.4, "reason": "the register says 10 % more."}
    english, danish = made(line({}, integrity=(row,))), made(line({}, integrity=(row,)), t=language.of("da"))
    assert "Have the sludge flow meter checked: the register says 10 % more." in sentences.three([english], T)
    assert "Få undersøgt slamflowmåleren: et vidne afviger -10 %." in sentences.three([danish], language.of("da"))


def test_a_withheld_line_is_never_nothing_to_decide() -> None:
    third = sentences.three([made(line({})), made(line({"unknown_minutes": 6000}))], T)[2]
    assert third == "Numbers of Belt press 1 are withheld: the running state is unknown for 60 % of the week."
