"""From a printed saving back to its plan and to the days or ladder steps behind it. Sits beside `trace`, which goes on from a day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipelines.base.errors import DataMissingError, UsageError
from pipelines.base.home import Home
from pipelines.store import connect

_Row = dict[str, Any]


@dataclass(frozen=True)
class ComparisonTrace:
    """An outcome as stated last, its plan, the days behind it, and how many each rule left out."""

    outcome: _Row
    plan: _Row
    days: tuple[_Row, ...]
    left_out: tuple[tuple[str, int], ...]


def run(home: Home, plant: str, plan: str, outcome: str) -> ComparisonTrace:
    """Return the trace of an outcome of a plan; DataMissingError without such a plan, UsageError naming the outcomes there are."""
    con = connect(home.database, read_only=True)
    try:
        key: _Row = {"plant": plant, "plan": plan}
        plans = _rows(con, "SELECT * FROM comparison_plans WHERE plant = $plant AND plan = $plan ORDER BY as_of_utc DESC LIMIT 1", key)
        if not plans:
            raise DataMissingError(f"no comparison of {plan} at {plant} is published", remedy="run `flocledger compare PLAN` first")
        key["hash"] = plans[0]["plan_hash"]
        where = "WHERE plant = $plant AND plan = $plan AND plan_hash = $hash"
        outcomes = {r["outcome"]: r for r in _rows(con, f"SELECT * FROM comparisons {where} ORDER BY outcome", key)}
        if outcome not in outcomes:
            raise UsageError(f"{plan} has no outcome {outcome!r}", remedy=f"outcomes: {', '.join(outcomes)}")
        days = _rows(con, f"SELECT * FROM comparison_days {where} AND is_used ORDER BY start_utc, line", key)
        counted = _rows(
            con, f"SELECT left_out, count(*) AS n FROM comparison_days {where} AND NOT is_used GROUP BY ALL ORDER BY n DESC, left_out", key
        )
    finally:
        con.close()
    return ComparisonTrace(outcomes[outcome], plans[0], tuple(days), tuple((r["left_out"] or "-", r["n"]) for r in counted))


def _rows(con: Any, sql: str, params: _Row) -> list[_Row]:
    found = con.execute(sql, params)
    names = [d[0] for d in found.description]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]
