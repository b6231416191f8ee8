"""One line's rows behind its week, read from the published file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from pipelines.report.weekly import queries
from pipelines.report.weekly.queries import Row, has, rows
from pipelines.report.weekly.rows import SHOWN_DAYS, LineData

if TYPE_CHECKING:
    import duckdb


def read(con: duckdb.DuckDBPyConnection, settings: Row, span: Row, begin: datetime, end: datetime) -> LineData:
    """Return a line's rows; `span` has plant, first and last day of the week, which lies in [begin, end)."""
    key = {"plant": settings["plant"], "line": settings["line"]}
    week = {"first": span["first"], "last": span["last"]}
    shown = {**week, "first": span["first"] - timedelta(days=SHOWN_DAYS - 7)}
    weeks = rows(con, queries.WEEKS, **key, **shown)
    by_start = {r["week_start_day"]: r for r in weeks}
    before = span["first"] - timedelta(days=7)
    uncertain = "SELECT * FROM dose_uncertainty_week WHERE plant = $plant AND line = $line AND week_start_day IN ($a, $b)"
    known = {r["week_start_day"]: r for r in rows(con, uncertain, **key, a=span["first"], b=before)}
    baseline, usual, hours = _baseline(con, key, week)
    return LineData(
        line=settings["line"], name=settings["line_name"], settings=settings, this=by_start.get(span["first"]), last=by_start.get(before),
        days=tuple(rows(con, queries.DAYS, **key, **shown)),
        rolling=tuple(rows(con, queries.ROLLING, **key, **shown)),
        cake=tuple(rows(con, queries.CAKE, **key, **shown)),
        flags=tuple(rows(con, queries.FLAGS, **key, begin=begin, end=end)),
        states=tuple(rows(con, queries.STATES, **key, **week)),
        quality=tuple(rows(con, queries.QUALITY, **key, **week)),
        this_known=known.get(span["first"]),
        balance=next(iter(rows(con, queries.BALANCE, **key, first=span["first"])), None),
        lab_delay_h=rows(con, queries.DELAY, **key, **shown)[0]["delay"],
        weeks=tuple(weeks), baseline=baseline, usual=usual, arrangements=_arrangements(con, key, shown),
        integrity=tuple(rows(con, queries.INTEGRITY, **key, first=span["first"])) if has(con, "meter_integrity") else (),
        hours=(*hours, *rows(con, queries.HOURS, **key, **week)),
        pump=tuple(rows(con, queries.PUMP, **key, **shown)),
        lots=tuple(rows(con, queries.LOTS, **key, begin=begin - timedelta(days=SHOWN_DAYS - 7), end=end)),
        refused_lab_days=frozenset(r["operating_day"] for r in rows(con, queries.REFUSED, **key, **week)),
    )  # fmt: skip


def _arrangements(con: duckdb.DuckDBPyConnection, key: Row, span: Row) -> tuple[Row, ...]:
    return tuple(rows(con, queries.ARRANGEMENTS, **key, **span)) if has(con, "arrangement_days") else ()


def _baseline(con: duckdb.DuckDBPyConnection, key: Row, week: Row) -> tuple[tuple[Row, ...], tuple[Row, ...], tuple[Row, ...]]:
    """Return the days, usual ranges and hours of the line's baseline."""
    period = next(iter(rows(con, queries.BASELINE_PERIOD, **key, first=week["first"])), None)
    if period is None:
        return (), (), ()
    span = {"first": period["first_day"], "last": min(period["last_day"], week["first"] - timedelta(days=1))}
    days = pure(rows(con, queries.DAYS, **key, **span), _arrangements(con, key, span))
    kept = {d["operating_day"] for d in days}
    usual = rows(con, queries.USUAL, **key, **span, arrangement=days[0].get("arrangement")) if days and has(con, "usual_ranges") else []
    return tuple(days), tuple(usual), tuple(h for h in rows(con, queries.HOURS, **key, **span) if h["operating_day"] in kept)


def pure(days: Sequence[Row], arrangement_days: Sequence[Row]) -> list[Row]:
    """Return the days of the arrangement that most of them have, without days of transition and of several; all, when none is declared."""
    if not arrangement_days:
        return list(days)
    clean = {a["operating_day"]: a["arrangement"] for a in arrangement_days if not a["is_mixed"] and not a["is_in_transition"]}
    named = Counter(name for name in clean.values() if name is not None)
    if not named:
        return list(days)
    most = named.most_common(1)[0][0]
    return [d for d in days if clean.get(d["operating_day"]) == most]
