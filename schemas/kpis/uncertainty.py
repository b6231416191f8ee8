"""Columns of `kpi_day` that say how well its numbers are known: standard uncertainties (k = 1), in the unit of the number."""

from __future__ import annotations

from schemas.kpis.columns import KPI
from schemas.kpis.model import KpiColumn, ratio

_US = {c.name: form[0] for c in KPI if (form := c.us_form()) is not None}


def _u(name: str, unit: str, description: str) -> KpiColumn:
    """Declare an uncertainty; it bears the name of its number in US units too."""
    number, end = name.partition("_u")[0], name[len(name.partition("_u")[0]) :]
    return ratio(name, unit, description, ge=0, us=_US[number] + end if number in _US else None)


UNCERTAINTY = (
    _u("feed_ts_pct_u", "%", "standard uncertainty of feed_ts_pct: sampling, analysis, the time between samples, and what sampling and lab are always off"),
    _u("dry_solids_t_u", "t", "standard uncertainty of dry_solids_t: feed TS and sludge meter"),
    _u("dry_solids_all_t_u", "t", "standard uncertainty of dry_solids_all_t, as far as its minutes are known: feed TS and sludge meter"),
    _u("polymer_active_kg_u", "kg", "standard uncertainty of polymer_active_kg: polymer meter, active fraction or strength"),
    _u("dose_active_kg_t_u", "kg/t", "standard uncertainty of dose_active_kg_t; about 95 % of doses lie within twice of it, as long as the errors are no larger than uncertainty_inputs says"),
    _u("dose_active_kg_t_u_random", "kg/t", "of it, the part drawn anew each day: it shrinks over days"),
    _u("dose_active_kg_t_u_systematic", "kg/t", "of it, the part that stays: meters, active fraction, bias of the feed TS; it does not shrink"),
    _u("dose_active_kg_t_u_held", "kg/t", "of the random part, what a feed TS held from another day brings; neighbouring days share it"),
    _u("cake_ts_pct_u", "%", "standard uncertainty of cake_ts_pct: sampling and analysis of the samples used"),
    _u("filtrate_tss_mg_l_u", "mg/L", "standard uncertainty of filtrate_tss_mg_l: sampling and analysis of the samples used"),
    _u("capture_pct_u", "%", "standard uncertainty of capture_pct: feed TS, cake TS, filtrate TSS and dilution"),
    _u("mixing_dp_kpa_u", "kPa", "standard uncertainty of mixing_dp_kpa: both gauges"),
    _u("mixing_dp_ref_kpa_u", "kPa", "standard uncertainty of mixing_dp_ref_kpa: both gauges and the sludge meter"),
    _u("energy_kwh_t_u", "kWh/t", "standard uncertainty of energy_kwh_t: power meters and dry solids"),
    _u("cost_total_per_t_u", "currency/t", "standard uncertainty of cost_total_per_t; prices taken as exact"),
    _u("feed_ts_scatter_pct", "%", "how much the feed TS wanders, of its mean: learned from 14 days, the plant file's, or the default"),
)  # fmt: skip
