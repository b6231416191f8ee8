"""The views of the published file: columns with unit and description, derived from the tables they show."""

from __future__ import annotations

from dataclasses import replace

from schemas import TABLES
from schemas.model import Column, Table
from schemas.views.balances import BALANCE_VIEWS
from schemas.views.lab import LAB_VIEWS
from schemas.views.logs import LOG_VIEWS
from schemas.views.trust import DOSE_UNCERTAINTY_WEEK, METER_DOUBTS, RESTATEMENTS

# column of the table -> (column of the _us view, unit)
US = {
    "feed_volume_m3": ("feed_volume_gal", "US gal"),
    "feed_volume_all_m3": ("feed_volume_all_gal", "US gal"),
    "sludge_flow_m3_h": ("sludge_flow_gpm", "US gal/min"),
    "sludge_total_m3": ("sludge_total_gal", "US gal"),
    "sludge_total_flow_m3": ("sludge_total_flow_gal", "US gal"),
    "dosed_feed_m3": ("dosed_feed_gal", "US gal"),
    "dry_solids_t": ("dry_short_tons", "short ton"),
    "dry_solids_held_t": ("dry_short_tons_held", "short ton"),
    "dry_solids_sampled_t": ("dry_short_tons_sampled", "short ton"),
    "solids_rate_kg_h": ("solids_rate_lb_h", "lb/h"),
    "throughput_t_h": ("throughput_short_tons_h", "short ton/h"),
    "hydraulic_loading_m3_h_per_m": ("hydraulic_loading_gpm_per_m", "US gal/min/m"),
    "hydraulic_loading_m3_h_per_unit": ("hydraulic_loading_gpm_per_unit", "US gal/min"),
    "solids_loading_kg_h_per_m": ("solids_loading_lb_h_per_m", "lb/h/m"),
    "solids_loading_kg_h_per_unit": ("solids_loading_lb_h_per_unit", "lb/h"),
    "polymer_active_kg": ("polymer_lb_active", "lb"),
    "polymer_neat_kg": ("polymer_lb_neat", "lb"),
    "polymer_neat_all_kg": ("polymer_lb_neat_all", "lb"),
    "polymer_rate_kg_h": ("polymer_rate_lb_h", "lb/h"),
    "dose_active_kg_t": ("dose_lb_active_per_dry_ton", "lb/short dry ton"),
    "dose_neat_kg_t": ("dose_lb_neat_per_dry_ton", "lb/short dry ton"),
    "dose_g_m3": ("dose_lb_per_kgal", "lb/1,000 US gal"),
    "polymer_solution_m3": ("polymer_solution_gal", "US gal"),
    "polymer_solution_feed_m3": ("polymer_solution_feed_gal", "US gal"),
    "polymer_solution_all_m3": ("polymer_solution_all_gal", "US gal"),
    "polymer_total_m3": ("polymer_total_gal", "US gal"),
    "polymer_total_flow_m3": ("polymer_total_flow_gal", "US gal"),
    "recycle_solids_kg": ("recycle_solids_lb", "lb"),
    "cake_wet_t": ("cake_wet_short_tons", "short ton"),
    "pump_dp_kpa": ("pump_dp_psi", "psi"),
    "pump_head_m": ("pump_head_ft", "ft"),
    "mixing_dp_kpa": ("mixing_dp_psi", "psi"),
    "mixing_dp_ref_kpa": ("mixing_dp_ref_psi", "psi"),
    "mixing_feed_m3": ("mixing_feed_gal", "US gal"),
    "suction_margin_kpa": ("suction_margin_psi", "psi"),
    "suction_margin_lowest_kpa": ("suction_margin_lowest_psi", "psi"),
    "seal_water_m3": ("seal_water_gal", "US gal"),
    "seal_water_m3_h": ("seal_water_gph", "US gal/h"),
    "energy_solids_t": ("energy_dry_short_tons", "short ton"),
    "energy_kwh_t": ("energy_kwh_per_dry_ton", "kWh/short dry ton"),
    "wash_water_m3": ("wash_water_gal", "US gal"),
    "wash_water_m3_t": ("wash_water_gal_per_dry_ton", "US gal/short dry ton"),
    "polymer_water_m3": ("polymer_water_gal", "US gal"),
    "polymer_water_m3_t": ("polymer_water_gal_per_dry_ton", "US gal/short dry ton"),
    "energy_all_kwh_t": ("energy_all_kwh_per_dry_ton", "kWh/short dry ton"),
    "wash_water_all_m3": ("wash_water_all_gal", "US gal"),
    "wash_water_all_m3_t": ("wash_water_all_gal_per_dry_ton", "US gal/short dry ton"),
    "polymer_water_all_m3": ("polymer_water_all_gal", "US gal"),
    "polymer_water_all_m3_t": ("polymer_water_all_gal_per_dry_ton", "US gal/short dry ton"),
    "cost_polymer_per_t": ("cost_polymer_per_dry_ton", "currency/short dry ton"),
    "cost_disposal_per_t": ("cost_disposal_per_dry_ton", "currency/short dry ton"),
    "cost_power_per_t": ("cost_power_per_dry_ton", "currency/short dry ton"),
    "cost_water_per_t": ("cost_water_per_dry_ton", "currency/short dry ton"),
    "cost_recycle_per_t": ("cost_recycle_per_dry_ton", "currency/short dry ton"),
    "cost_total_per_t": ("cost_total_per_dry_ton", "currency/short dry ton"),
    # uncertainties of kpi_day
    "dry_solids_t_u": ("dry_short_tons_u", "short ton"),
    "polymer_active_kg_u": ("polymer_lb_active_u", "lb"),
    "dose_active_kg_t_u": ("dose_lb_active_per_dry_ton_u", "lb/short dry ton"),
    "dose_active_kg_t_u_random": ("dose_lb_active_per_dry_ton_u_random", "lb/short dry ton"),
    "dose_active_kg_t_u_systematic": ("dose_lb_active_per_dry_ton_u_systematic", "lb/short dry ton"),
    "dose_active_kg_t_u_held": ("dose_lb_active_per_dry_ton_u_held", "lb/short dry ton"),
    "mixing_dp_kpa_u": ("mixing_dp_psi_u", "psi"),
    "mixing_dp_ref_kpa_u": ("mixing_dp_ref_psi_u", "psi"),
    "energy_kwh_t_u": ("energy_kwh_per_dry_ton_u", "kWh/short dry ton"),
    "cost_total_per_t_u": ("cost_total_per_dry_ton_u", "currency/short dry ton"),
    "cost_total_all_per_t": ("cost_total_all_per_dry_ton", "currency/short dry ton"),
}
# column of minutes -> (column of minutes_us, unit); columns of other roles stay as they are, their unit in the name
US_MINUTES = {
    "sludge_flow_m3_h": ("sludge_flow_gpm", "US gal/min"),
    "polymer_neat_flow_m3_h": ("polymer_neat_flow_gph", "US gal/h"),
    "polymer_solution_flow_m3_h": ("polymer_solution_flow_gpm", "US gal/min"),
    "dilution_water_flow_m3_h": ("dilution_water_flow_gpm", "US gal/min"),
    "wash_water_flow_m3_h": ("wash_water_flow_gpm", "US gal/min"),
    "seal_water_flow_m3_h": ("seal_water_flow_gpm", "US gal/min"),
    "pump_suction_pressure_kpa": ("pump_suction_pressure_psi", "psi"),
    "pump_discharge_pressure_kpa": ("pump_discharge_pressure_psi", "psi"),
    "mixing_upstream_pressure_kpa": ("mixing_upstream_pressure_psi", "psi"),
    "mixing_downstream_pressure_kpa": ("mixing_downstream_pressure_psi", "psi"),
    "sludge_total_m3": ("sludge_total_gal", "US gal"),
    "polymer_total_m3": ("polymer_total_gal", "US gal"),
}
_LOCAL = "in plant time; the repeated hour in autumn shows twice"


