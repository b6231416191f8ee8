"""Wide files: one record a time, one column a tag; the quality in columns beside the values, or none."""

from __future__ import annotations

import polars as pl

from pipelines.receive.fields import Columns, cleaned, is_bare, is_plain
from pipelines.receive.zones import Stamped


def value_columns(columns: Columns) -> list[tuple[int, str]]:
    """Return (position, name) of the columns that hold values: all named ones but time, qualities and the ignored."""
    lay, quality = columns.layout, set(quality_columns(columns).values())
    skip = {n.strip() for n in (lay.time_column, lay.date_column, "", *lay.ignore_columns) if n is not None}
    return [(i, name) for i, name in enumerate(columns.header.columns) if name not in skip and i not in quality]


def quality_columns(columns: Columns) -> dict[int, int]:
    """Return position of a value column -> position of the column with its quality.

    `quality_name` ("{tag} Q") names a quality column after its value column; `quality_column` ("Quality") is one name for
    all, each standing to the right of its values.
    """
    lay, names = columns.layout, columns.header.columns
    found: dict[int, int] = {}
    if lay.quality_name is not None:
        for i, name in enumerate(names):
            beside = lay.quality_name.replace("{tag}", name).strip()
            if name and beside in names:
                found[i] = names.index(beside)
    elif lay.quality_column is not None:
        word = lay.quality_column.strip()
        found = {i - 1: i for i, name in enumerate(names) if name == word and i}
    return found


def values(frame: pl.DataFrame, columns: Columns, stamped: Stamped) -> tuple[pl.DataFrame, int]:
    """Return (values of a chunk, one a non-blank cell, column after column; how many rows gave none)."""
    named, quality = value_columns(columns), quality_columns(columns)
    bare, plain = is_bare(frame), is_plain(frame)
    used = sorted({i for i, _ in named} | {quality[i] for i, _ in named if i in quality})
    cells = frame.select("line_no", *(columns_text(i, bare=bare, plain=plain) for i in used)).hstack([stamped.utc, stamped.reason])
    parts = [_part(cells, i, name, quality.get(i)) for i, name in named]
    if (
        bare
        and columns.layout.fill_values == ()
        and not cells.select(pl.any_horizontal((pl.col(f"c{i}") == "").any() for i, _ in named)).item()
    ):
        return pl.concat(parts), 0
    kept = pl.concat([columns.telling(part) if quality else part.filter(~columns.says_nothing()) for part in parts])
    return kept, frame.height - kept["line_no"].n_unique()


def columns_text(position: int, *, bare: bool, plain: bool) -> pl.Expr:
    """Return the cleaned text of a column by its position (two columns may have one name)."""
    return pl.col(f"c{position}") if bare else cleaned(f"c{position}", plain=plain)


def _part(cells: pl.DataFrame, position: int, name: str, quality: int | None) -> pl.DataFrame:
    return cells.select(
        "line_no",
        "time_utc",
        "time_reason",
        tag=pl.lit(name),
        text=f"c{position}",
        quality_text=pl.lit(None, dtype=pl.String) if quality is None else pl.col(f"c{quality}"),
    )
