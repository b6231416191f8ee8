"""What forbids a comparison, how final a week is, and the smaller texts of the weekly page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from pipelines.report import language
from pipelines.report.weekly import charts, facts, items, money, page, sentences
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.facts import LineFacts
from tests.pages.week_facts import BASE, FLAG, LIMITS, WEEK, T, day, line, made, said


def event(day_no: int, hour: int = 0) -> Event:
    at = WEEK.start_utc + timedelta(days=day_no, hours=hour)
    return Event(at, (WEEK.start_utc + timedelta(days=day_no)).date(), f"thing {day_no}")


@pytest.mark.parametrize(
    "logged, note, declared, told",
    [
        ((), None, False, "19 % below its baseline"),
        ((event(0),), None, False, "19 % below its baseline"),  # the week is whole on the near side of it
        ((event(2),), None, False, "which is not compared because the week has a change on Wednesday 1 April"),
        ((event(2),), None, True, "19 % below its baseline"),  # arrangements are declared: they say what divides a week
        ((), "mixed: a; b", True, "which is not compared because the week has two arrangements"),
    ],
)
def test_no_comparison_reaches_over_a_change(logged: tuple[Event, ...], note: str | None, declared: bool, told: str) -> None:
    arrangements = ({"operating_day": WEEK.week_start_day, "arrangement": "a", "processing_share": 1.0},) if declared else ()
    second = said(line({"arrangement_note": note}, baseline=BASE, arrangements=arrangements), logged)[1]
    assert f", {told}. " in second


def test_a_balance_that_does_not_close_is_said_with_the_data() -> None:
    balance = {"line": "line-1", "verdict": "above limits", "solids_closure": 1.233, "limit_low": 0.9, "limit_high": 1.1}
    text = sentences.data_line(WEEK, [made(line({}, balance=balance))], T)
    assert "cake and filtrate hold 123 % of the solids fed, 90 to 110 expected" in text
    assert "cake and filtrate" not in sentences.data_line(WEEK, [made(line({}, balance=balance | {"verdict": "within limits"}))], T)


OPEN = {"verdict": "above limits", "solids_closure": 1.233, "limit_low": 0.9, "limit_high": 1.1}


@pytest.mark.parametrize(
    "detector, role, told",
    [
        ("solids balance open", None, 0),
        ("meter doubted", "feed_solids", 0),
        ("meter doubted", "sludge_flow", 0),
        ("meter doubted", "polymer_neat_flow", 1),  # of another number: the balance has no other word
        ("data gap", "sludge_flow", 1),
    ],
)
def test_a_balance_is_not_said_again_where_a_flag_says_it(detector: str, role: str | None, told: int) -> None:
    flag = FLAG | {"detector": detector, "role": role}
    found = made(line({}, balance=OPEN | {"line": "line-1"}, flags=(flag,)))
    assert sentences.data_line(WEEK, [found], T).count("cake and filtrate hold") == told


def test_a_balance_of_all_lines_is_said_once_and_one_of_a_line_names_it() -> None:
    flag = FLAG | {"detector": "solids balance open", "role": None}
    of_all = [made(line({}, balance=OPEN | {"line": "all lines"})), made(line({}, balance=OPEN | {"line": "all lines"}))]
    assert sentences.data_line(WEEK, of_all, T).count("cake and filtrate hold") == 1
    second_flagged = [of_all[0], made(line({}, balance=OPEN | {"line": "all lines"}, flags=(flag,)))]
    assert "cake and filtrate" not in sentences.data_line(WEEK, second_flagged, T)
    second_open = [made(line({}, flags=(flag,))), made(line({}, balance=OPEN | {"line": "line-2"}))]
    assert "Belt press 1, cake and filtrate hold 123 %" in sentences.data_line(
        WEEK, second_open, T
    )  # the first line's flag is not about it


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


@pytest.mark.parametrize(
    "index, spread, told",
    [
        # half width 2 x sqrt(0.01^2 + 0.02^2) = 0.045
        (1.013, 0.02, "Pump condition: index 1.01 ± 0.04 of the reference 5 Jan"),
        # 2 x sqrt(0.01^2 + 0.1^2) = 0.201: more than 0.2 says nothing
        (1.013, 0.1, "Pump condition: cannot be told (index 1.01 ± 0.20 of the reference 5 Jan)"),
        (None, 0.02, "Pump condition: no index: pump speed not known"),
    ],
)
def test_the_pump_index_is_told_with_its_uncertainty(index: float | None, spread: float, told: str) -> None:
    def row(k: int, value: float | None) -> dict[str, Any]:
        return {"week_start_day": WEEK.week_start_day - timedelta(days=7 * k), "wear_index": value, "slip_index": None, "index_se": 0.01,
                "index_u_systematic": spread, "reference_day": date(2026, 1, 5), "index_reason": None if value else "pump speed not known"}  # fmt: skip

    chart = charts._pump(WEEK, made(line({}, pump=(row(1, 1.0), row(0, index)))), T, 3.58)
    assert chart is not None
    assert chart.title == told


def test_a_state_of_no_hours_is_not_told() -> None:
    start = WEEK.start_utc
    lasted = {"processing": 120, "idle running": 2, "stopped": 60}
    states = tuple(
        {"operating_day": WEEK.week_start_day, "state": s, "start_utc": start, "end_utc": start + timedelta(minutes=m)}
        for s, m in lasted.items()
    )
    assert charts._strip(WEEK, made(line({}, states=states)), T).title == "Running state: processing 2.0 h, stopped 1.0 h"


@pytest.mark.parametrize(
    "monday, told",
    [
        # 2026: clocks in New York go forward on Sunday 8 March and back on Sunday 1 November at 02:00, inside the operating day that began at 06:00 on Saturday.
        (date(2026, 3, 2), "Sat 7 Mar has 23 hours because the clock changed"),
        (date(2026, 10, 26), "Sat 31 Oct has 25 hours because the clock changed"),
        (date(2026, 3, 30), ""),
    ],
)
def test_a_day_of_another_length_is_told(monday: date, told: str) -> None:
    chart = charts._strip(replace(WEEK, week_start_day=monday), made(line({})), T)
    assert chart.note.startswith(told)
    assert bool(chart.note) == bool(told)


def test_a_week_over_the_turn_of_the_year_names_both_dates_and_the_iso_year() -> None:
    week = replace(WEEK, week_start_day=date(2025, 12, 29), iso_week="2026-W01")
    told = page._meta(week, True, T, 0, "2026-01-05 07:00")
    assert told.startswith("Mon 29 Dec to Sun 4 Jan 2026; report p-2026-W01, revision 0")
    assert [T.day(d, "tick") for d in facts.charted_days(week)[-7:]][2:4] == ["31 Dec", "1 Jan"]


def test_rounding_does_not_hide_a_change() -> None:
    found = made(line({"capture_pct": 95.4, "cost_total_per_t": 330.4}, {"capture_pct": 94.6, "cost_total_per_t": 327.0}))
    assert [r.value(T) for r in found.rows[2:4]] == ["95.4", "300"]  # 330.4 and 327 per t are 299.7 and 296.7 per short ton
    assert made(line({"capture_pct": 95.4}, {"capture_pct": 93.4})).row("capture").value(T) == "95"


PLAN_TEXT = '[plan]\nplant = "p"\nlast_day = 2026-03-20\n'
RESULT: dict[str, Any] = {
    "plan": "x", "plan_text": PLAN_TEXT, "last_day": date(2026, 3, 20), "outcome": "all-in saving", "estimate": 20.0, "low": 12.04, "high": 31.4, "unit": "USD/t",
    "level": 95.0, "verdict": "shown", "reason": "the interval excludes none", "as_of_utc": WEEK.known_utc,
}  # fmt: skip
RUNNING: dict[str, Any] = {
    "plan": "x", "outcome": "all-in saving", "estimate": 20.0, "low": 8.0, "high": 40.0, "unit": "USD/t", "level": 95.0, "reason": None, "is_draft": False,
    "through_day": date(2026, 4, 4), "planned_last_day": date(2026, 4, 26),
}  # fmt: skip
IN_PERCENT = RESULT | {"outcome": "fed-dose saving", "unit": "%"}


@pytest.mark.parametrize(
    "results, running, text",
    [
        ((), (), None),
        # 12.04 and 31.4 a tonne x 0.90718474 = 10.9 and 28.5 a short ton
        ((RESULT, IN_PERCENT), (), "all-in saving 11 to 28 USD per dry ton, 95 % interval, shown (plan x, ended Fri 20 Mar)"),
        ((IN_PERCENT,), (), "fed-dose saving 12 to 31 %, 95 % interval, shown (plan x, ended Fri 20 Mar)"),
        ((RESULT | {"low": -31.4, "high": -12.04, "verdict": "worse"},), (),
         "all-in saving −28 to −11 USD per dry ton, 95 % interval, worse (plan x, ended Fri 20 Mar)"),
        ((RESULT | {"high": None},), (), "all-in saving at least 11 USD per dry ton, 95 % interval, shown (plan x, ended Fri 20 Mar)"),
        ((RESULT | {"verdict": "refused", "low": None, "high": None, "reason": "no prices"},), (),
         "no figure for the all-in saving: no prices (plan x, ended Fri 20 Mar)"),
        # looked at before the plan ended: nothing of it is said
        ((RESULT | {"last_day": date(2026, 3, 19)},), (), "said after the plan's last day, Fri 20 Mar (plan x)"),
        ((RESULT | {"plan_text": PLAN_TEXT.replace("03-20", "04-06"), "last_day": date(2026, 4, 6)},), (), "said after the plan's last day, Mon 6 Apr (plan x)"),
        ((), (RUNNING,), "all-in saving 7.3 to 36 USD per dry ton so far (interval valid at all times; plan x, through Sat 4 Apr)"),
        ((), (RUNNING | {"reason": "5 sets, 6 needed", "low": None, "high": None},), "said after the plan's last day, Sun 26 Apr (plan x)"),
        ((), (RUNNING | {"is_draft": True},), None),
        ((), (RUNNING | {"through_day": date(2026, 4, 6)},), "said after the plan's last day, Sun 26 Apr (plan x)"),  # after the week
        # the interval of a gate is no saving
        ((), (RUNNING | {"outcome": "cake", "unit": "% TS"}, RUNNING | {"reason": "6 sets do not bound the figure", "low": None, "high": None}),
         "said after the plan's last day, Sun 26 Apr (plan x)"),
        ((RESULT | {"outcome": "cake"}, IN_PERCENT | {"verdict": "not shown"}), (),
         "fed-dose saving 12 to 31 %, 95 % interval, not shown for the reason in the statement (plan x, ended Fri 20 Mar)"),
        ((RESULT,), (RUNNING | {"plan": "y"},), "all-in saving 7.3 to 36 USD per dry ton so far (interval valid at all times; plan y, through Sat 4 Apr)"),
    ],
)  # fmt: skip
def test_the_saving_is_said_after_the_plan_or_by_an_interval_valid_at_all_times(
    results: tuple[dict[str, Any], ...], running: tuple[dict[str, Any], ...], text: str | None
) -> None:
    assert money.line(results, running, WEEK.last_reported_day, "US", T) == text


def test_the_saving_in_danish_and_si_units() -> None:
    told = money.line((RESULT,), (), WEEK.last_reported_day, "SI", language.of("da"))
    assert told == "samlet besparelse 12 til 31 USD pr. ton TS, 95 % interval, vist (plan x, slut fre 20. mar)"


def test_durations_are_minutes_then_hours_then_days() -> None:
    assert [items.lasted(m, language.of("da")) for m in (120, 121, 600)] == ["120 min", "2,0 t", "10,0 t"]
    assert [items.lasted(m, T) for m in (5999, 6000, 73_380)] == ["100.0 h", "4 days", "51 days"]


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
