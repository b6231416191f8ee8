"""The readings as the store keeps them: numbers in the place of texts; `readings` is the view that spells them out."""

from __future__ import annotations

from schemas.model import Column, Table

# They come in by tag and time, a load at a time: runs of equal numbers, and times a step apart. Trying all ways of compression on them
# takes a quarter of the time of writing and finds these. Values are as different as signals: DuckDB chooses.
_RUNS, _STEPS = "rle", "bitpacking"

TABLE = Table(
    name="packed_readings",
    description="Readings with the numbers of tag and load; written and read at a third of the cost of texts.",
    grain="tag and time",
    key=("tag_no", "time_utc"),
    step="check",
    published=False,
    columns=(
        Column("tag_no", "int", "-", "number of the tag in tag_numbers", nullable=False, ge=1, compression=_RUNS),
        Column(
            "time_utc",
            "instant",
            "-",
            "time of the reading; for interval data the start of the interval",
            nullable=False,
            compression=_STEPS,
        ),
        Column("value", "double", "SI unit of the role", "value in the internal unit; 0 or 1 for states; null when bad"),
        Column("quality", "code", "-", "0 good, 1 uncertain, 2 bad (OPC UA severities)", nullable=False, ge=0, le=2, compression=_RUNS),
        Column("load_no", "int", "-", "number of the load in load_numbers", nullable=False, ge=1, compression=_RUNS),
    ),
)
