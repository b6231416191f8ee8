"""Check frames against their tables: pandera where people's data enter, one polars pass that stands in for it elsewhere.

Both derive from the same columns (`schemas.model`); a property test asserts that they agree on random frames.

- Readings, lab results and the tables made from the plant file: the fast pass checks every frame before it is merged; pandera runs
  only where it finds something, and names row, column and rule.
- Frames that the steps make themselves (minutes, histories, set-aside rows): the fast pass; pandera words the error.

Pandera takes 5 to 20 ms a frame however small, 70 ms for a million readings, and more than a second of CPU to import; the
fast pass takes less than a tenth of the former. What pandera finds at a border becomes a reason to set a row aside
(`failing_rows`) or a message on the plant file (`require_plant_rows`), never a stack trace.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

from pipelines.base.errors import InternalError, PlantFileError
from schemas import TABLES, Table

if TYPE_CHECKING:
    import pandera.polars as pa
    import polars as pl

    from schemas import Column

_NAMED_RULES = {  # pandera's built-in checks in words
    "not_nullable": "must not be missing", "column_in_dataframe": "is missing from the frame",
    "column_in_schema": "is no column of the table", "column_ordered": "is not in the order of the table",
}  # fmt: skip
Columns = tuple[str, ...] | None


@dataclass(frozen=True)
class Failure:
    """A rule of a table that a frame breaks: at a row (position from 0), or in the frame as a whole (None)."""

    column: str
    row: int | None
    value: str
    rule: str

    def __str__(self) -> str:
        return f"{self.column} = {self.value}: {self.rule}"


def failures(table: str, frame: pl.DataFrame, columns: Columns = None) -> list[Failure]:
    """Return everything that pandera finds wrong with a frame for a table; a text column may come as Enum.

    `columns`: the frame has only these of the table; the others are filled in later.
    """
    import pandera.errors
    import polars as pl
    import polars.selectors as cs

    texts = [n for n in frame.select(cs.enum()).columns if _table(table, columns).polars_schema().get(n) == pl.String]
    try:
        _pandera(table, columns).validate(frame.with_columns(pl.col(texts).cast(pl.String)), lazy=True)
    except pandera.errors.SchemaErrors as error:
        return [_failure(case) for case in error.failure_cases.to_dicts()]
    return []


def failing_rows(plant: str, table: str, frame: pl.DataFrame, columns: Columns = None) -> list[Failure]:
    """Return the first failure of each row that pandera fails, in row order; empty when all rows fit.

    Pandera is imported and runs only where the fast pass finds something. InternalError where the frame itself does not
    fit (columns, types) or the two disagree: then the data are not at fault.
    """
    wrong = misfits(table, frame, columns)
    if not wrong:
        return []
    found = failures(table, frame, columns)
    by_row: dict[int, Failure] = {}
    for failure in found:
        if failure.row is not None:
            by_row.setdefault(failure.row, failure)
    whole = [f for f in found if f.row is None]
    if whole or not found:
        raise InternalError(f"{plant}: rows made for {table} do not fit its schema: {'; '.join(map(str, whole)) or '; '.join(wrong)}")
    return [by_row[row] for row in sorted(by_row)]


def require_plant_rows(plant: str, table: str, frame: pl.DataFrame) -> None:
    """Raise PlantFileError, naming row, column, value and rule of the first failure, unless a table made from the plant file fits its schema."""
    found = failing_rows(plant, table, frame)
    if not found:
        return
    first, others = found[0], len(found) - 1
    row = frame.row(first.row or 0, named=True)
    which = ", ".join(f"{name} {row[name]}" for name in TABLES[table].key if name != "plant")
    raise PlantFileError(
        path=f"{plant}.toml",
        line=None,
        key=f"table {table}, row {(first.row or 0) + 1}{f' ({which})' if which else ''}: {first.column}",
        value=row[first.column],
        problem=first.rule + (f"; {others} more row{'s' if others > 1 else ''} of this table break a rule" if others else ""),
        remedy=f"correct the plant-file entry that sets {first.column}; nothing was written",
    )


def _failure(case: dict[str, object]) -> Failure:
    """Return a failure case of pandera in words. A fault of the frame has no index; its column may be the case itself."""
    rule, row = str(case["check"]), case["index"]
    value = "nothing" if case["failure_case"] is None or rule == "not_nullable" else str(case["failure_case"])
    words = _NAMED_RULES.get(rule, f"must be {rule}" if rule.startswith("dtype") else rule)
    return Failure(str(case["column"] or value), int(str(row)) if row is not None else None, value, words)


@cache
def _table(table: str, columns: Columns) -> Table:
    """Return a table, or as much of it as some columns are."""
    whole = TABLES[table]
    return whole if columns is None else replace(whole, columns=tuple(c for c in whole.columns if c.name in columns))


@cache
def _pandera(table: str, columns: Columns) -> pa.DataFrameSchema:
    return _table(table, columns).pandera_schema()


def misfits(table: str, frame: pl.DataFrame, columns: Columns = None) -> list[str]:
    """Return the rules of a table that a frame breaks, one phrase a rule, by the fast pass; empty when it matches.

    Columns and their order, types (a text column may come as Enum), nulls, bounds, closed vocabularies, finite numbers.
    """
    import polars as pl

    wanted = _table(table, columns).polars_schema()
    if list(frame.columns) != list(wanted):
        return [f"columns {', '.join(frame.columns)} where {', '.join(wanted)} are needed"]
    wrong = [f"{n} is {frame.schema[n]}, not {t}" for n, t in wanted.items() if frame.schema[n] != t and not _is_enum(t, frame.schema[n])]
    if wrong:
        return wrong
    checks = {phrase: test for column in _table(table, columns).columns for phrase, test in _checks(column, pl.col(column.name)).items()}
    if not checks or frame.height == 0:
        return []
    found = frame.select(**checks).row(0)
    return [phrase for phrase, is_wrong in zip(checks, found, strict=True) if is_wrong]


def require_schema(plant: str, table: str, frame: pl.DataFrame) -> None:
    """Raise InternalError, with the first failing rows, unless the frame matches its table."""
    wrong = misfits(table, frame)
    if wrong:
        raise InternalError(f"{plant}: rows made for {table} do not fit its schema: {'; '.join(wrong)} ({_cases(table, frame)})")


def _is_enum(wanted: pl.DataType, found: pl.DataType) -> bool:
    import polars as pl

    return wanted == pl.String and isinstance(found, pl.Enum)


def _checks(column: Column, value: pl.Expr) -> dict[str, pl.Expr]:
    """Return phrase -> expression that is true when a rule of the column is broken."""
    import polars as pl

    checks = {}
    if not column.nullable:
        checks[f"{column.name} is null"] = value.null_count() > 0
    if column.type == "double":
        checks[f"{column.name} is not finite"] = ~value.is_finite().all()
    if column.ge is not None:
        checks[f"{column.name} is below {column.ge}"] = value.min() < column.ge
    if column.le is not None:
        checks[f"{column.name} is above {column.le}"] = value.max() > column.le
    if column.isin is not None:
        checks[f"{column.name} is not in its list"] = ~value.drop_nulls().unique().cast(pl.String).is_in(list(column.isin)).all()
    return checks


def _cases(table: str, frame: pl.DataFrame) -> str:
    """Return the first failing rows in pandera's words."""
    found = failures(table, frame)[:5]
    return "; ".join(str(f) if f.row is None else f"row {f.row}: {f}" for f in found)
