"""Limits that several steps share: how long a value is held, how far it reaches, when a minute counts. Each stands here once.

The same limits go to the SQL as the one row of `work.limits` (`sql_row`). Rules of this project, or common practice without a
source, as marked.
"""

from __future__ import annotations

from datetime import timedelta

COVERED_SHARE = 0.5  # of a minute that must be known for its value to count (rule of this project)
LONGEST_HOLD = timedelta(hours=24)  # no value is held longer, whatever its hold limit (rule of this project)
LONGEST_REACH = timedelta(minutes=30)  # no sloped value reaches further back, and no register increment without a hold limit of its own
LONGEST_SILENCE = timedelta(hours=6)  # of a line, after which its states are unknown (rule of this project)
HELD_TS_DAYS = 14  # operating days of samples whose median a held feed TS relaxes to; late results work on so many days
CURVE_DAYS = 14  # operating days before a day that curves and usual values come from
ROLLING_DAYS = 28  # operating days of the longest rolling window
FLOW_SPAN_SHARE = (
    0.15  # of the median flow between its 5 and 95 % points, from which a slope over flow can be told (common practice, no source)
)
CURVE_POINTS = 100  # minutes a curve over flow needs (common practice, no source)