def _us(table: Table) -> Table:
    columns: list[Column] = []
    for c in table.columns:
        name, unit = US.get(c.name, (c.name, c.unit))
        columns.append(replace(c, name=name, unit=unit))
        if c.name.endswith("_utc"):
            columns.append(Column(c.name.replace("_utc", "_local"), "local", "-", f"{c.description}, {_LOCAL}"))
    return replace(table, name=f"{table.name}_us", description=f"{table.description} In US units.", columns=tuple(columns))


def _local(table: Table, *names: str) -> Table:
    first = tuple(Column(n.replace("_utc", "_local"), "local", "-", f"{n.removesuffix('_utc')} {_LOCAL}") for n in names)
    return replace(table, name=f"{table.name}_local", description=f"{table.description} With plant time.", columns=first + table.columns)


def _minutes_us(table: Table) -> Table:
    """Return minutes_local with the columns named in US_MINUTES in US units."""
    named = {c.name: US_MINUTES.get(c.name, (c.name, c.unit)) for c in table.columns}
    columns = tuple(replace(c, name=named[c.name][0], unit=named[c.name][1]) for c in table.columns)
    return replace(table, name="minutes_us", description=f"{table.description} In US units.", columns=columns)


VIEWS: dict[str, Table] = {
    view.name: view
    for view in (
        *(_us(TABLES[name]) for name in ("kpi_hour", "kpi_shift", "kpi_day", "kpi_week", "kpi_rolling")),
        _local(TABLES["minutes"], "minute_utc"),
        _minutes_us(_local(TABLES["minutes"], "minute_utc")),
        _local(TABLES["flags"], "start_utc", "end_utc"),
        *LAB_VIEWS,
        *LOG_VIEWS,
        DOSE_UNCERTAINTY_WEEK,
        RESTATEMENTS,
        METER_DOUBTS,
        *BALANCE_VIEWS,
    )
}
