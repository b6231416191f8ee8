"""What each line did on each operating day outside the gates of the KPIs: all feed, all polymer, exposure."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="line_day",
    description="What passed a line on an operating day in all its running minutes, start-up included.",
    grain="plant, line and operating day",
    key=("plant", "line", "operating_day"),
    step="compute",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False),
        Column("running_minutes", "int", "min", "minutes in a running state (idle running, start-up, processing)", nullable=False, ge=0),
        Column("flow_known_minutes", "int", "min", "of those with the sludge flow covered for half or more", nullable=False, ge=0),
        Column("polymer_known_minutes", "int", "min", "of those with the polymer meter covered and density or strength known", nullable=False, ge=0),
        Column("fed_running_m3", "double", "m3", "sludge fed in the running minutes with known flow"),
        Column("polymer_neat_all_kg", "double", "kg", "polymer as supplied, all minutes with a known meter, running or not"),
        Column("dry_run_minutes", "int", "min", "minutes with the pump on and the flow below cut-off or the suction below its minimum; null: not known"),
        Column("feed_on_utc", "instant", "-", "first minute of the first start-up seen on the day; null when none began"),
        Column("lab_coverage", "double", "-", "share of the feed volume in valid minutes whose feed TS comes from a sample within 24 h", ge=0, le=1),
        Column("data_version", "text", "-", "hash of the inputs of the operating day", nullable=False),
    ),
)  # fmt: skip
