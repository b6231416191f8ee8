"""Facts of the weekly page: sentences, open items, withholding, at their edges; every number with its place."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from pipelines.report import language
from pipelines.report.weekly import appendix, facts, page, sentences, trail
from pipelines.report.weekly.facts import LineFacts
from pipelines.report.weekly.read import iso_week
from tests.pages.week_facts import BASE, DAYS, FLAG, LIMITS, WEEK, T, day, line, made, said


def test_the_three_sentences_of_an_ordinary_week() -> None:
    # 79.832 t / 0.90718474 = 88.0 short tons; 7.3 kg/t x 2 = 14.6 lb/short ton, u 2 x 0.35 x 2 = 1.4; the baseline's median is 9.0: 7.3 / 9.0 is 19 % below.
    first, second, third = said(line({}, baseline=BASE, this_known={"dose_active_kg_t_u": 0.35, "dose_active_kg_t_u_random": 0.2}))
    assert first == "Belt press 1 ran 41.6 hours on 5 days and dewatered 88 dry tons."
    assert (
        second
        == "Belt press 1 used 14.6 ± 1.4 lb of active polymer per dry ton, 19 % below its baseline. Dose, cake and capture meet their targets."
    )
    assert third == "Nothing needs a decision."


def test_verdicts_are_said_worst_first() -> None:
    days = tuple(d | {"capture_pct_u": 1.0} for d in DAYS)
    second = said(line({"dose_active_kg_t": 11.5, "capture_pct": 94.5}, days=days))[1]
    assert second.endswith(" Dose misses its target; cake meets its target; whether capture meets its target cannot be told.")


def test_hours_that_no_meter_could_judge_make_a_range_and_a_day() -> None:
    days = (*DAYS, day(5, None, processing_minutes=0, lost_minutes=390))
    assert (
        said(line({"lost_minutes": 390}, days=days))[0]
        == "Belt press 1 ran 41.6 to 48.1 hours on 6 days and dewatered at least 88 dry tons."
    )
    text = sentences.data_line(WEEK, [made(line({"lost_minutes": 390, "unknown_minutes": 600}, days=days))], T)
    assert "state unknown for 10.0 h; 6.5 h not judged for want of a meter" in text


def test_the_solids_of_all_fed_minutes_are_the_tons_where_they_are_known() -> None:
    found = made(line({"dry_solids_all_t": 90.0}, this_known={"dry_solids_all_t_u": 3.6}))
    assert "dewatered 99 ± 8 dry tons" in sentences.three([found], T)[0]  # 90 / 0.90718474 = 99.2; 2 x 3.6 / 0.907 = 7.9
    assert found.row("solids").printed.kpi == "dry_solids_all_t"
    assert found.row("dose").basis.startswith("polymer over dry solids in valid minutes")  # the dose's denominator is dry_solids_t


@pytest.mark.parametrize(
    "hidden, told",
    [
        # state unknown for 18 h on a sixth day, nothing says whether the pump ran: 41.6 + 18
        ({"unknown_minutes": 1080, "run_unknown_h": 18.0}, "ran 41.6 to 59.6 hours on 5 to 6 days and dewatered at least 88"),
        # of 22.35 h unknown the pump is known to have run in 7.35: never more than the unknown ones; the day counts
        ({"unknown_minutes": 1341, "lost_minutes": 441, "run_unknown_h": 22.35}, "ran 41.6 to 64.0 hours on 6 days and dewatered at least 88"),
        # the pump is known to have stood: nothing is open
        ({"unknown_minutes": 20, "run_unknown_h": 0.0}, "ran 41.6 hours on 5 days and dewatered 88"),
    ],
)  # fmt: skip
def test_what_cannot_be_judged_makes_hours_and_days_a_range(hidden: dict[str, float], told: str) -> None:
    is_unjudged = int(hidden["unknown_minutes"] >= 30)
    sixth = day(5, None, processing_minutes=0, dry_solids_t=None, feed_samples=0, unjudged_days=is_unjudged, **hidden)
    found = made(line(hidden, days=(*DAYS, sixth)))
    assert told in sentences.three([found], T)[0]
    assert found.row("solids").bounded(T).startswith("at least") == ("at least" in told)  # the table says it as the sentence does
    of = {"5 to 6 days": "5 of 5 to 6 days", "on 6 days": "5 of 6 days"}
    expected = next((text for words, text in of.items() if words in told), "5 of 5 days")
    assert f"feed TS on {expected}" in sentences.data_line(WEEK, [found], T)
    assert found.row("dose").basis.endswith(f"; {expected}")
    assert len(appendix._exclusions((found,), False, T)) == is_unjudged


def test_samples_are_counted_on_days_worked_for_certain() -> None:
    """Nine days of two lines worked for certain, each sampled; two more, sampled too, cannot be judged: 9 of 9 to 11, not 11."""
    open_days = tuple(
        day(k, None, processing_minutes=0, dry_solids_t=None, unjudged_days=1, run_unknown_h=18.0, unknown_minutes=1080) for k in (5, 6)
    )
    lines = [made(line({}, days=(*DAYS, *open_days))), made(line({}, days=DAYS[:4]))]
    assert "feed TS on 9 of 9 to 11 days" in sentences.data_line(WEEK, lines, T)


def test_a_week_that_cannot_be_judged_is_no_week_without_work() -> None:
    nothing = {"processing_minutes": 0, "processing_h": 0.0, "dose_active_kg_t": None, "missed_share": None}
    open_day = day(2, None, processing_minutes=0, unknown_minutes=600, unjudged_days=1, dry_solids_t=None)
    found = made(line(nothing | {"unknown_minutes": 600, "run_unknown_h": 10.0}, days=(open_day,)))
    assert sentences.three([found], T)[0] == "Whether Belt press 1 processed sludge is not known: 0.0 to 10.0 hours on 0 to 1 days."


def test_no_dose_gives_its_reason() -> None:
    first, second, third = said(line({"dose_active_kg_t": None, "dose_reason": "2 days with a dose, 3 needed"}))
    assert first.endswith("dewatered 88 dry tons.")
    assert second == "No dose is reported for Belt press 1: 2 days with a dose, 3 needed. Cake and capture meet their targets."
    assert third == "See that exports and lab sheets of the week arrive: no dose could be reported."


def test_line_that_did_not_run() -> None:
    found = made(line({"processing_minutes": 0, "processing_h": 0.0, "dose_active_kg_t": None, "missed_share": None}, days=()))
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
        f"{text} of processing minutes usable; feed TS on 5 of 5 days"
    )


def test_decision_names_the_most_urgent_and_counts() -> None:
    one = said(line({}, flags=(FLAG,)))[2]
    assert one == "One open item: sludge flow meter, data gap for 40 min on Tue 31 Mar."
    assert said(line({}, flags=(FLAG | {"severity": "note"}, FLAG | {"disposition": "expected"})))[2] == "Nothing needs a decision."
    long = FLAG | {"minutes": 72 * 60}
    assert said(line({}, flags=(long,)))[2] == "One open item: sludge flow meter, data gap for 72.0 h from Tue 31 Mar."
    later = FLAG | {"severity": "check this week", "detector": "flatline"}
    assert said(line({}, flags=(later, FLAG)))[2].startswith("Two open items. First: sludge flow meter, data gap")
    assert said(line({}, flags=(FLAG,) * 12))[2].startswith("12 open items. First: ")


def test_an_open_item_has_an_owner_and_a_day() -> None:
    # Known on Monday 6 April 07:00 plant time: what is due today is due then, what is due this week a week later.
    found = made(
        line({}, flags=(FLAG, FLAG | {"severity": "check this week", "detector": "mixing pressure high", "role": None, "minutes": 444}))
    )
    assert [i.words(T, None) for i in found.items] == [
        "Sludge flow meter, data gap for 40 min on Tue 31 Mar: data engineer, by Mon 6 Apr",
        "Mixing pressure high for 7.4 h on Tue 31 Mar: process engineer, by Mon 13 Apr",
    ]
    assert found.items[0].words(T, "Belt press 1").startswith("Belt press 1, sludge flow meter")


def test_owner_and_day_are_those_of_the_decision() -> None:
    """A flag decided as unknown stays open with the owner and day that were named; any other decision closes it."""
    named = FLAG | {"disposition": "unknown", "owner": "shift lead", "due_day": date(2026, 4, 9)}
    found = made(line({}, flags=(named, FLAG | {"disposition": "unknown"}, FLAG | {"disposition": "confirmed", "owner": "lab"})))
    assert [i.words(T, None).partition(": ")[2] for i in found.items] == ["shift lead, by Thu 9 Apr", "data engineer, by Mon 6 Apr"]
    assert (
        made(line({}, flags=(named,)), t=language.of("da"))
        .items[0]
        .words(language.of("da"), None)
        .endswith(": vagtleder, senest tor 9. apr")
    )


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


def test_signals_with_the_same_gaps_share_a_row() -> None:
    def signal(role: str, share: float, gap: int) -> dict[str, Any]:
        return {"role": role, "covered_share": share, "missing_processing_minutes": 0, "processing_minutes": 1764, "longest_gap_min": gap}

    quality = (
        signal("device_run", 0.86, 1080),
        signal("pump_speed", 1.0, 0),
        signal("sludge_flow", 0.86, 1080),
        signal("wash_water_flow", 0.86, 40),
    )
    assert appendix._quality(made(line({}, quality=quality)), False, T) == [
        ["device run and sludge flow meter", "86 %", "0 of 1,764", "1,080 min"],
        ["wash water flow", "86 %", "0 of 1,764", "40 min"],
    ]


def test_a_withheld_line_keeps_its_open_items() -> None:
    good, gone = made(line({})), made(line({"unknown_minutes": 6000}, flags=(FLAG,)))
    assert gone.withheld is not None
    assert page._items([good, gone], True, T)["items"] == [
        "Belt press 1, sludge flow meter, data gap for 40 min on Tue 31 Mar: data engineer, by Mon 6 Apr"
    ]
    assert sentences.three([good, gone], T)[2].startswith("One open item: Belt press 1, sludge flow meter, data gap")


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


def test_meters_that_no_witness_tested_stand_in_the_appendix() -> None:
    rows = ({"role": "sludge_flow", "verdict": "agrees"}, {"role": "polymer_solution_flow", "verdict": "not testable"})
    found = made(line({}, integrity=tuple(r | {"deviation_pct": None, "reason": None} for r in rows)))
    assert appendix._untested((found,), False, T) == ["polymer solution flow meter"]


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
    assert sentences.three([good, gone], T)[2] == "Belt press 1, have the sludge flow meter checked: the register disagrees by -25 %."
    assert "doubted: sludge flow meter" in sentences.data_line(WEEK, [good, gone], T)
    assert first
