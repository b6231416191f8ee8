"""What a savings statement reads: the rows of one plan, from the published file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.store import connect

if TYPE_CHECKING:
    import duckdb

Row = dict[str, Any]


@dataclass(frozen=True)
class Statement:
    """The rows of a plan; `settings` are the line's."""

    plan: Row
    settings: Row
    outcomes: tuple[Row, ...]
    days: tuple[Row, ...]
    checks: tuple[Row, ...]
    invented: bool

    def of_kind(self, kind: str) -> list[Row]:
        return [c for c in self.checks if c["kind"] == kind]


def statement(home: Home, plant: str, plan: str, plan_hash: str) -> Statement:
    """Return the rows of a plan and hash; DataMissingError when none are published."""
    con = connect(home.published_of(plant), read_only=True)
    try:
        key = {"plant": plant, "plan": plan, "hash": plan_hash}
        where = "WHERE plant = $plant AND plan = $plan AND plan_hash = $hash"
        plans = _rows(con, f"SELECT * FROM comparison_plans {where}", key)
        if not plans:
            raise DataMissingError(f"no comparison of {plan} ({plan_hash}) is published", remedy="run `flocledger compare PLAN` first")
        settings = _rows(
            con, "SELECT * FROM line_settings WHERE plant = $plant AND line = $line", {"plant": plant, "line": plans[0]["line"]}
        )
        outcomes = _rows(con, f"SELECT * FROM comparisons {where}", key)
        wanted = [name.strip() for name in _outcomes_of(plans[0]["plan_text"])]
        outcomes.sort(key=lambda r: (_place(r["outcome"], wanted), r["outcome"]))
        days = _rows(con, f"SELECT * FROM comparison_days {where} ORDER BY line, start_utc", key)
        checks = _rows(con, f"SELECT * FROM comparison_checks {where} ORDER BY kind, position_no", key)
    finally:
        con.close()
    return Statement(plans[0], settings[0], tuple(outcomes), tuple(days), tuple(checks), _is_invented(home, plant))


def _outcomes_of(plan_text: str) -> list[str]:
    import tomllib

    names: list[str] = tomllib.loads(plan_text)["plan"]["outcomes"]
    return names


def _place(outcome: str, wanted: list[str]) -> int:
    """Return the position of an outcome in the plan; what a name brings along stands behind it."""
    if outcome in wanted:
        return 2 * wanted.index(outcome)
    return (
        2 * wanted.index("iso-performance saving") + 1
        if outcome == "cake at the dose needed" and "iso-performance saving" in wanted
        else 99
    )


def _is_invented(home: Home, plant: str) -> bool:
    from pipelines.plant import loader

    return loader.of_plant(home, plant).plant.invented


def _rows(con: duckdb.DuckDBPyConnection, sql: str, params: dict[str, Any]) -> list[Row]:
    found = con.execute(sql, params)
    names = [d[0] for d in found.description or ()]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]
