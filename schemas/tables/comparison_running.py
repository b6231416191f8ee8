"""The figure of each running comparison after each set of its plan."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="comparison_running",
    description="Running figure of each plan after each of its sets, with an interval that stays valid however often it is read, or why there is none.",
    grain="plant, plan, outcome and last day of a set",
    key=("plant", "plan", "outcome", "through_day"),
    step="compare",
    source="fair bets on the drawn order: pipelines/compare/sequential.py; coverage: tests/bench/COVERAGE.md",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("plan", "text", "-", "name of the plan file below plans/, without its ending", nullable=False),
        Column("plan_hash", "text", "-", "hash of the frozen plan; of a draft, of the plan as it was read, marked draft", nullable=False),
        Column("line", "text", "-", "line compared", nullable=False),
        Column("outcome", "text", "-", "what is compared, as in `comparisons`", nullable=False),
        Column("through_day", "date", "-", "last operating day behind the figure", nullable=False),
        Column("sets", "int", "-", "sets with both arms so far", nullable=False, ge=0),
        Column("estimate", "double", "as unit", "running estimate; null when nothing can be said yet"),
        Column("low", "double", "as unit", "lower end of the interval; null when nothing can be said yet"),
        Column("high", "double", "as unit", "upper end of the interval; null when nothing can be said yet"),
        Column("unit", "text", "-", "unit of estimate, low and high", nullable=False),
        Column("level", "double", "%", "coverage of the interval over all of its readings together", nullable=False, ge=0, le=100),
        Column("method", "text", "-", "method of the interval", nullable=False),
        Column("reason", "text", "-", "why there is no interval; null when there is one"),
        Column("planned_last_day", "date", "-", "last operating day of the plan: then `comparisons` has the result", nullable=False),
        Column("is_draft", "bool", "-", "true while the plan is not frozen", nullable=False),
        Column("data_version", "text", "-", "hash of the data versions of all days used", nullable=False),
    ),
)
