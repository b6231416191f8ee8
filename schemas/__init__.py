"""The tables of flocledger, one module a table; `TABLES` is the registry, in the order they are written."""

from __future__ import annotations

from schemas import (
    corrections,
    corrections_applied,
    corrections_seen,
    data_quality,
    dictionary,
    dispositions,
    flags,
    kpi_day,
    kpi_hour,
    kpi_rolling,
    kpi_shift,
    kpi_week,
    lab_results,
    lab_results_history,
    line_settings,
    load_days,
    loads,
    minutes,
    pending_days,
    pending_hours,
    plant_file_versions,
    polymers,
    prices,
    readings,
    readings_history,
    runs,
    set_aside,
    set_aside_results,
    set_aside_values,
)
from schemas.model import Column, Table

TABLES: dict[str, Table] = {
    module.TABLE.name: module.TABLE
    for module in (
        plant_file_versions, line_settings, polymers, prices,
        loads, load_days, set_aside, readings, readings_history, lab_results, lab_results_history, pending_hours, pending_days,
        set_aside_values, set_aside_results, dispositions, corrections, corrections_applied, corrections_seen,
        minutes, runs, kpi_hour, kpi_shift, kpi_day, kpi_week, kpi_rolling, data_quality, flags, dictionary,
    )
}  # fmt: skip

__all__ = ["TABLES", "Column", "Table"]
