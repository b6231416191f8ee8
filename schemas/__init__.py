"""The tables of flocledger, one module a table; `TABLES` is the registry, in the order they are written."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables import (
    arrangement_days,
    arrangements,
    baseline_periods,
    clock_steps,
    comparison_checks,
    comparison_days,
    comparison_plans,
    comparisons,
    corrections,
    corrections_applied,
    corrections_seen,
    data_quality,
    dictionary,
    dispositions,
    dose_steps,
    flags,
    kpi_catalogue,
    kpi_day,
    kpi_day_history,
    kpi_hour,
    kpi_rolling,
    kpi_shift,
    kpi_week,
    lab_results,
    lab_results_history,
    ladder_steps,
    line_day,
    line_events,
    line_limits,
    line_settings,
    load_days,
    load_numbers,
    loads,
    minutes,
    packed_readings,
    pending_days,
    pending_hours,
    planned_times,
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
    set_aside_results,
    set_aside_values,
    signal_marks,
    tag_numbers,
    uncertainty_inputs,
    untied_tags,
)

TABLES: dict[str, Table] = {
    module.TABLE.name: module.TABLE
    for module in (
        plant_file_versions, line_settings, planned_times, polymers, prices, uncertainty_inputs,
        arrangements, line_limits, service_log, pump_baselines, ladder_steps, baseline_periods, line_events,
        loads, load_days, clock_steps, untied_tags, set_aside, tag_numbers, load_numbers, packed_readings, readings, readings_history,
        lab_results, lab_results_history, pending_hours, pending_days,
        set_aside_values, set_aside_results, dispositions, corrections, corrections_applied, corrections_seen,
        minutes, runs, kpi_hour, kpi_shift, kpi_day, kpi_week, kpi_rolling, data_quality, flags, signal_marks, line_day, pump_weeks, dose_steps,
        arrangement_days,
        comparison_plans, comparisons, comparison_days, comparison_checks,
        kpi_day_history, kpi_catalogue, dictionary,
    )
}  # fmt: skip

__all__ = ["TABLES", "Column", "Table"]
