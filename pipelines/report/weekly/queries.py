"""The SQL of a weekly page: what it asks of the published file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

Row = dict[str, Any]
# A row that a later file repeats is one row.
SET_ASIDE = """
SELECT reason, count(DISTINCT (coalesce(raw_text, load_id || ' ' || line_no), first_utc, tags)) AS n FROM set_aside s WHERE plant = $plant AND (disposition IS NULL OR disposition NOT IN ('accept as is', 'corrected to')) AND (
  (first_utc >= $begin AND first_utc < $end) OR (first_utc IS NULL AND EXISTS (
    SELECT 1 FROM load_days d WHERE d.plant = s.plant AND d.load_id = s.load_id AND d.operating_day BETWEEN $first AND $last)))
GROUP BY reason ORDER BY n DESC, reason"""
STATES = """
WITH marked AS (
  SELECT minute_utc, operating_day, state,
    minute_utc - INTERVAL 1 MINUTE * row_number() OVER (PARTITION BY operating_day, state ORDER BY minute_utc) AS island
  FROM minutes WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last)
SELECT operating_day, state, min(minute_utc) AS start_utc, max(minute_utc) + INTERVAL 1 MINUTE AS end_utc
FROM marked GROUP BY operating_day, state, island ORDER BY start_utc"""
QUALITY = """
SELECT role, sum(minutes_seen) AS minutes_seen, sum(processing_minutes) AS processing_minutes,
  sum(missing_processing_minutes) AS missing_processing_minutes, max(longest_gap_min) AS longest_gap_min,
  sum(covered_share * minutes_seen) / nullif(sum(minutes_seen), 0) AS covered_share
FROM data_quality WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last GROUP BY role ORDER BY role"""
FLAGS = """
SELECT * FROM flags WHERE plant = $plant AND line = $line AND start_utc < $end AND end_utc > $begin
ORDER BY list_position(['check today', 'check this week', 'note'], severity), start_utc, flag_id"""
BALANCE = """
SELECT * FROM solids_balance WHERE plant = $plant AND line IN ($line, 'all lines') AND kind = 'week' AND period_start_day = $first
  AND solids_closure IS NOT NULL ORDER BY line = 'all lines' LIMIT 1"""
DELAY = """
SELECT quantile_cont(epoch(reported_utc - to_utc) / 3600.0, 0.9) AS delay FROM lab_results
WHERE plant = $plant AND line = $line AND point IN ('feed', 'cake', 'filtrate') AND operating_day BETWEEN $first AND $last
  AND reported_utc - to_utc BETWEEN INTERVAL 0 DAY AND INTERVAL 14 DAY  -- not what was taken in long after
"""
CAKE = """
SELECT sample_id, from_utc, half_width_h, operating_day, value FROM lab_results
WHERE plant = $plant AND line = $line AND point = 'cake' AND analyte = 'ts' AND is_used AND value IS NOT NULL
  AND operating_day BETWEEN $first AND $last ORDER BY from_utc, sample_id"""
BASELINE_PERIOD = """
SELECT first_day, last_day FROM baseline_periods WHERE plant = $plant AND line = $line AND first_day < $first ORDER BY first_day DESC LIMIT 1"""
# The published range of the baseline's days, where it rests on no day outside them: an earlier week keeps what it was compared with.
USUAL = """
SELECT * FROM usual_ranges WHERE plant = $plant AND line = $line AND arrangement IS NOT DISTINCT FROM $arrangement::VARCHAR AND low IS NOT NULL
  AND first_day >= $first AND last_day <= $last ORDER BY kpi"""
ARRANGEMENTS = (
    "SELECT * FROM arrangement_days WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last ORDER BY operating_day"
)
DAYS = "SELECT * FROM kpi_day WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last ORDER BY operating_day"
WEEKS = "SELECT * FROM kpi_week WHERE plant = $plant AND line = $line AND week_start_day BETWEEN $first AND $last ORDER BY week_start_day"
ROLLING = """
SELECT operating_day, dose_active_kg_t FROM kpi_rolling
WHERE plant = $plant AND line = $line AND window_name = '7 d' AND operating_day BETWEEN $first AND $last ORDER BY operating_day"""
HOURS = """
SELECT operating_day, sludge_flow_m3_h, mixing_dp_kpa FROM kpi_hour WHERE plant = $plant AND line = $line AND operating_day BETWEEN $first AND $last
  AND sludge_flow_m3_h IS NOT NULL AND mixing_dp_kpa IS NOT NULL AND processing_minutes >= 30 ORDER BY period_start_utc"""
PUMP = "SELECT * FROM pump_condition WHERE plant = $plant AND line = $line AND week_start_day BETWEEN $first AND $last ORDER BY week_start_day, pump"
LOTS = "SELECT from_utc, product FROM polymers WHERE plant = $plant AND line = $line AND from_utc >= $begin AND from_utc < $end ORDER BY from_utc"
# Lab rows only: their samples came and were refused, so no result of them is awaited any more.
REFUSED = """
SELECT DISTINCT d.operating_day FROM set_aside s JOIN loads l ON l.plant = s.plant AND l.load_id = s.load_id
JOIN kpi_day d ON d.plant = s.plant AND d.line = $line AND s.first_utc >= d.period_start_utc AND s.first_utc < d.period_end_utc
WHERE s.plant = $plant AND d.operating_day BETWEEN $first AND $last
  AND s.reason IN ('qualifier rejects result', 'inconsistent sample set', 'duplicate disagreement', 'unit implausible')"""
INTEGRITY = "SELECT * FROM meter_integrity WHERE plant = $plant AND line = $line AND week_start_day = $first ORDER BY role"
# Of frozen plans only, the newest computation of each.
COMPARISONS = """
SELECT c.*, p.plan_text, p.last_day FROM comparisons c JOIN comparison_plans p USING (plant, plan, plan_hash)
WHERE c.plant = $plant AND p.is_frozen QUALIFY c.as_of_utc = max(c.as_of_utc) OVER (PARTITION BY c.plan) ORDER BY c.plan, c.outcome"""
RUNNING = """
SELECT * FROM comparison_running WHERE plant = $plant AND NOT is_draft AND through_day <= $last
QUALIFY through_day = max(through_day) OVER (PARTITION BY plan, outcome) ORDER BY plan, outcome"""
PLANT_FILES = """
SELECT plant_file_id, first_used_utc FROM plant_file_versions WHERE plant = $plant AND first_used_utc >= $begin AND first_used_utc < $end
ORDER BY first_used_utc"""


def rows(con: duckdb.DuckDBPyConnection, sql: str, **parameters: Any) -> list[Row]:
    """Return the rows of a question as dictionaries."""
    found: list[Row] = con.sql(sql, params=parameters).pl().to_dicts()
    return found


def has(con: duckdb.DuckDBPyConnection, table: str) -> bool:
    """Return whether the published file has a table or view; older files lack some."""
    return bool(rows(con, "SELECT 1 AS x FROM information_schema.tables WHERE table_name = $name", name=table))
