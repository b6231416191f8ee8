"""What each line's meters said of each other on each operating day: the evidence behind `meter_integrity`."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="meter_days",
    description="Sums and medians of the minutes in which two meters of a line can be compared, by operating day.",
    grain="plant, line and operating day",
    key=("plant", "line", "operating_day"),
    step="watch",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("flow_minutes", "int", "min", "processing minutes with the sludge flow known", nullable=False, ge=0),
        Column("flow_median_m3_h", "double", "m3/h", "median sludge flow of these minutes"),
        Column("pump_minutes", "int", "min", "processing minutes with sludge flow and pump speed known", nullable=False, ge=0),
        Column("pumped_m3", "double", "m3", "sludge flow summed over these minutes"),
        Column("revolutions", "double", "rev", "pump speed summed over these minutes"),
        Column("duty_minutes", "int", "min", "of these with both pump pressures known", nullable=False, ge=0),
        Column("duty_flow_m3_h", "double", "m3/h", "median sludge flow of the duty minutes"),
        Column("duty_speed_rpm", "double", "rpm", "median pump speed of the duty minutes"),
        Column("duty_rise_kpa", "double", "kPa", "median discharge less suction gauge pressure of the duty minutes"),
        Column("duty_rise_mean_kpa", "double", "kPa", "mean of the same"),
        Column("sludge_register_minutes", "int", "min", "running minutes with the sludge register and the sludge flow known", nullable=False, ge=0),
        Column("sludge_register_m3", "double", "m3", "increments of the sludge register in these minutes"),
        Column("sludge_rate_m3", "double", "m3", "sludge flow summed over the same minutes"),
        Column("polymer_register_minutes", "int", "min", "running minutes with the polymer register and its one meter known", nullable=False, ge=0),
        Column("polymer_register_m3", "double", "m3", "increments of the polymer register in these minutes"),
        Column("polymer_rate_m3", "double", "m3", "polymer flow summed over the same minutes"),
        Column("online_ts_minutes", "int", "min", "processing minutes with the online feed solids known", nullable=False, ge=0),
        Column("online_ts_pct", "double", "%", "median online feed solids of these minutes"),
        Column("data_version", "text", "-", "hash of the loads and the plant file behind the row", nullable=False),
    ),
)  # fmt: skip
