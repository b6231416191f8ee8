"""Frames of a plan from the plant's store."""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl

from pipelines.compare.plan import Plan
from pipelines.store import Store
from schemas import TABLES

DAY_COLUMNS = (
    "dose_active_kg_t", "dose_reason", "polymer_active_kg", "dry_solids_t", "feed_ts_pct", "vs_pct", "cake_ts_pct", "capture_pct", "filtrate_tss_mg_l",
    "throughput_t_h", "mixing_dp_ref_kpa", "mixing_work_kj_m3", "energy_kwh_t", "processing_minutes", "is_provisional", "feed_ts_age_h", "data_version",
)  # fmt: skip


def days(store: Store, plan: Plan, line: str) -> pl.DataFrame:
    """Return kpi_day of a line in the plan's days, with arrangement, transition, mixing, worst flag, and whether a meter was in doubt.

    Columns: line, operating_day, period_start_utc, `DAY_COLUMNS`, arrangement, is_in_transition, is_mixed, flags, doubt.
    """
    known = set(TABLES["kpi_day"].column_names)
    chosen = ", ".join(f"k.{c}" for c in DAY_COLUMNS if c in known)
    found = store.frame(
        f"""
        SELECT k.line, k.operating_day, k.period_start_utc, {chosen},
          a.arrangement, coalesce(a.is_in_transition, false) AS is_in_transition, coalesce(a.is_mixed, false) AS is_mixed,
          (SELECT list(DISTINCT f.severity) FROM flags f WHERE f.line = k.line AND f.operating_day = k.operating_day
             AND (f.disposition IS NULL OR f.disposition IN ('confirmed', 'data fault', 'unknown'))) AS severities
        FROM kpi_day k
        LEFT JOIN (SELECT line, operating_day, arg_max(arrangement, processing_minutes) AS arrangement, bool_and(is_in_transition) AS is_in_transition,
                     bool_or(is_mixed) AS is_mixed FROM arrangement_days GROUP BY ALL) a
          ON a.line = k.line AND a.operating_day = k.operating_day
        WHERE k.line = $line AND k.operating_day BETWEEN $first AND $last ORDER BY k.operating_day
        """,
        line=line, first=plan.plan.first_day, last=plan.plan.last_day,
    )  # fmt: skip
    for column in DAY_COLUMNS:
        if column not in found.columns:
            found = found.with_columns(pl.lit(None, pl.Float64).alias(column))
    return found.with_columns(pl.Series("doubt", _doubts(store, line, found["operating_day"].to_list()), pl.String))


def _doubts(store: Store, line: str, wanted: list[date]) -> list[str | None]:
    """Return for each day what meter_integrity says against a meter in its week; None: nothing, or no such table yet."""
    if "meter_integrity" not in TABLES:
        return [None] * len(wanted)
    rows = store.rows(
        "SELECT week_start_day, string_agg(role || ': ' || coalesce(reason, 'in doubt'), '; ' ORDER BY role) FROM meter_integrity "
        "WHERE line = $line AND verdict = 'doubted' AND role IN ('sludge_flow', 'polymer_neat_flow', 'polymer_solution_flow') GROUP BY 1",
        {"line": line},
    )
    return [next((why for first, why in rows if 0 <= (day - first).days < 7), None) for day in wanted]


_HISTORY = ("dose_active_kg_t", "cake_ts_pct", "capture_pct", "filtrate_tss_mg_l", "throughput_t_h", "mixing_dp_ref_kpa", "energy_kwh_t")


def history(store: Store, line: str, arm: str, before: date, control_line: str | None = None) -> pl.DataFrame:
    """Return the quiet days of an arrangement before a day, oldest first; with a control line also its values, as `<column>_of_control`."""
    own = _quiet(store, line, before).filter(pl.col("arrangement") == arm).drop("arrangement")
    if control_line is None:
        return own
    other = _quiet(store, control_line, before).drop("arrangement").rename({c: f"{c}_of_control" for c in _HISTORY})
    return own.join(other, on="operating_day").sort("operating_day")


def _quiet(store: Store, line: str, before: date) -> pl.DataFrame:
    return store.frame(
        f"""
        SELECT k.operating_day, a.arrangement, {", ".join(f"k.{c}" for c in _HISTORY)}
        FROM kpi_day k JOIN arrangement_days a ON a.line = k.line AND a.operating_day = k.operating_day
        WHERE k.line = $line AND NOT a.is_mixed AND NOT a.is_in_transition AND k.operating_day < $before
        ORDER BY k.operating_day
        """,
        line=line, before=before,
    )  # fmt: skip


def steps(store: Store, plan: Plan) -> pl.DataFrame:
    """Return the ladder steps of the plan's line and days, with the arrangement that stood from start to end of each (null: none or two)."""
    return store.frame(
        """
        SELECT s.*, CASE WHEN count(a.arrangement) = 1 THEN any_value(a.arrangement) END AS arrangement
        FROM dose_steps s LEFT JOIN arrangements a ON a.line = s.line AND a.from_utc < s.end_utc AND a.to_utc > s.start_utc
        WHERE s.line = $line AND s.first_day BETWEEN $first AND $last GROUP BY ALL ORDER BY s.start_utc
        """,
        line=plan.plan.line, first=plan.plan.first_day, last=plan.plan.last_day,
    )  # fmt: skip


def prices(store: Store, line: str, at: date) -> dict[str, Any] | None:
    """Return prices valid on a day: active polymer per kg, disposal, power, recycle; None where polymer or disposal has no price."""
    found = store.frame(
        """
        SELECT y.price_per_kg_neat / y.active_fraction AS polymer_per_kg, p.disposal_per_wet_t, p.power_per_kwh, p.recycle_per_kg, s.currency
        FROM polymers y JOIN line_settings s ON s.line = y.line
        JOIN prices p ON p.from_utc <= $at::TIMESTAMPTZ AND p.to_utc > $at::TIMESTAMPTZ
        WHERE y.line = $line AND y.from_utc <= $at::TIMESTAMPTZ AND y.to_utc > $at::TIMESTAMPTZ
        """,
        line=line, at=at.isoformat(),
    )  # fmt: skip
    row = found.row(0, named=True) if found.height else None
    return row if row and row["polymer_per_kg"] is not None and row["disposal_per_wet_t"] is not None else None


def pump_weeks(store: Store) -> pl.DataFrame:
    """Return the weekly index of all pumps of the plant, oldest week first, with `last_day`: the last operating day of the plant."""
    return store.frame(
        """
        SELECT line, pump, week_start_day, reference_day, wear_index, slip_index, slip_fraction, data_version,
          (SELECT max(operating_day) FROM kpi_day) AS last_day
        FROM pump_weeks ORDER BY line, pump, week_start_day
        """
    )


def pump_events(store: Store, line: str) -> list[tuple[date, str, str]]:
    """Return day, pump and what of every service of a line's pumps and of every logged event of the line, oldest first."""
    rows = store.rows(
        """
        SELECT operating_day, pump, kind || coalesce(': ' || note, '') FROM service_log WHERE line = $line
        UNION ALL SELECT operating_day, 'the line', what FROM line_events WHERE line = $line ORDER BY 1, 2, 3
        """,
        {"line": line},
    )
    return [(day, pump, what) for day, pump, what in rows]
