"""What a weekly page reads: a plant's week, all of it from the published file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.plant.calendar import Calendar, wall_time
from pipelines.store import connect
from schemas.tables.plant_file_versions import IN_USE

if TYPE_CHECKING:
    import duckdb

Row = dict[str, Any]
# Weeks that the charts look back on, the reported one included.
SHOWN_WEEKS = 8
SHOWN_DAYS = 7 * SHOWN_WEEKS


@dataclass(frozen=True)
class LineData:
    """A line's rows behind its week; values in the stored (SI) units. `quality` holds sums over the week per role.

    `this_known` and `last_known` are the weeks' rows of dose_uncertainty_week; `balance` is the week's row of
    solids_balance: the line's own, of all lines where only they have a closure;
    `lab_delay_h` is within how many hours nine of ten results of the shown weeks came, None without any.
    """

    line: str
    name: str
    settings: Row
    this: Row | None
    last: Row | None
    days: tuple[Row, ...] = ()
    rolling: tuple[Row, ...] = ()
    cake: tuple[Row, ...] = ()
    flags: tuple[Row, ...] = ()
    states: tuple[Row, ...] = ()
    quality: tuple[Row, ...] = ()
    this_known: Row | None = None
    last_known: Row | None = None
    balance: Row | None = None
    lab_delay_h: float | None = None


@dataclass(frozen=True)
class WeekData:
    """A plant's reporting week; `known_utc` is when the latest file behind the published data was received."""

    plant: str
    name: str
    zone: ZoneInfo
    week_start_day: date
    iso_week: str
    start_utc: datetime
    end_utc: datetime
    known_utc: datetime
    last_day: date
    plant_file_id: str
    prices_since: datetime | None
    rows_set_aside: int
    lines: tuple[LineData, ...]

    @property
    def first_shown_day(self) -> date:
        return self.week_start_day - timedelta(days=SHOWN_DAYS - 7)


def week(home: Home, plant: str, week_start_day: date | None, as_of: datetime | None = None) -> WeekData:
    """Read the reporting week that holds `week_start_day`; None: the one that had just ended at `as_of`, without that the last whole one.

    DataMissingError when there is no published file, nothing of the plant in it, or the data do not hold the week to its last day.
    """
    con = connect(home.database, read_only=True)
    try:
        return _week(con, plant, week_start_day, as_of)
    finally:
        con.close()


def _week(con: duckdb.DuckDBPyConnection, plant: str, day: date | None, as_of: datetime | None) -> WeekData:
    lines = _rows(con, "SELECT * FROM line_settings WHERE plant = $plant ORDER BY line", plant=plant)
    known = _rows(con, "SELECT max(received_utc) AS known FROM loads WHERE plant = $plant", plant=plant)[0]["known"]
    ends = _rows(con, "SELECT min(operating_day) AS first, max(operating_day) AS last FROM kpi_day WHERE plant = $plant", plant=plant)[0]
    last = ends["last"]
    if not lines or known is None or last is None:
        raise DataMissingError(
            f"nothing is published for {plant}", remedy="run `flocledger nightly` first; `flocledger status` shows what is there"
        )
    first_weekday, zone = lines[0]["week_start"], ZoneInfo(lines[0]["time_zone"])
    calendar = Calendar(zone, wall_time(lines[0]["operating_day_start_h"]))
    if day is None and as_of is not None:
        day = calendar.operating_day(as_of) - timedelta(days=7)
    start = _start(day, first_weekday) if day is not None else _last_whole(con, plant, last, first_weekday)
    if start + timedelta(days=6) > last or start + timedelta(days=6) < ends["first"]:
        raise DataMissingError(
            f"the data of {plant} do not hold the whole reporting week {iso_week(start)}, {start} to {start + timedelta(days=6)}: "
            f"they reach from {ends['first']} to {last}",
            remedy="see that the nightly exports arrive and run `flocledger nightly`; or name a week that is whole with --week",
        )
    span = {"plant": plant, "first": start, "last": start + timedelta(days=6)}
    prices = "SELECT max(from_utc) AS since FROM prices WHERE plant = $plant AND from_utc < $end"
    begin, end = calendar.day_start(start), calendar.day_start(start + timedelta(days=7))
    return WeekData(
        plant, lines[0]["plant_name"], zone, start, iso_week(start), begin, end, known, last,
        next((r["plant_file_id"] for r in _rows(con, IN_USE, plant=plant)), "-"),
        _rows(con, prices, plant=plant, end=end)[0]["since"],
        _rows(con, _SET_ASIDE, **span, begin=begin, end=end)[0]["n"],
        tuple(_line(con, settings, span, begin, end) for settings in lines),
    )  # fmt: skip


def _start(day: date, first_weekday: int) -> date:
    return day - timedelta(days=(day.isoweekday() - first_weekday) % 7)


def _last_whole(con: duckdb.DuckDBPyConnection, plant: str, last_day: date, first_weekday: int) -> date:
    sql = "SELECT max(week_start_day) AS day FROM kpi_week WHERE plant = $plant AND week_start_day <= $latest AND isodow(week_start_day) = $first"
    found: date | None = _rows(con, sql, plant=plant, latest=last_day - timedelta(days=6), first=first_weekday)[0]["day"]
    if found is None:
        raise DataMissingError(
            f"{plant} has no whole reporting week yet; its data end with {last_day}",
            remedy="wait for the week to end, or name the week to report",
        )
    return found


