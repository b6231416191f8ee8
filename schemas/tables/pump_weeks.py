"""What the processing minutes of a reporting week say of each feed pump."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="pump_weeks",
    description="Wear or slip against the commissioning reference and system curve of each line's feed pump by reporting week with processing; the view pump_condition adds hours and starts.",
    grain="plant, line, pump and week",
    key=("plant", "line", "pump", "week_start_day"),
    step="compute",
    source="affinity laws and slip of displacement pumps, trade textbooks from memory; windows and the 5 h gate common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line the pump feeds", nullable=False),
        Column("pump", "text", "-", "pump id: two pumps that alternate on a line have a row each", nullable=False),
        Column("week_start_day", "date", "-", "first operating day of the reporting week", nullable=False),
        Column("processing_minutes", "int", "min", "processing minutes of the week with this pump in service", nullable=False, ge=0),
        Column("arrangement", "text", "-", "arrangement of the week's processing minutes; null: none declared, or several"),
        Column("arrangement_note", "text", "-", "as kpi_week"),
        Column("reference_day", "date", "-", "operating day of the commissioning test compared with; null: none"),
        Column(
            "index_minutes", "int", "min", "minutes within the windows of speed and feed TS that the index rests on", nullable=False, ge=0
        ),
        Column("index_days", "int", "day", "operating days those minutes fall on", nullable=False, ge=0),
        Column("flow_at_reference_speed_m3_h", "double", "m3/h", "median flow at the reference speed, affinity laws (rotodynamic)"),
        Column("head_at_reference_speed_m", "double", "m", "median total head at the reference speed, affinity laws (rotodynamic)"),
        Column("wear_index", "double", "-", "median of head at reference speed / commissioning head at the same flow (rotodynamic)"),
        Column("slip_flow_m3_h", "double", "m3/h", "median slip flow: displacement x speed - flow (displacement)"),
        Column("slip_fraction", "double", "-", "median share of the displaced flow that slips back (displacement)"),
        Column("slip_index", "double", "-", "median slip coefficient / that at commissioning (displacement)"),
        Column("index_p25", "double", "-", "quarter of the minutes lie below: scatter of the index"),
        Column("index_p75", "double", "-", "quarter of the minutes lie above: scatter of the index"),
        Column(
            "index_se",
            "double",
            "-",
            "standard error of the index from the scatter of its daily medians, without errors of the meters; null under three days",
        ),
        Column(
            "index_u_systematic",
            "double",
            "-",
            "standard uncertainty of the index from the flow and pressure meters: it stays from week to week, no mean lessens it",
        ),
        Column("index_reason", "text", "-", "why the index is null"),
        Column("system_p0_kpa", "double", "kPa", "discharge pressure at no flow from the fit P = P0 + k Q2"),
        Column("system_k", "double", "kPa/(m3/h)2", "rise of the discharge pressure with the flow squared, from the same fit"),
        Column("system_minutes", "int", "min", "minutes with flow and discharge pressure", nullable=False, ge=0),
        Column("system_reason", "text", "-", "why the system curve is null"),
        Column("wire_to_water_pct", "double", "%", "hydraulic work / electrical energy over the minutes with both"),
        Column("data_version", "text", "-", "hash of the inputs of the week", nullable=False),
    ),
)
