"""Whether the witnesses of each meter agree with it, by reporting week."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.roles import ROLES

VERDICTS = ("agrees", "doubted", "not testable")
TABLE = Table(
    name="meter_integrity",
    description="What the witnesses of each meter say of it: register, pump, tickets, stock, reference flow, laboratory.",
    grain="plant, line, role and reporting week",
    key=("plant", "line", "role", "week_start_day"),
    step="watch",
    source="mass balance and pump laws; the limits of each witness are common practice, no source (pipelines/watch/integrity/witnesses.py)",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("role", "text", "-", "sludge_flow, the polymer flow that carries the dose, or feed_solids (the feed TS the dose rests on, laboratory or online)",
               nullable=False, isin=tuple(ROLES)),
        Column("week_start_day", "date", "-", "first operating day of the reporting week", nullable=False),
        Column("verdict", "text", "-", "agrees, doubted, or not testable when no witness could speak", nullable=False, isin=VERDICTS),
        Column("witnesses", "bigint", "-", "witnesses that could speak", nullable=False, ge=0),
        Column("deviation_pct", "double", "%", "largest deviation of the meter from a witness, signed: above 0 the meter reads high; null when none could speak"),
        Column("reason", "text", "-", "which witness disagrees and how; null when none does"),
        Column("evidence", "text", "-", "the numbers of every witness, as JSON", nullable=False),
        Column("data_version", "text", "-", "hash of the loads and the plant file behind the week", nullable=False),
    ),
)  # fmt: skip
