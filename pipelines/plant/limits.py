"""Limits that several steps share: how long a value is held, how far it reaches, when a minute counts. Each stands here once.

The same limits go to the SQL as the one row of `work.limits` (`sql_row`). Rules of this project, or common practice without a
source, as marked.
"""

from __future__ import annotations

from datetime import timedelta

MINUTE = timedelta(minutes=1)
COVERED_SHARE = 0.5  # of a minute that must be known for its value to count (rule of this project)
LONGEST_HOLD = timedelta(hours=24)  # no value is held longer, whatever its hold limit (rule of this project)
LONGEST_REACH = timedelta(minutes=30)  # no sloped value reaches further back, and no register increment without a hold limit of its own
LONGEST_SILENCE = timedelta(hours=6)  # of a line, after which its states are unknown (rule of this project)
HELD_TS_DAYS = 14  # operating days of samples whose median a held feed TS relaxes to; late results work on so many days
CURVE_DAYS = 14  # operating days before a day that curves and usual values come from
WEEK_DAYS = 7
ROLLING_SPANS = {"7 d": 7, "28 d": 28}  # rolling windows of operating days (common practice, no source)
ROLLING_DAYS = max(ROLLING_SPANS.values())
FLOW_SPAN_SHARE = (
    0.15  # of the median flow between its 5 and 95 % points, from which a slope over flow can be told (common practice, no source)
)
CURVE_POINTS = 100  # minutes a curve over flow needs (common practice, no source)
# Gates of the dose (common practice, no source): valid minutes an hour, a shift or day, and a span of days need, the share of what
# was asked for, and days with a dose in a span.
HOUR_MINUTES, DAY_MINUTES, SPAN_MINUTES, VALID_SHARE, SPAN_DAYS = 30, 120, 600, 0.9, 3
UNJUDGED_MINUTES = 30  # unknown minutes from which a day without processing cannot be told from a day of work (rule of this project)


def sql_row() -> dict[str, float]:
    """Return the limits that the SQL reads, as the one row of `work.limits`."""
    return {
        "covered_share": COVERED_SHARE,
        "held_ts_days": HELD_TS_DAYS,
        "rolling_days": ROLLING_DAYS,
        "flow_span_share": FLOW_SPAN_SHARE,
        "curve_points": CURVE_POINTS,
        "start_reach_min": LONGEST_HOLD // MINUTE,
        "hour_minutes": HOUR_MINUTES,
        "day_minutes": DAY_MINUTES,
        "span_minutes": SPAN_MINUTES,
        "valid_share": VALID_SHARE,
        "span_days": SPAN_DAYS,
        "unjudged_minutes": UNJUDGED_MINUTES,
    }
