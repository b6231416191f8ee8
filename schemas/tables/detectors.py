"""The detectors of the watch in words."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import SEVERITIES

TABLE = Table(
    name="detectors",
    description="Every detector of the watch: what it looks at, how, how urgent its flags are, and what to check.",
    grain="detector",
    key=("detector",),
    step="publish",
    source="event catalogue of this trade; causes and checks common practice, no source",
    columns=(
        Column("detector", "text", "-", "name, as in flags", nullable=False),
        Column("number", "int", "-", "number in the event catalogue; null when it has none", ge=1),
        Column("severity", "text", "-", "the highest severity of its flags", nullable=False, isin=SEVERITIES),
        Column("roles", "text", "-", "what it looks at", nullable=False),
        Column("method", "text", "-", "how it decides", nullable=False),
        Column("causes", "text", "-", "likely causes", nullable=False),
        Column("check_first", "text", "-", "what to look at first", nullable=False),
        Column("caution", "text", "-", "what to mind while checking; empty when there is nothing to say", nullable=False),
    ),
)
