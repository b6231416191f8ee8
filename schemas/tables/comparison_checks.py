"""What was tried beside each comparison: gates, second opinions, other choices, money by part."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="comparison_checks",
    description="Checks behind each comparison: gates of the evidence, second opinions, sham switches, other choices, curves, parts of the money.",
    grain="plant, plan, version of the plan, kind and position",
    key=("plant", "plan", "plan_hash", "kind", "position_no"),
    step="compare",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("plan", "text", "-", "name of the plan file below plans/, without its ending", nullable=False),
        Column("plan_hash", "text", "-", "hash of the frozen plan; of a draft, of the plan as it was read, marked draft", nullable=False),
        Column(
            "kind",
            "text",
            "-",
            "evidence, method, raw (a figure not to quote), choice, curve, money, shear, wear or caveat",
            nullable=False,
            isin=("evidence", "method", "raw", "choice", "curve", "money", "shear", "wear", "caveat"),
        ),
        Column("position_no", "int", "-", "position within its kind, from 1", nullable=False, ge=1),
        Column("check_name", "text", "-", "what was tried", nullable=False),
        Column("outcome", "text", "-", "outcome of `comparisons` it belongs to; null: all"),
        Column("estimate", "double", "as unit", "estimate under this choice"),
        Column("low", "double", "as unit", "lower end of the interval"),
        Column("high", "double", "as unit", "upper end of the interval"),
        Column("unit", "text", "-", "unit of estimate, low and high", nullable=False),
        Column("is_passed", "bool", "-", "true when the check does not speak against the result; null: for information"),
        Column("note", "text", "-", "what it says", nullable=False),
    ),
)
