"""Wide files: one record a time, one column a tag; the quality in columns beside the values, or none."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.files.pieces import Written, as_enum
from pipelines.receive.shapes.record_fields import Columns, cleaned, is_bare, is_plain, times
from pipelines.receive.times.stamps import Times
from pipelines.receive.times.zones import Localiser


def value_columns(columns: Columns) -> list[tuple[int, str]]:
    """Return (position, name) of the columns that hold values: all named ones but time, qualities and the ignored."""
    lay, quality = columns.layout, set(quality_columns(columns).values())
    skip = {n.strip() for n in (lay.time_column, lay.date_column, lay.entity_column, "", *lay.ignore_columns) if n is not None}
    return [(i, name) for i, name in enumerate(columns.header.columns) if name not in skip and i not in quality]


def quality_columns(columns: Columns) -> dict[int, int]:
    """Return position of a value column -> position of the column with its quality.

    `quality_name` names a quality column after its value column ("{tag} Q") or after the first word of that ("{word} Q");
    `quality_column` ("Quality") is one name for all, each standing to the right of its values.
    """
    lay, names = columns.layout, columns.header.columns
    found: dict[int, int] = {}
    if lay.quality_name is not None:
        for i, name in enumerate(names):
            beside = lay.quality_name.replace("{tag}", name).replace("{word}", (name.split() or [""])[0]).strip()
            if name and beside != name and beside in names:
                found[i] = names.index(beside)
    elif lay.quality_column is not None:
        word = lay.quality_column.strip()
        found = {i - 1: i for i, name in enumerate(names) if name == word and i}
    return found


def values(frame: pl.DataFrame, columns: Columns, localiser: Localiser) -> tuple[pl.DataFrame, int]:
    """Return (values of a chunk, one a non-blank cell, column after column; how many rows gave none)."""
    named, quality = value_columns(columns), quality_columns(columns)
    stamped = localiser.to_utc(times(frame), columns.entities(frame))
    bare, plain = is_bare(frame), is_plain(frame)
    used = sorted({i for i, _ in named} | {quality[i] for i, _ in named if i in quality})
    cells = frame.select("line_no", *(columns_text(i, bare=bare, plain=plain) for i in used)).hstack([stamped.utc, stamped.reason])
    entity = columns.field(columns.layout.entity_column)
    if entity is not None:
        cells = cells.hstack(frame.select(columns_text(columns.header.at(columns.layout.entity_column), bare=bare, plain=plain)))
    if not named:  # stamps beside columns without a name: nothing is said of anything
        none = pl.lit("").alias("tag"), pl.lit("").alias("text"), pl.lit(None, dtype=pl.String).alias("quality_text")
        return cells.select("line_no", "time_utc", "time_reason", *none).clear(), frame.height
    parts = [_part(cells, i, columns.named(pl.lit(name), bare=True), quality.get(i)) for i, name in named]
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


def _part(cells: pl.DataFrame, position: int, tag: pl.Expr, quality: int | None) -> pl.DataFrame:
    return cells.select(
        "line_no",
        "time_utc",
        "time_reason",
        tag=tag,
        text=f"c{position}",
        quality_text=pl.lit(None, dtype=pl.String) if quality is None else pl.col(f"c{quality}"),
    )


def measured_fields(columns: Columns) -> tuple[list[str], list[str]] | None:
    """Return (no text fields, number fields) of records that may be measurements; None when they cannot be."""
    named = value_columns(columns)
    is_plain = len({name for _, name in named}) == len(named) and not quality_columns(columns)
    return ([], [f"c{i}" for i, _ in named]) if named and is_plain and not columns.layout.entity_column else None


def measured(
    frame: pl.DataFrame, columns: Columns, localiser: Localiser, times: Times, written: Written | None
) -> tuple[pl.DataFrame, int]:
    """Return (values of measured records, one a field that is not empty, column after column; how many records gave none).

    `written`: what stands where no number does, if a text may stand there.
    """
    named, height, stamped = value_columns(columns), frame.height, localiser.to_utc(times)
    numbers = pl.concat([frame[f"c{i}"].alias("number") for i, _ in named])
    every = pl.Series(np.tile(np.arange(height, dtype=np.uint32), len(named)))
    values = pl.DataFrame(
        [
            frame["line_no"].gather(every),
            stamped.utc.gather(every),
            stamped.reason.new_from_index(0, len(every)) if stamped.reason.null_count() == height else stamped.reason.gather(every),
            as_enum("tag", np.repeat(np.arange(len(named), dtype=np.uint32), height), pl.Enum([name for _, name in named])),
            numbers,
            pl.Series("quality_text", [None], dtype=pl.String).new_from_index(0, len(every)),
        ]
    )
    if numbers.null_count() == 0:
        return values, 0
    if written is not None:
        told = written.texts(frame.filter(pl.any_horizontal(pl.col(f"c{i}").is_null() for i, _ in named))["line_no"])
        told = told.filter(~columns.says_nothing())
        code, row = told["tag"].cast(values.schema["tag"]).to_physical().to_numpy(), told["line_no"].to_numpy() - frame["line_no"][0]
        says = numbers.is_not_null().to_numpy(writable=True)
        says[code.astype(np.int64) * height + row] = True
        kept = values.filter(pl.Series(says))
        return kept, height - kept["line_no"].n_unique()
    silent = frame.select(pl.all_horizontal(pl.col(f"c{i}").is_null() for i, _ in named).sum()).item()
    return values.filter(numbers.is_not_null()), silent


def texts(frame: pl.DataFrame, columns: Columns) -> pl.DataFrame:
    """Return line_no, tag, text, quality_text of the values of some records."""
    named = value_columns(columns)
    quality = pl.lit(None, dtype=pl.String)
    return pl.concat([frame.select("line_no", tag=pl.lit(name), text=cleaned(f"c{i}"), quality_text=quality) for i, name in named])
