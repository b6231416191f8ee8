"""What each step of a dose ladder gave."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="dose_steps",
    description="Dose, cake and capture of each step of a dose ladder, after the washout.",
    grain="plant, line and step",
    key=("plant", "line", "start_utc"),
    step="compute",
    source="ratio of totals over valid minutes; the gate of 30 minutes is common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("ladder", "text", "-", "name of the ladder", nullable=False),
        Column("step_no", "int", "-", "number of the step in its ladder, from 1", nullable=False, ge=1),
        Column("start_utc", "instant", "-", "start of the step", nullable=False),
        Column("end_utc", "instant", "-", "end of the step", nullable=False),
        Column("first_day", "date", "-", "operating day of the start", nullable=False),
        Column("last_day", "date", "-", "operating day of the last minute", nullable=False),
        Column(
            "washout_min",
            "double",
            "min",
            "time after the start that does not count: what was in the line before must leave first",
            nullable=False,
        ),
        Column(
            "valid_minutes",
            "int",
            "min",
            "processing minutes after the washout with flows, feed TS and strength known",
            nullable=False,
            ge=0,
        ),
        Column("dry_solids_t", "double", "t", "dry solids in those minutes"),
        Column("polymer_active_kg", "double", "kg", "active polymer in those minutes"),
        Column("dose_active_kg_t", "double", "kg/t", "active polymer / dry solids"),
        Column("feed_ts_pct", "double", "%", "feed TS weighted by mass"),
        Column("cake_ts_pct", "double", "%", "mean of the step's cake samples"),
        Column(
            "cake_samples",
            "int",
            "-",
            "cake samples taken after the washout, or spread over days that lie in the step",
            nullable=False,
            ge=0,
        ),
        Column("filtrate_tss_mg_l", "double", "mg/L", "mean of the step's filtrate samples"),
        Column("filtrate_samples", "int", "-", "filtrate samples, counted likewise", nullable=False, ge=0),
        Column("dilution_ratio", "double", "-", "water that dilutes the filtrate per volume of feed"),
        Column("capture_pct", "double", "%", "solids captured, from the step's samples and dilution"),
        Column("capture_undiluted_pct", "double", "%", "solids captured, as if no water diluted the filtrate"),
        Column(
            "mixing_energy_kj_m3",
            "double",
            "kJ/m3",
            "mixing pressure drop weighted by flow: specific mixing energy; null without both pressures",
        ),
        Column("step_reason", "text", "-", "why the step has no dose, or no cake; null when it can stand on a dose curve"),
        Column("data_version", "text", "-", "hash of the inputs of the step's operating days", nullable=False),
    ),
)
