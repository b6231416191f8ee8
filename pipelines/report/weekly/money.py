"""The one line on the saving so far: a plan's result after its last day, before it an interval valid at all times, else when it will be said. Pure."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from datetime import date

from pipelines.report.language import Language
from pipelines.report.numbers import SHORT_TON_T, minus, two_digits
from pipelines.report.weekly.queries import Row

_IN_MONEY = re.compile(r"[A-Z]{3}/")  # a currency first: USD/t, USD/year
_REFUSED, _NOT_SHOWN = "refused", "not shown"
_OUTCOME = "saving"  # ends the name of each outcome that is one; cake, capture and others are gates, no savings


def line(results: Sequence[Row], running: Sequence[Row], week_end: date, system: str, t: Language) -> str | None:
    """Return the saving of the plan that ends last, as known when the week ended; None without a frozen plan.

    `results` are rows of `comparisons` joined with their frozen plan (`plan_text`), the newest computation of each plan only; `running` the rows of
    `comparison_running` up to the week's end, the newest of each outcome. `system` is "US" or "SI".
    """
    results, running = ([r for r in rows if r["outcome"].endswith(_OUTCOME)] for rows in (results, running))
    ends = {r["plan"]: planned_end(r) for r in results} | {r["plan"]: r["planned_last_day"] for r in running if not r["is_draft"]}
    if not ends:
        return None
    plan = max(ends, key=lambda name: (ends[name], name))
    known = {"plan": plan, "day": t.day(ends[plan])}
    ended = [r for r in results if r["plan"] == plan and r["last_day"] is not None and r["last_day"] >= ends[plan]]
    if ended and ends[plan] <= week_end:
        return _result(_main(ended), known, system, t)
    so_far = [r for r in running if r["plan"] == plan and not r["is_draft"] and r["through_day"] <= week_end and r["reason"] is None]
    if so_far:
        row = _main(so_far)
        return t("moneyline.running", said=_said(row, system, t), plan=plan, day=t.day(row["through_day"]))
    return t("moneyline.planned", **known)


def planned_end(result: Row) -> date:
    """Return the last operating day of the plan behind a result."""
    day: date = tomllib.loads(result["plan_text"])["plan"]["last_day"]
    return day


def _main(rows: Sequence[Row]) -> Row:
    """Return the row that says most: in money before any other, with a figure before a refusal."""
    return min(rows, key=lambda r: (r.get("verdict") == _REFUSED, _IN_MONEY.match(r["unit"]) is None, r["outcome"]))


def _result(row: Row, known: dict[str, str], system: str, t: Language) -> str:
    if row["verdict"] == _REFUSED:
        return t("moneyline.refused", outcome=t.word("outcome", row["outcome"]), reason=t.why(row["reason"]), **known)
    verdict = t("moneyline.not_shown") if row["verdict"] == _NOT_SHOWN else t.word("verdict", row["verdict"])
    return t("moneyline.result", said=_said(row, system, t), level=f"{row['level']:.0f}", verdict=verdict, **known)


def _said(row: Row, system: str, t: Language) -> str:
    """Return "all-in saving 21 to 48 USD per dry ton"; an end that is open is not given."""
    factor, unit = _unit(row["unit"], system, t)
    low, high = (None if row[end] is None else _signed(row[end] * factor, t) for end in ("low", "high"))
    if low is not None and high is not None:
        found = t("range", low=low, high=high)
    elif low is not None:
        found = t("target.at_least", low=low)
    else:
        found = t("target.at_most", high=high) if high is not None else _signed(row["estimate"] * factor, t)
    return f"{t.word('outcome', row['outcome'])} {found} {unit}"


def _signed(value: float, t: Language) -> str:
    return minus(t.numeral(two_digits(value)))


def _unit(stored: str, system: str, t: Language) -> tuple[float, str]:
    """Return the factor to the printed unit, and its words."""
    if _IN_MONEY.match(stored) and stored.endswith("/t"):
        us = system == "US"
        return SHORT_TON_T if us else 1.0, t(f"unit.cost_{system.lower()}", currency=stored[:3])
    return 1.0, stored
