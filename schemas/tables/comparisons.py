"""What each plan's comparison says, one row an outcome."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import COMPARISON_VERDICTS

TABLE = Table(
    name="comparisons",
    description="Result of each planned comparison of two arrangements: estimate, interval, verdict and the reason for it.",
    grain="plant, plan, version of the plan and outcome",
    key=("plant", "plan", "plan_hash", "outcome"),
    step="compare",
    source="methods and their measured coverage: pipelines/compare and tests/bench/COVERAGE.md",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("plan", "text", "-", "name of the plan file below plans/, without its ending", nullable=False),
        Column("plan_hash", "text", "-", "hash of the frozen plan; of a draft, of the plan as it was read, marked draft", nullable=False),
        Column("outcome", "text", "-", "what is compared, such as iso-performance saving or cake non-inferiority", nullable=False),
        Column("arm_from", "text", "-", "arrangement compared with", nullable=False),
        Column("arm_to", "text", "-", "arrangement judged", nullable=False),
        Column("estimate", "double", "as unit", "estimate, in the column unit; null when refused"),
        Column("low", "double", "as unit", "lower end of the interval; null: no lower end, or refused"),
        Column("high", "double", "as unit", "upper end of the interval; null: no upper end, or refused"),
        Column("unit", "text", "-", "unit of estimate, low and high", nullable=False),
        Column("level", "double", "%", "nominal coverage of the interval", ge=0, le=100),
        Column("method", "text", "-", "method the interval comes from, the widest of those that count", nullable=False),
        Column("verdict", "text", "-", "shown, not shown, worse or refused", nullable=False, isin=COMPARISON_VERDICTS),
        Column("reason", "text", "-", "rule behind the verdict", nullable=False),
        Column("days_from", "int", "day", "operating days or ladder steps used of arm_from", nullable=False, ge=0),
        Column("days_to", "int", "day", "operating days or ladder steps used of arm_to", nullable=False, ge=0),
        Column("data_version", "text", "-", "hash of the data versions of all days used", nullable=False),
        Column("as_of_utc", "instant", "-", "clock of the run that computed the row", nullable=False),
    ),
)
