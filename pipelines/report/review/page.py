"""A pump condition review put together: what can be said of each pump, its facts, its reference and what it went through."""

from __future__ import annotations

from typing import Any

from pipelines import __version__
from pipelines.base import units
from pipelines.plant.logs import Baseline
from pipelines.plant.model import PlantFile
from pipelines.report.language import Language, sentence
from pipelines.report.numbers import limit, minus, one_decimal, two_digits, whole
from pipelines.report.pump_index import WIDEST_PUMP, half_width, index_of
from pipelines.report.review import figures
from pipelines.report.review.read import Pump, Review
from pipelines.report.weekly.items import lasted
from pipelines.report.weekly.queries import Row

# What the watch sees of a pump and of its line that ages a pump or disturbs its index: shown with its count, none included.
WATCHED = (
    "dry run",
    "blocked suction",
    "deadhead",
    "short cycling",
    "negative flow",
    "flow per revolution off",
    "flow per revolution drifts",
    "meter doubted",
)
MOST_SERVICE = 12  # entries of the service log, the newest


def content(found: Review, plant_file: PlantFile, t: Language) -> dict[str, Any]:
    """Return everything the template prints."""
    plant = plant_file.plant
    known = f"{found.known_utc.astimezone(found.zone):%Y-%m-%d %H:%M}"
    return {
        "title": t("review.title", plant=found.name), "description": t("review.description", known=known),
        "language": t.code, "region": t("region_us") if plant.units == "US" else t("region_other"), "paper": plant.paper_size,
        "footer": t("review.footer", plant=found.plant, version=__version__, plant_file=found.plant_file_id, data=found.data_version),
        "page_word": t("page"), "of_word": t("of"),
        "heading": found.name, "subheading": t("review.heading"),
        "meta": "; ".join([t("known_at", known=known, zone=found.zone.key), *([t("invented")] if plant.invented else [])]),
        "pumps": [_pump(found, pump, plant_file, t) for pump in found.pumps],
        "words": {key: t(f"review.{key}") for key in ("facts", "reference", "events", "event_head", "count_head", "time_head", "last_head", "service", "signed", "for_plant", "for_other", "name_day", "notes_title")},
        "notes": [t(f"review.note_{k}") for k in ("sludge", "meters", "ragging", "exclusion", "even")],
        "no_service": t("review.no_service"), "cautions_title": t("cautions"), "cautions": list(t.cautions),
    }  # fmt: skip


def _pump(found: Review, pump: Pump, plant_file: PlantFile, t: Language) -> dict[str, Any]:
    values = [index_of(r) for r in pump.weeks]
    widths = [half_width(r) for r in pump.weeks]
    service = pump.service[-MOST_SERVICE:]
    threshold = None if pump.wear is None else pump.wear["threshold_index"]
    days = [r["week_start_day"] for r in pump.weeks]
    svg = figures.index(days, values, widths, threshold, [s["operating_day"] for s in service], t)
    return {
        "heading": t("review.pump", pump=pump.pump, line=pump.line_name),
        "statement": statement(pump.wear, t),
        "threshold": time_to_threshold(pump.wear, t),
        "facts": facts(pump, t),
        "figure": {"svg": svg, "alt": t("review.alt", n=sum(v is not None for v in values), weeks=len(values))},
        "figure_note": "" if threshold is None else t("review.threshold_line", index=t.numeral(f"{threshold:.2f}")),
        "figure_title": t("review.figure", n=sum(v is not None for v in values), weeks=t.count("review.weeks", len(values))),
        "reference": reference(pump, plant_file, t),
        "events": events(found, pump, t),
        "service": [f"{n}. {t.day(s['operating_day'], 'year')}: {t.word('service', s['kind'])}{'; ' + s['note'] if s['note'] else ''}" for n, s in enumerate(service, 1)],
    }  # fmt: skip


def statement(wear: Row | None, t: Language) -> str:
    """Return what can be said of the wear, in one or two sentences; never that there is none."""
    if wear is None:
        return t("review.not_computed")
    if wear["refusal"] is not None:
        return t("review.refused", reason=t.why(wear["refusal"]))
    loss, low, high = (_percent(wear[c], t) for c in ("loss_pct_year", "loss_pct_year_low", "loss_pct_year_high"))
    if wear["loss_pct_year_low"] > 0.0:
        return t("review.measured", loss=loss, low=low, high=high)
    if _is_too_wide(wear):
        low, high = (minus(t.numeral(whole(wear[c]))) for c in ("loss_pct_year_low", "loss_pct_year_high"))
        return t("review.no_trend", low=low, high=high)
    if wear["loss_pct_year_high"] > 0.0:
        return t("review.excluded", loss=loss, low=low, high=high)
    return t("review.other_way", loss=loss, low=low, high=high)


def _is_too_wide(wear: Row) -> bool:
    """Return whether the interval of the loss holds zero and is wider than an index that says something changes in a year."""
    low, high = wear["loss_pct_year_low"], wear["loss_pct_year_high"]
    return bool(low <= 0.0 < high and high - low > 100.0 * 2.0 * WIDEST_PUMP)


