"""The one line on money so far: from comparisons with an interval that is valid at all times, else when it will be said. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.report.language import Language
from pipelines.report.numbers import two_digits
from pipelines.report.weekly.queries import Row

ANYTIME = ("valid at all times", "always valid", "anytime", "confidence sequence")  # words of `method` that name such an interval


def line(comparisons: Sequence[Row], t: Language) -> str | None:
    """Return the money line of a plant; None without a comparison of money."""
    money = [c for c in comparisons if c["outcome"].split()[0] in ("money", "saving", "cost") and c["verdict"] != "refused"]
    if not money:
        return None
    shown = [c for c in money if c["low"] is not None and any(word in (c["method"] or "") for word in ANYTIME)]
    if shown:
        c = shown[-1]
        return t(
            "moneyline.shown", low=t.numeral(two_digits(c["low"])), high=t.numeral(two_digits(c["high"])), unit=c["unit"], plan=c["plan"]
        )
    last = money[-1]
    if last["days_to"] is None:
        return t("moneyline.no_day", plan=last["plan"])
    return t("moneyline.planned", day=t.day(last["days_to"], "year"), plan=last["plan"])