def iso_week(start: date) -> str:
    """Return the ISO 8601 week of the first Monday on or after `start`, as YYYY-Www: as `iso_week` of kpi_week names it."""
    monday = start + timedelta(days=(1 - start.isoweekday()) % 7)
    return f"{monday.isocalendar().year}-W{monday.isocalendar().week:02d}"


_SET_ASIDE = """
SELECT count(*) AS n FROM set_aside s WHERE plant = $plant AND (disposition IS NULL OR disposition NOT IN ('accept as is', 'corrected to')) AND (
  (first_utc >= $begin AND first_utc < $end) OR (first_utc IS NULL AND EXISTS (
    SELECT 1 FROM load_days d WHERE d.plant = s.plant AND d.load_id = s.load_id AND d.operating_day BETWEEN $first AND $last)))"""
_STATES = """
WITH marked AS (
  SELECT minute_utc, operating_day, state,
    minute_utc - INTERVAL 1 MINUTE * row_number() OVER (PARTITION BY operating_day, state ORDER BY minute_utc) AS island
  FROM minutes WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last)
SELECT operating_day, state, min(minute_utc) AS start_utc, max(minute_utc) + INTERVAL 1 MINUTE AS end_utc
FROM marked GROUP BY operating_day, state, island ORDER BY start_utc"""
_QUALITY = """
SELECT role, sum(minutes_seen) AS minutes_seen, sum(processing_minutes) AS processing_minutes,
  sum(missing_processing_minutes) AS missing_processing_minutes, max(longest_gap_min) AS longest_gap_min,
  sum(covered_share * minutes_seen) / nullif(sum(minutes_seen), 0) AS covered_share
FROM data_quality WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last GROUP BY role ORDER BY role"""
_FLAGS = """
SELECT * FROM flags WHERE plant = $plant AND line = $line AND start_utc < $end AND end_utc > $begin
ORDER BY list_position(['check today', 'check this week', 'note'], severity), start_utc, flag_id"""
_BALANCE = """
SELECT * FROM solids_balance WHERE plant = $plant AND line IN ($line, 'all lines') AND kind = 'week' AND period_start_day = $first
  AND solids_closure IS NOT NULL ORDER BY line = 'all lines' LIMIT 1"""
_DELAY = """
SELECT quantile_cont(epoch(reported_utc - to_utc) / 3600.0, 0.9) AS delay FROM lab_results
WHERE plant = $plant AND line = $line AND point IN ('feed', 'cake', 'filtrate') AND operating_day BETWEEN $first AND $last
  AND reported_utc - to_utc BETWEEN INTERVAL 0 DAY AND INTERVAL 14 DAY  -- not what was taken in long after
"""
_CAKE = """
SELECT sample_id, from_utc, half_width_h, operating_day, value FROM lab_results
WHERE plant = $plant AND line = $line AND point = 'cake' AND analyte = 'ts' AND is_used AND value IS NOT NULL
  AND operating_day BETWEEN $first AND $last ORDER BY from_utc, sample_id"""


def _line(con: duckdb.DuckDBPyConnection, settings: Row, span: Row, begin: datetime, end: datetime) -> LineData:
    key = {"plant": settings["plant"], "line": settings["line"]}
    here = "WHERE plant = $plant AND line = $line"
    before = span["first"] - timedelta(days=7)
    both = f"{here} AND week_start_day IN ($a, $b)"
    by_start, known = (
        {r["week_start_day"]: r for r in _rows(con, f"SELECT * FROM {table} {both}", **key, a=span["first"], b=before)}
        for table in ("kpi_week", "dose_uncertainty_week")
    )
    days, shown = "operating_day BETWEEN $first AND $last", {**span, "first": span["first"] - timedelta(days=SHOWN_DAYS - 7)}
    rolling = f"SELECT operating_day, dose_active_kg_t FROM kpi_rolling {here} AND window_name = '7 d' AND {days} ORDER BY operating_day"
    return LineData(
        settings["line"], settings["line_name"], settings,
        by_start.get(span["first"]), by_start.get(before),
        tuple(_rows(con, f"SELECT * FROM kpi_day {here} AND {days} ORDER BY operating_day", **key, **_only(shown))),
        tuple(_rows(con, rolling, **key, **_only(shown))),
        tuple(_rows(con, _CAKE, **key, **_only(shown))),
        tuple(_rows(con, _FLAGS, **key, begin=begin, end=end)),
        tuple(_rows(con, _STATES, **key, **_only(span))),
        tuple(_rows(con, _QUALITY, **key, **_only(span))),
        known.get(span["first"]), known.get(before), next(iter(_rows(con, _BALANCE, **key, first=span["first"])), None),
        _rows(con, _DELAY, **key, **_only(shown))[0]["delay"],
    )  # fmt: skip


def _only(span: Row) -> Row:
    return {"first": span["first"], "last": span["last"]}


def _rows(con: duckdb.DuckDBPyConnection, sql: str, **parameters: Any) -> list[Row]:
    found: list[Row] = con.sql(sql, params=parameters).pl().to_dicts()
    return found
