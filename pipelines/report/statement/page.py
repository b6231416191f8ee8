"""A statement put together: sentences, tables and figures as the template prints them."""

from __future__ import annotations

import json
from typing import Any

from pipelines import __version__
from pipelines.base import units
from pipelines.report import language
from pipelines.report.numbers import SHORT_TON_T, minus
from pipelines.report.statement import figures
from pipelines.report.statement.read import Row, Statement

# stored unit -> (unit printed in US units, factor)
_US = {"kg/t": ("lb/dt", 2.0), "kPa": ("psi", 1.0 / units.unit("psi").factor), "% per kPa": ("% per psi", units.unit("psi").factor)}
_DECIMALS = {"%": 1, "% TS": 2, "kPa": 1, "psi": 1, "ratio": 2, "years": 1, "% per psi": 2}


def content(s: Statement) -> dict[str, Any]:
    """Return everything the template prints."""
    plan, us = s.plan, s.plan["units"] == "US"
    main = s.outcomes[0]
    return {
        "title": f"{s.settings['plant_name']}: savings statement {plan['plan']}",
        "description": f"Comparison of {plan['arm_from']} and {plan['arm_to']} on {s.settings['line_name']}",
        "language": "en", "region": "US" if us else "GB", "paper": "us-letter" if us else "a4", "page_word": "page", "of_word": "of",
        "footer": f"{plan['plant']} {plan['plan']}, plan {plan['plan_hash']}, flocledger {__version__}, data {plan['data_version']}",
        "heading": f"{s.settings['plant_name']}: savings statement",
        "question": plan["question"], "line": f"Line: {s.settings['line_name']}. Design: {plan['design']}.",
        "days": f"Operating days {plan['first_day']} to {plan['last_day']}. Computed {plan['as_of_utc']:%Y-%m-%d %H:%M} UTC.",
        "standing": "frozen plan" if plan["is_frozen"] else "draft: plan not frozen", "invented": s.invented,
        "plan_line": _plan_line(plan), "headline": headline(main, plan, us=us), "verdict": main["verdict"],
        "outcomes": [_outcome(row, us=us) for row in s.outcomes], "gates": [_check(c, us=us) for c in s.of_kind("evidence") if c["is_passed"] is not None],
        "left_out": [f"{c['check_name'].removeprefix('left out: ')}: {_days(int(c['estimate']))}" for c in s.of_kind("evidence") if c["is_passed"] is None],
        "figures": _figures(s, us=us), "methods": [_check(c, us=us) for c in s.of_kind("method")],
        "not_to_say": _not_to_say(s), "shear": [_check(c, us=us) for c in s.of_kind("shear")], "wear": [_check(c, us=us) for c in s.of_kind("wear")],
        "not_tried": [f"{c['check_name']} ({c['note']})" for c in s.of_kind("choice") if c["estimate"] is None],
        "curve": [_check(c, us=us) for c in s.of_kind("curve") if " of '" not in c["check_name"] or "plateau" in c["check_name"]],
        "money": [_check(c, us=us) for c in s.of_kind("money")], "choices": [_check(c, us=us) for c in s.of_kind("choice")],
        "choices_line": _choices_line(s), "method_text": plan["method_text"], "not_claimed": plan["not_claimed"],
        "caveats": [c["note"] for c in s.of_kind("caveat")], "cautions": list(language.of("en").cautions),
        "trace": f"Every day behind a number, used or left out, stands in comparison_days (plan = '{plan['plan']}', plan_hash = '{plan['plan_hash']}'); "
        f"`flocledger trace --plant {plan['plant']} --plan {plan['plan']} --outcome '{main['outcome']}'` lists them, and `flocledger trace` goes on from a day to its minutes, readings, file "
        "and line.",
    }  # fmt: skip


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def headline(row: Row, plan: Row, *, us: bool) -> str:
    """Return the first sentence: the primary outcome with interval and verdict, or why there is no number."""
    if row["verdict"] == "refused":
        return f"No number is given for the {row['outcome']}: {row['reason']}."
    said = _outcome(row, us=us)
    name = row["outcome"][0].upper() + row["outcome"][1:]
    return (
        f"{name} of “{plan['arm_to']}” against “{plan['arm_from']}”: {said['estimate']} {said['unit']} ({row['level']:.0f} % interval {said['interval']}). "
        f"Verdict: {row['verdict']}. {row['reason'][0].upper()}{row['reason'][1:]}."
    )


def _plan_line(plan: Row) -> str:
    frozen = f"frozen {plan['frozen_utc']:%Y-%m-%d %H:%M} UTC" if plan["frozen_utc"] else "a draft, not frozen"
    amended = f"; amended: {plan['amendments']}" if plan["amendments"] else "; no amendments"
    return f"Plan {plan['plan']}, hash {plan['plan_hash']}, {frozen}{amended}."


