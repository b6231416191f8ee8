"""The tables of flocledger, one module a table; `TABLES` is the registry, in the order they are written."""

from __future__ import annotations

from schemas import (
    baseline_periods,
    data_quality,
    dictionary,
    dose_steps,
    flags,
    kpi_day,
    kpi_hour,
    kpi_rolling,
    kpi_shift,
    kpi_week,
    lab_results,
    lab_results_history,
    ladder_steps,
    line_day,
    line_limits,
    line_settings,
    load_days,
    loads,
    minutes,
    pending_days,
    pending_hours,
    plant_file_versions,
    polymers,
    prices,
    pump_baselines,
    pump_weeks,
    readings,
    readings_history,
    runs,
    service_log,
    set_aside,
)
from schemas.model import Column, Table

TABLES: dict[str, Table] = {
    module.TABLE.name: module.TABLE
    for module in (
        plant_file_versions, line_settings, polymers, prices,
        line_limits, service_log, pump_baselines, ladder_steps, baseline_periods,
        loads, load_days, set_aside, readings, readings_history, lab_results, lab_results_history, pending_hours, pending_days,
        minutes, runs, kpi_hour, kpi_shift, kpi_day, kpi_week, kpi_rolling, data_quality, flags, dictionary,
        line_day, pump_weeks, dose_steps,
    )
}  # fmt: skip

__all__ = ["TABLES", "Column", "Table"]
