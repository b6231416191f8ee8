"""Checked readings, the latest valid version of each tag and time."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="readings",
    description="Checked values of every tag in SI units; a value set aside leaves a bad reading without value, so that nothing is held across it.",
    grain="plant, tag and time",
    key=("plant", "tag", "time_utc"),
    step="check",
    parquet_by="time_utc",
    view="""SELECT l.plant, t.tag, r.time_utc, r.value, r.quality, l.load_id
FROM main.packed_readings r JOIN main.tag_numbers t USING (tag_no) JOIN main.load_numbers l USING (load_no)""",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("tag", "text", "-", "the plant's name of the signal", nullable=False),
        Column("time_utc", "instant", "-", "time of the reading; for interval data the start of the interval", nullable=False),
        Column("value", "double", "SI unit of the role", "value in the internal unit; 0 or 1 for states; null when bad"),
        Column("quality", "code", "-", "0 good, 1 uncertain, 2 bad (OPC UA severities)", nullable=False, ge=0, le=2),
        Column("load_id", "text", "-", "load it came with", nullable=False),
    ),
)