def _percent(value: float, t: Language) -> str:
    """Return a loss a year: one decimal, whole from 100 on."""
    return minus(t.numeral(whole(value) if abs(value) >= 100 else one_decimal(value)))


def time_to_threshold(wear: Row | None, t: Language) -> str:
    """Return when the index may meet the threshold; empty without a statement or a trend."""
    if wear is None or wear["refusal"] is not None or _is_too_wide(wear):
        return ""
    index, threshold = t.numeral(f"{wear['threshold_index']:.2f}"), wear["years_to_threshold_low"]
    if threshold is None:
        return t("review.never", index=index)
    if wear["years_to_threshold_high"] == 0.0:
        return t("review.met", index=index)
    low = t.numeral(two_digits(threshold))
    if wear["years_to_threshold_high"] is None:
        return t("review.not_before", index=index, low=low)
    return t("review.between", index=index, low=low, high=t.numeral(two_digits(wear["years_to_threshold_high"])))


def facts(pump: Pump, t: Language) -> list[list[str]]:
    """Return the facts of a pump as pairs of words and value."""
    ran = [r for r in pump.weeks if r["run_h"]]
    if not ran:
        return [[t("review.ran"), t("review.never_ran")]]
    last, known = ran[-1], [r for r in pump.weeks if index_of(r) is not None]
    found = [
        [t("review.ran"), t("range", low=t.day(ran[0]["week_start_day"], "year"), high=t.day(last["week_start_day"], "year"))],
        [t("review.hours"), t.numeral(whole(sum(r["run_h"] for r in ran)))],
        [t("review.starts"), t.numeral(whole(sum(r["starts"] or 0 for r in ran)))],
        [t("review.dry"), t.numeral(whole(sum(r["dry_run_minutes"] or 0 for r in ran)))],
        [t("review.since_service"), _since(last, "service", t)],
        [t("review.since_overhaul"), _since(last, "overhaul", t)],
    ]
    if known:
        now = known[-1]
        half = half_width(now)
        index = t.numeral(f"{index_of(now):.2f} ± {half:.2f}")
        index = index if half <= WIDEST_PUMP else t("review.index_open", index=index)
        found.append([t("review.index_last"), t("review.index_of", index=index, week=t.day(now["week_start_day"], "year"))])
    if pump.wear is not None:
        left = pump.wear["weeks_left_out"]
        found.append(
            [t("review.used"), t("review.used_of", used=t.count("review.weeks", pump.wear["weeks"]), left=t.count("review.weeks", left))]
        )
    return found


def _since(row: Row, what: str, t: Language) -> str:
    hours = row[f"run_since_{what}_h"]
    if hours is None:
        return t("review.no_entry")
    text = t("review.in_hours", hours=t.numeral(whole(hours)))
    return t("review.at_least", hours=text) if row[f"{what}_counted_from_data"] else text


def reference(pump: Pump, plant_file: PlantFile, t: Language) -> list[str]:
    """Return the commissioning reference: when it was measured, its test points as the plant file gives them, and the TS window."""
    row = pump.reference
    if row is None:
        return [t("review.no_reference")]
    tests = [
        b
        for b in plant_file.baselines
        if b.pump == pump.pump and plant_file.calendar.operating_day(plant_file.calendar.since(b.at)) == row["measured_day"]
    ]
    found = [t("review.measured_on", day=t.day(row["measured_day"], "year"))]
    found += [line for test in tests for line in points(test, t)]
    if row["ts_low_pct"] is not None:
        low, high = (t.numeral(limit(row[c])) for c in ("ts_low_pct", "ts_high_pct"))
        found.append(t("review.ts_window", low=low, high=high))
    return [sentence(x) for x in found]


def points(test: Baseline, t: Language) -> list[str]:
    """Return the points of a commissioning test in its own units."""
    if test.displacement is None:
        speed = t.numeral(limit(units.from_si(test.reference_speed or 0.0, "rpm")))
        if not test.curve:
            return [t("review.coefficients", speed=speed)]
        listed = "; ".join(f"{t.numeral(limit(q))} {test.flow_unit}, {t.numeral(limit(h))} {test.head_unit}" for q, h in test.curve)
        return [t("review.curve", speed=speed, n=t.count("review.points", len(test.curve)), points=listed)]
    listed = "; ".join(f"{t.numeral(limit(p))} {test.pressure_unit}, {t.numeral(limit(q))} {test.flow_unit}" for p, q in test.slip)
    return [
        t("review.slip", litres=t.numeral(limit(1000.0 * test.displacement)), n=t.count("review.points", len(test.slip)), points=listed)
    ]


def events(found: Review, pump: Pump, t: Language) -> list[list[str]]:
    """Return what the pump went through: each watched cause with its count, total duration and newest day, none included."""
    told = []
    for name in WATCHED:
        own = [f for f in pump.flags if f["detector"] == name]
        total = lasted(sum(f["minutes"] for f in own), t) if own else "-"
        last = t.day(own[-1]["start_utc"].astimezone(found.zone).date(), "year") if own else "-"
        told.append([t.word("detector", name), str(len(own)), total, last])
    return told
