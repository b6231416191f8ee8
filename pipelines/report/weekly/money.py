"""The one line on money so far: from comparisons with an interval that is valid at all times, else when it will be said. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipelines.report.language import Language
from pipelines.report.numbers import two_digits
from pipelines.report.weekly.queries import Row

_IN_MONEY = re.compile(r"[A-Z]{3}\b")  # a currency first: USD, USD/year
ANYTIME = ("valid at all times", "always valid", "anytime", "confidence sequence")  # words of `method` that name such an interval


def line(comparisons: Sequence[Row], t: Language) -> str | None:
    """Return the money line of a plant; None without a comparison of money."""
    money = [c for c in comparisons if _IN_MONEY.match(c["unit"]) and c["verdict"] != "refused"]
    if not money:
        return None
    shown = [c for c in money if c["low"] is not None and any(word in (c["method"] or "") for word in ANYTIME)]
    if shown:
        c = shown[-1]
        return t(
            "moneyline.shown", low=t.numeral(two_digits(c["low"])), high=t.numeral(two_digits(c["high"])), unit=c["unit"], plan=c["plan"]
        )
    return t("moneyline.planned", plan=money[-1]["plan"])
