"""What the uncertainty of a day's KPIs is made of, from the plant file or its defaults."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="uncertainty_inputs",
    description="Standard uncertainties (k = 1) of meters, lab and polymer behind the _u columns of kpi_day, as the plant file says now.",
    grain="plant, line, quantity and effective date",
    key=("plant", "line", "quantity", "from_utc"),
    step="compute",
    source="the plant file; where it is silent a default that is common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column(
            "quantity", "text", "-",
            "role of a meter, or: feed ts sampling, feed ts analysis, feed ts scatter, feed ts untimed, cake ts sampling, cake ts analysis, "
            "filtrate tss sampling, filtrate tss analysis, filtrate tss grab, active fraction, solution strength, strength batch", nullable=False,
        ),
        Column("from_utc", "instant", "-", "valid from", nullable=False),
        Column("to_utc", "instant", "-", "valid until (exclusive)", nullable=False),
        Column("systematic_pct", "double", "%", "part that stays from day to day, of the value (a gain)", nullable=False, ge=0),
        Column("systematic_abs", "double", "as unit", "part that stays from day to day (an offset)", nullable=False, ge=0),
        Column("random_pct", "double", "%", "part drawn anew each minute, sample or batch, of the value; feed ts untimed: 100 a grab, 0 a composite", nullable=False, ge=0),
        Column("random_abs", "double", "as unit", "part drawn anew each sample", nullable=False, ge=0),
        Column("tau_h", "double", "h", "time constant of the random part; 0 when it has none", nullable=False, ge=0),
        Column("unit", "text", "-", "unit of the absolute parts", nullable=False),
        Column("basis", "text", "-", "plant file, or default", nullable=False, isin=("plant file", "default")),
    ),
)  # fmt: skip
