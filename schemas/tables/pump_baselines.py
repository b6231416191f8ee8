"""The commissioning reference of each feed pump over time, from the plant file."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="pump_baselines",
    description="Which commissioning reference a feed pump is compared with at each time; spans without a reference say why.",
    grain="plant, line, pump and effective date",
    key=("plant", "line", "pump", "from_utc"),
    step="compute",
    source="quadratic pump curve and slip through the origin by least squares; textbook forms, from memory",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line the pump feeds", nullable=False),
        Column("pump", "text", "-", "pump id", nullable=False),
        Column("from_utc", "instant", "-", "valid from", nullable=False),
        Column("to_utc", "instant", "-", "valid until (exclusive); far future when open", nullable=False),
        Column("no_reference", "text", "-", "why there is no reference in this span; null when there is one"),
        Column("measured_day", "date", "-", "operating day of the commissioning test"),
        Column("reference_speed_rpm", "double", "rpm", "speed of the pump curve (rotodynamic)"),
        Column("head_c0_m", "double", "m", "pump curve at the reference speed: H = c0 + c1 Q + c2 Q2, Q in m3/h (rotodynamic)"),
        Column("head_c1", "double", "m/(m3/h)", "pump curve, linear term"),
        Column("head_c2", "double", "m/(m3/h)2", "pump curve, quadratic term"),
        Column("curve_low_m3_h", "double", "m3/h", "lowest flow of the points behind the curve; null: given as coefficients"),
        Column("curve_high_m3_h", "double", "m3/h", "highest flow of the points behind the curve; null: given as coefficients"),
        Column("curve_rms_m", "double", "m", "root mean square distance of the points from the curve; null: given as coefficients"),
        Column("displacement_m3_rev", "double", "m3/rev", "flow a revolution at no pressure difference (displacement)"),
        Column(
            "slip_form", "text", "-", "how slip grows with the pressure difference: linear or sqrt (displacement)", isin=("linear", "sqrt")
        ),
        Column("slip_k0", "double", "m3/h per kPa (linear) or per root kPa (sqrt)", "slip coefficient at commissioning (displacement)"),
        Column("ts_low_pct", "double", "%", "feed TS below which minutes are not compared; null: no window"),
        Column("ts_high_pct", "double", "%", "feed TS above which minutes are not compared; null: no window"),
    ),
)
