"""Settings of each line that the SQL needs, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import DEVICES, PUMP_KINDS

TABLE = Table(
    name="line_settings",
    description="Settings of each line as the plant file gives them now.",
    grain="plant and line",
    key=("plant", "line"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("plant_name", "text", "-", "plant name", nullable=False),
        Column("line_name", "text", "-", "line name", nullable=False),
        Column("time_zone", "text", "-", "IANA time zone of the plant", nullable=False),
        Column(
            "operating_day_start_h",
            "double",
            "h",
            "hour after local midnight at which the operating day begins",
            nullable=False,
            ge=0,
            le=23.99,
        ),
        Column("week_start", "int", "-", "ISO weekday on which the reporting week begins (1 Monday)", nullable=False, ge=1, le=7),
        Column("units", "text", "-", "preferred units: US or SI", nullable=False, isin=("US", "SI")),
        Column("currency", "text", "-", "currency of the prices", nullable=False),
        Column("device", "text", "-", "kind of dewatering unit", nullable=False, isin=DEVICES),
        Column("device_width_m", "double", "m", "belt width; null when the device has none"),
        Column("pump_kind", "text", "-", "rotodynamic or displacement", nullable=False, isin=PUMP_KINDS),
        Column("startup_min", "double", "min", "minutes after feed-on that count as start-up", nullable=False, ge=0),
        Column("feed_cutoff_m3_h", "double", "m3/h", "feed flow below which no sludge counts as fed", nullable=False, ge=0),
        Column(
            "polymer_cutoff_m3_h", "double", "m3/h", "flow of the polymer meter below which no polymer counts as fed", nullable=False, ge=0
        ),
        Column("sludge_sg", "double", "-", "specific gravity of the feed sludge", nullable=False, ge=0.9, le=1.3),
        Column(
            "polymer_meter", "text", "-", "which polymer flow carries the dose: neat or solution", nullable=False, isin=("neat", "solution")
        ),
        Column("reference_flow_m3_h", "double", "m3/h", "flow at which mixing pressure is reported", nullable=False, ge=0),
        Column("pump_elevation_m", "double", "m", "height of the discharge gauge above the suction gauge", nullable=False),
        Column(
            "mixing_elevation_m",
            "double",
            "m",
            "height of the downstream gauge above the upstream gauge at the mixing point",
            nullable=False,
        ),
        Column("suction_pipe_m", "double", "m", "inner diameter of the suction pipe at the gauge; null: velocity head left out"),
        Column("discharge_pipe_m", "double", "m", "inner diameter of the discharge pipe at the gauge; null: velocity head left out"),
        Column(
            "solids_hold_tau_h", "double", "h", "time constant with which a held feed TS relaxes to its 14-day median", nullable=False, ge=0
        ),
        Column("solids_hold_limit_h", "double", "h", "age after which a held feed TS is no longer used", nullable=False, ge=0),
        Column(
            "dilution_counted",
            "text",
            "-",
            "what dilutes the filtrate: none, polymer, or polymer and wash",
            nullable=False,
            isin=("none", "polymer", "polymer and wash"),
        ),
        Column("suction_minimum_kpa", "double", "kPa", "suction pressure below which the pump counts as starved; null when not given"),
        Column(
            "discharge_maximum_kpa", "double", "kPa", "discharge pressure above which the pump counts as deadheaded; null when not given"
        ),
        Column("drive_efficiency", "double", "-", "motor and drive efficiency assumed; null when not given", ge=0, le=1),
        Column("mixing_volume_l", "double", "L", "volume in which the mixing pressure drop is spent; null when not given"),
        Column("sludge_viscosity_mpa_s", "double", "mPa s", "sludge viscosity assumed for G and Gt; null when not given"),
        Column("polymer_tank_m3", "double", "m3", "volume of the polymer solution tank; null when not given"),
        Column("register_flows", "text", "-", "roles of flows that a register tells, for want of a meter; null when there are none"),
        Column("shared_roles", "text", "-", "roles of polymer meters that other lines read too; null when there are none"),
        Column("shared_group", "text", "-", "all lines that read them"),
        Column("shared_with", "text", "-", "those of them that are other lines"),
        Column(
            "shared_split",
            "text",
            "-",
            "how the meter's flow is split between lines that feed",
            isin=("by sludge flow", "by dry solids", "refuse"),
        ),
    ),
)
