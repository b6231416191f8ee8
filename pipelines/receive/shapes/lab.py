"""Lab sheets: one record a result (lab long), or one a sample day with a column a result (lab wide)."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.plant.model import LabColumn
from pipelines.receive.shapes.record_fields import Columns, blank, is_bare, times
from pipelines.receive.times.zones import Localiser

TEXTS = (
    "sample", "point_text", "analyte_text", "text", "unit_text", "qualifier_text", "limit_text", "reported_text", "method", "crew",
    "shift_text", "window_from", "window_to", "lot", "line_text", "replicate", "column",
)  # fmt: skip


@dataclass
class Carried:
    """The last date of a sheet that writes it only in the first row of a block."""

    last: str | None = None

    def fill_down(self, frame: pl.DataFrame, columns: Columns, stamps: pl.Series) -> pl.Series:
        """Return the stamps with blank dates filled from above; footers and wholly blank rows keep theirs and end no block.

        Where date and time stand in two columns only the date is filled.
        """
        texts = frame.select(pl.col(n).str.strip_chars() for n in frame.columns if n != "line_no")
        first = texts.select(pl.coalesce(pl.when(pl.col(n) != "").then(pl.col(n)) for n in texts.columns)).to_series()
        footers = tuple(w.strip().lower() for w in columns.layout.footer_words)
        lay, times = columns.layout, pl.Series("time", [""]).new_from_index(0, frame.height)
        dates = stamps.fill_null("")
        if lay.date_column not in (None, lay.time_column):
            dates, times = (frame.select(columns.text(n, bare=False)).to_series().fill_null("") for n in (lay.date_column, lay.time_column))
        filled: list[str] = []
        for date, time, shown in zip(dates, times, first, strict=True):
            is_data = shown is not None and not (footers and shown.lower().startswith(footers))
            if date and is_data:
                self.last = date
            filled.append(f"{(self.last or '') if is_data else date} {time}".strip())
        return pl.Series("stamp", filled, dtype=pl.String)


def values(frame: pl.DataFrame, columns: Columns, localiser: Localiser) -> tuple[pl.DataFrame, int]:
    """Return (results of a chunk, one a row; how many rows gave none). A qualifier without a value is a result too."""
    lay, bare, stamped = columns.layout, is_bare(frame), localiser.to_utc(times(frame))
    named = {
        "sample": lay.sample_column, "point_text": lay.point_column, "analyte_text": lay.analyte_column, "text": lay.result_column,
        "unit_text": lay.unit_column, "qualifier_text": lay.qualifier_column, "limit_text": lay.limit_column,
        "reported_text": lay.reported_column, "method": lay.method_column, "crew": lay.crew_column, "shift_text": lay.shift_column,
        "window_from": lay.from_column, "window_to": lay.to_column, "lot": lay.lot_column, "line_text": lay.line_column,
        "replicate": lay.replicate_column,
    }  # fmt: skip
    base = frame.select("line_no", pl.col("stamp").alias("stamp_text"), *(columns.text(n, bare=bare).alias(k) for k, n in named.items()))
    base = base.hstack([stamped.utc, stamped.reason]).with_columns(column=pl.lit(None, dtype=pl.String))
    if lay.input_kind.has_a_column_a_value:
        base = _one_a_cell(frame, base, columns, bare=bare)
    nothing = columns.says_nothing() & blank("qualifier_text")
    kept = base.filter(~nothing).select("line_no", "stamp_text", "time_utc", "time_reason", *TEXTS)
    kept = kept.with_columns(
        *(pl.when(pl.col(n) != "").then(pl.col(n)) for n in TEXTS if n not in ("text", "column")), pl.col("text").fill_null("")
    )
    return kept, frame.height - kept["line_no"].n_unique()


def _one_a_cell(frame: pl.DataFrame, base: pl.DataFrame, columns: Columns, *, bare: bool) -> pl.DataFrame:
    """Return a row a cell: its text, with the qualifier, limit and method of its own where the plant file names them."""
    found: dict[str, list[LabColumn]] = {}
    for result in columns.layout.results:
        if columns.field(result.column) is not None:
            found.setdefault(result.column, []).append(result)
    parts = []
    for column, meanings in found.items():
        own = {
            "text": column,
            "qualifier_text": next((m.qualifier_column for m in meanings if m.qualifier_column), None),
            "limit_text": next((m.limit_column for m in meanings if m.limit_column), None),
        }
        cells = frame.select(columns.text(name, bare=bare).alias(key) for key, name in own.items() if name is not None)
        parts.append(base.with_columns(cells.get_columns()).with_columns(column=pl.lit(column)))
    return pl.concat(parts).sort("line_no", maintain_order=True)
