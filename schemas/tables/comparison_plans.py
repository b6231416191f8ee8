"""The plan behind each comparison, as it was when the comparison was computed."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="comparison_plans",
    description="Plan of each comparison: question, design, freezing, amendments and the words the statement prints.",
    grain="plant, plan and version of the plan",
    key=("plant", "plan", "plan_hash"),
    step="compare",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("plan", "text", "-", "name of the plan file below plans/, without its ending", nullable=False),
        Column("plan_hash", "text", "-", "hash of the frozen plan; of a draft, of the plan as it was read, marked draft", nullable=False),
        Column("line", "text", "-", "line compared", nullable=False),
        Column("question", "text", "-", "question of the plan", nullable=False),
        Column("design", "text", "-", "design of the plan", nullable=False),
        Column("arm_from", "text", "-", "arrangement compared with", nullable=False),
        Column("arm_to", "text", "-", "arrangement judged", nullable=False),
        Column("first_day", "date", "-", "first operating day looked at; null: no data"),
        Column("last_day", "date", "-", "last operating day looked at; null: no data"),
        Column("is_frozen", "bool", "-", "true when the plan was frozen before the comparison", nullable=False),
        Column("frozen_utc", "instant", "-", "when the plan was frozen; null for a draft"),
        Column("amendments", "text", "-", "numbered amendments since freezing; null: none"),
        Column("units", "text", "-", "units of the statement, US or SI", nullable=False),
        Column("method_text", "text", "-", "method in one paragraph", nullable=False),
        Column("not_claimed", "text", "-", "what the plan does not claim", nullable=False),
        Column("plan_text", "text", "-", "the plan file as read", nullable=False),
        Column("data_version", "text", "-", "hash of the data versions of all days used", nullable=False),
        Column("as_of_utc", "instant", "-", "clock of the run that computed the row", nullable=False),
    ),
)
