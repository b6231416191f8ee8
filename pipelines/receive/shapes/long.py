"""Long files: one record a reading (time, tag, value, quality)."""

from __future__ import annotations

import polars as pl

from pipelines.files.pieces import Written
from pipelines.receive.shapes.record_fields import Columns, is_bare, is_plain, times
from pipelines.receive.times.stamps import Times
from pipelines.receive.times.zones import Localiser


def values(frame: pl.DataFrame, columns: Columns, localiser: Localiser) -> tuple[pl.DataFrame, int]:
    """Return (values of a chunk, how many rows gave none).

    A row without a value says nothing, unless its quality word is not a good one: then it is kept with blank text,
    so that the value before is not held across a time the logger knew to be bad.
    """
    lay, bare, plain = columns.layout, is_bare(frame), is_plain(frame)
    tags = columns.tags(frame)
    stamped = localiser.to_utc(times(frame), tags)
    texts = frame.select(
        line_no="line_no",
        text=columns.text(lay.value_column, bare=bare, plain=plain),
        quality_text=columns.text(lay.quality_column, bare=bare, plain=plain),
    )
    out = pl.DataFrame([texts["line_no"], stamped.utc, stamped.reason, tags, texts["text"], texts["quality_text"]])
    if columns.field(lay.unit_column) is not None:
        out = out.hstack(frame.select(unit_text=columns.text(lay.unit_column, bare=bare, plain=plain)))
    kept = columns.telling(out)
    return kept, out.height - kept.height


def measured_fields(columns: Columns) -> tuple[list[str], list[str]] | None:
    """Return (text fields, number fields) of records that may be measurements; None when they cannot be."""
    lay = columns.layout
    number = columns.field(lay.value_column)
    if number is None or lay.entity_column or columns.field(lay.unit_column) is not None:
        return None
    return [field for name in (lay.tag_column, lay.quality_column) if (field := columns.field(name))], [number]


def measured(
    frame: pl.DataFrame, columns: Columns, localiser: Localiser, times: Times, written: Written | None
) -> tuple[pl.DataFrame, int]:
    """Return (values of measured records, numbers in the place of texts; how many records gave none).

    `written`: what stands where no number does, if a text may stand there.
    """
    lay, tags = columns.layout, columns.tags(frame, bare=True)
    stamped = localiser.to_utc(times, tags)
    number, quality = (columns.text(name, bare=True) for name in (lay.value_column, lay.quality_column))
    said = frame.select("line_no", number=number, quality_text=quality)
    out = pl.DataFrame([said["line_no"], stamped.utc, stamped.reason, tags, said["number"], said["quality_text"]])
    without = out["number"].is_null()
    if written is None or not without.any():
        return out, 0
    told = written.texts(out["line_no"].filter(without))
    silent = told.join(columns.telling(told), on="line_no", how="anti")["line_no"]
    return (out.filter(~out["line_no"].is_in(silent)), len(silent)) if len(silent) else (out, 0)


def texts(frame: pl.DataFrame, columns: Columns) -> pl.DataFrame:
    """Return line_no, tag, text, quality_text of some records."""
    lay = columns.layout
    named = {"tag": lay.tag_column, "text": lay.value_column, "quality_text": lay.quality_column}
    return frame.select("line_no", **{name: columns.text(column, bare=False) for name, column in named.items()})
