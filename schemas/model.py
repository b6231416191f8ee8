"""The words every table description is made of: Column and Table, and what is derived from them.

One place holds type, unit, description and range of every column. From here come the DDL of the
store, the comments of the published file, the data dictionary and the pandera checks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandera.polars as pa
    import polars as pl

# name here -> (DuckDB type, polars type name)
TYPES: dict[str, tuple[str, str]] = {
    "text": ("VARCHAR", "String"),
    "double": ("DOUBLE", "Float64"),
    "bigint": ("BIGINT", "Int64"),
    "int": ("INTEGER", "Int32"),
    "code": ("UTINYINT", "UInt8"),
    "bool": ("BOOLEAN", "Boolean"),
    "date": ("DATE", "Date"),
    "instant": ("TIMESTAMPTZ", "Datetime"),
    "local": ("TIMESTAMP", "Local"),
}


@dataclass(frozen=True)
class Column:
    """One column: `unit` is a unit word, or "-" for things without one; `ge`/`le` bound its values.

    `compression` is how DuckDB is to compress it, where its own search for the best way takes longer than it saves.
    """

    name: str
    type: str
    unit: str
    description: str
    nullable: bool = True
    ge: float | None = None
    le: float | None = None
    isin: tuple[str, ...] | None = None
    compression: str | None = None

    def ddl(self) -> str:
        """Return the column as CREATE TABLE has it."""
        compression = f" USING COMPRESSION {self.compression}" if self.compression else ""
        return f"{self.name} {TYPES[self.type][0]}{'' if self.nullable else ' NOT NULL'}{compression}"


@dataclass(frozen=True)
class Table:
    """One table: its grain in words, its key, its columns; `step` names the step that writes it.

    `source` says where the definitions come from. `published` tables go into the published file;
    `parquet_by` is the column of dates or instants whose month partitions its Parquet files (None: one file). `view`: the SELECT by which
    the store makes it from other tables, where it is kept in another form.
    """

    name: str
    description: str
    grain: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    step: str
    source: str = "common practice, no source"
    published: bool = True
    parquet_by: str | None = None
    view: str | None = None

    @property
    def column_names(self) -> tuple[str, ...]:
        return tuple(c.name for c in self.columns)

    def columns_between(self, first: str, last: str) -> tuple[Column, ...]:
        """Return the columns from one to another, both included: a view that takes them over declares them once."""
        names = self.column_names
        return self.columns[names.index(first) : names.index(last) + 1]

    def ddl(self, schema: str = "main") -> str:
        """Return the CREATE TABLE (or VIEW) IF NOT EXISTS statement for DuckDB."""
        if self.view is not None:
            return f"CREATE VIEW IF NOT EXISTS {schema}.{self.name} AS {self.view}"
        body = ",\n  ".join(c.ddl() for c in self.columns)
        return f"CREATE TABLE IF NOT EXISTS {schema}.{self.name} (\n  {body}\n)"

    def comments(self, schema: str = "main", kind: str = "TABLE") -> list[str]:
        """Return COMMENT ON statements for the table and each column."""
        head = f"{self.description} Grain: one row per {self.grain}. Source: {self.source}."
        rows = [f"COMMENT ON {kind} {schema}.{self.name} IS {_quoted(head)}"]
        rows += [f"COMMENT ON COLUMN {schema}.{self.name}.{c.name} IS {_quoted(f'[{c.unit}] {c.description}')}" for c in self.columns]
        return rows

    def polars_schema(self) -> dict[str, pl.DataType]:
        """Return column name -> polars type, in order."""
        import polars as pl

        kinds: dict[str, pl.DataType] = {
            "String": pl.String(), "Float64": pl.Float64(), "Int64": pl.Int64(), "Int32": pl.Int32(), "UInt8": pl.UInt8(),
            "Boolean": pl.Boolean(), "Date": pl.Date(), "Datetime": pl.Datetime("us", "UTC"), "Local": pl.Datetime("us"),
        }  # fmt: skip
        return {c.name: kinds[TYPES[c.type][1]] for c in self.columns}

    def pandera_schema(self) -> pa.DataFrameSchema:
        """Return the pandera schema (polars backend) that checks types, nulls, finite numbers, ranges and closed vocabularies.

        The `error` of each check is the rule in words, as messages and set-aside rows print it.
        """
        import pandera.polars as pa

        types = self.polars_schema()
        columns = {}
        for c in self.columns:
            checks = [pa.Check(_finite, error="must be a finite number")] if c.type == "double" else []
            if c.ge is not None:
                checks.append(pa.Check.ge(c.ge, error=f"must be at least {c.ge:g}"))
            if c.le is not None:
                checks.append(pa.Check.le(c.le, error=f"must be at most {c.le:g}"))
            if c.isin is not None:
                checks.append(pa.Check.isin(list(c.isin), error=f"must be one of: {', '.join(c.isin)}"))
            columns[c.name] = pa.Column(types[c.name], checks, nullable=c.nullable, description=c.description, metadata={"unit": c.unit})
        return pa.DataFrameSchema(columns, strict=True, ordered=True, name=self.name)


def _finite(data: pa.PolarsData) -> pl.LazyFrame:
    """Check of pandera: true where a number is finite; a null is for `nullable` to judge. Pandera itself lets NaN pass its bounds."""
    import polars as pl

    number = pl.col(data.key or "*")
    return data.lazyframe.select(number.is_finite() | number.is_null())


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