def _printed(value: float | None, unit: str, *, us: bool) -> tuple[str, str]:
    """Return a number and its unit as printed."""
    if us and unit in _US:
        unit, factor = _US[unit]
        value = None if value is None else value * factor
    elif us and unit.endswith("/t"):
        unit = unit.removesuffix("/t") + "/dt"
        value = None if value is None else value * SHORT_TON_T
    if value is None:
        return "-", unit
    if unit.endswith("/year"):
        return minus(f"{round(value, -2):,.0f}"), unit
    return minus(f"{value:.{_DECIMALS.get(unit, 2)}f}"), unit


def _outcome(row: Row, *, us: bool) -> dict[str, str]:
    estimate, unit = _printed(row["estimate"], row["unit"], us=us)
    low, high = (_printed(row[end], row["unit"], us=us)[0] for end in ("low", "high"))
    interval = (
        "-"
        if row["estimate"] is None
        else f"{low if row['low'] is not None else 'no end'} to {high if row['high'] is not None else 'no end'}"
    )
    level = "" if row["level"] is None else f"{row['level']:.0f} %"
    return {
        "outcome": row["outcome"], "estimate": estimate, "interval": interval, "unit": unit, "level": level, "verdict": row["verdict"],
        "reason": row["reason"], "method": row["method"], "days": f"{row['days_from']} / {row['days_to']}",
    }  # fmt: skip


def _check(row: Row, *, us: bool) -> dict[str, str]:
    estimate, unit = _printed(row["estimate"], row["unit"], us=us)
    ends = [_printed(row[end], row["unit"], us=us)[0] for end in ("low", "high")]
    interval = "" if row["low"] is None and row["high"] is None else f"{ends[0]} to {ends[1]}"
    passed = {True: "passed", False: "not passed", None: ""}[row["is_passed"]]
    return {
        "name": row["check_name"],
        "estimate": estimate,
        "interval": interval,
        "unit": "" if unit == "-" else unit,
        "passed": passed,
        "note": row["note"],
    }


def _choices_line(s: Statement) -> str:
    rows = [c for c in s.of_kind("choice") if c["estimate"] is not None]
    same = sum(1 for c in rows if c["is_passed"])
    if not rows:
        return "No other choices were tried: there is no number."
    return f"Whether the interval excludes no saving stays as planned under {same} of {len(rows)} other choices."


_UNADJUSTED = ("the line alone", "equally weighted cosines")  # methods whose interval is narrower, or whose estimate is not what is claimed


def _not_to_say(s: Statement) -> dict[str, str] | None:
    """Return the figure of numbers that are often quoted beside the one that stands; None where there is neither."""
    main = next((o for o in s.outcomes if o["unit"] == "%" and o["estimate"] is not None and "saving" in o["outcome"]), None)
    raw = [c for c in s.checks if c["unit"] == "%" and (c["kind"] == "raw" or c["check_name"] in _UNADJUSTED)]
    if main is None or not raw:
        return None
    return {
        "svg": figures.choices(raw, main, f"stands: {main['outcome']}"), "alt": "The estimate that stands with its interval, and raw figures beside it",
        "note": "Raw figures carry no interval that means what it says: sludge, days and trimming differ between the arms. Do not quote them.",
    }  # fmt: skip


def _figures(s: Statement, *, us: bool) -> list[dict[str, str]]:
    factor, unit = (2.0, "lb/dt") if us else (1.0, "kg/t")
    main, arms = s.outcomes[0], (s.plan["arm_from"], s.plan["arm_to"])
    made = []
    curve = [c for c in s.of_kind("curve") if c["check_name"].startswith(("capture of '", "cake of '"))]
    if curve:
        svg = figures.curves(list(s.days), curve, arms, factor, unit)
        made.append({"svg": svg, "alt": "Capture and cake of ladder steps against dose with fitted curves", "title": "Dose curves",
                     "note": "Circles and broken line: old arrangement; squares and full line: new arrangement."})  # fmt: skip
    elif s.days:
        made.append({"svg": figures.days(list(s.days), arms[1], factor, unit), "alt": "Dose of every operating day by arrangement", "title": "Dose by operating day",
                     "note": f"Active polymer per dry ton, {unit}."})  # fmt: skip
    choices = [c for c in s.of_kind("choice") if c["estimate"] is not None]
    if main["estimate"] is not None and choices:
        made.append({"svg": figures.choices(choices, main), "alt": "Estimate and interval as planned and under other choices", "title": "Other choices",
                     "note": "Rows without a line give an estimate only."})  # fmt: skip
    return made


def as_json(s: Statement) -> str:
    """Return the printed content as JSON text, for tests of what is printed."""
    return json.dumps(content(s))
