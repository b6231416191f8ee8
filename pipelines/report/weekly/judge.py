"""The words about one number: against the target with its interval, against the baseline with the noise of both. Pure; stored units."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.report.language import Language
from pipelines.report.numbers import COVERAGE, Limits, Printed, as_printed
from pipelines.report.weekly.queries import Row

# Below this a difference from the baseline is called none whatever its noise; doses are printed to three digits [%].
NO_CHANGE_PCT = 1.0
LEAST_BASELINE_DAYS = 5  # with a value, for a baseline to be one (rule of this project)
IN, OUT, OPEN = "in", "out", "open"


@dataclass(frozen=True)
class Baseline:
    """What a KPI was in its baseline: the median of its days, the range that held 80 % of them, its noise and how many days."""

    middle: float
    low: float
    high: float
    noise: float
    days: int


def baseline(values: Sequence[float | None], usual: Row | None = None) -> Baseline | None:
    """Return the baseline of a KPI from its daily values; None with too few of them.

    Median and range are those published in usual_ranges (`usual`); without such a row (fewer than 10 final days, a baseline that still runs,
    several of them) those of the values.
    """
    known = sorted(v for v in values if v is not None)
    if len(known) < LEAST_BASELINE_DAYS:
        return None
    noise = statistics.stdev(known) / math.sqrt(len(known))
    if usual is not None:
        return Baseline(usual["middle"], usual["low"], usual["high"], noise, usual["days"])
    tenths = statistics.quantiles(known, n=10, method="inclusive")
    return Baseline(statistics.median(known), tenths[0], tenths[-1], noise, len(known))


def target(printed: Printed, stored: float, half_width: float | None, limits: Limits) -> str | None:
    """Return IN, OUT or OPEN: whether the target holds for the whole interval, for none of it, or cannot be told; None without a target.

    Judges what is printed: what reads 22.0 is in a target of at most 22. A number whose interval is not known is judged by itself.
    """
    low, high = printed.limit(limits.at_least), printed.limit(limits.at_most)
    if low is None and high is None:
        return None
    shown = as_printed(printed.digits(stored * printed.factor))
    width = 0.0 if half_width is None else half_width * printed.factor
    bottom, top = (-math.inf if low is None else as_printed(low)), (math.inf if high is None else as_printed(high))
    if shown - width >= bottom and shown + width <= top:
        return IN
    return OUT if shown + width < bottom or shown - width > top else OPEN


def target_text(printed: Printed, limits: Limits, t: Language) -> str:
    """Return "at most 22", "at least 21.5", "93 to 96.5", or ""."""
    low, high = printed.limit(limits.at_least), printed.limit(limits.at_most)
    if low is not None and high is not None:
        return t("target.between", low=t.numeral(low), high=t.numeral(high))
    if low is not None:
        return t("target.at_least", low=t.numeral(low))
    return t("target.at_most", high=t.numeral(high)) if high is not None else ""


def change_pct(stored: float, noise: float | None, base: Baseline) -> float | None:
    """Return by how many percent a number differs from its baseline; None when that cannot be told from the noise of both (k = 2)."""
    percent = (stored / base.middle - 1.0) * 100.0 if base.middle else math.inf
    told = noise is not None and abs(stored - base.middle) > COVERAGE * math.hypot(noise, base.noise)
    return percent if told and abs(percent) >= NO_CHANGE_PCT else None


def week_noise(known_random: float | None, days: Sequence[float | None]) -> float | None:
    """Return by how much a week's number varies by itself (k = 1): the larger of its random uncertainty and the scatter of its days; None unknown.

    Systematic errors are the same in week and baseline and leave their difference alone.
    """
    values = [v for v in days if v is not None]
    found = [known_random] if known_random is not None else []
    if len(values) > 1:
        found.append(statistics.stdev(values) / math.sqrt(len(values)))
    return max(found, default=None)
