"""Wide files: one record a time, one column a tag."""

from __future__ import annotations

import polars as pl

from pipelines.receive.fields import Columns, is_bare
from pipelines.receive.zones import Stamped


def value_columns(columns: Columns) -> list[tuple[int, str]]:
    """Return (position, name) of the columns that hold values: all named ones but time and the ignored."""
    lay = columns.layout
    skip = {n.strip() for n in (lay.time_column, lay.date_column, "", *lay.ignore_columns) if n is not None}
    return [(i, name) for i, name in enumerate(columns.header.columns) if name not in skip]


def values(frame: pl.DataFrame, columns: Columns, stamped: Stamped) -> tuple[pl.DataFrame, int]:
    """Return (values of a chunk, one a non-blank cell, column after column; how many rows gave none)."""
    named, bare = value_columns(columns), is_bare(frame)
    cells = frame.select("line_no", *(columns_text(i, bare=bare) for i, _ in named)).hstack([stamped.utc, stamped.reason])
    if (
        bare
        and columns.layout.fill_values == ()
        and not cells.select(pl.any_horizontal((pl.col(f"c{i}") == "").any() for i, _ in named)).item()
    ):
        parts = [_part(cells, i, name) for i, name in named]
        return pl.concat(parts), 0
    parts = [_part(cells, i, name).filter(~columns.says_nothing()) for i, name in named]
    kept = pl.concat(parts)
    return kept, frame.height - kept["line_no"].n_unique()


def columns_text(position: int, *, bare: bool) -> pl.Expr:
    """Return the cleaned text of a column by its position (two columns may have one name)."""
    from pipelines.receive.fields import cleaned

    return pl.col(f"c{position}") if bare else cleaned(f"c{position}")


def _part(cells: pl.DataFrame, position: int, name: str) -> pl.DataFrame:
    return cells.select(
        "line_no",
        "time_utc",
        "time_reason",
        tag=pl.lit(name),
        text=f"c{position}",
        quality_text=pl.lit(None, dtype=pl.String),
    )
