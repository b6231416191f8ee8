"""Lab sheets: one record a result (lab long), or one a sample day with a column a result (lab wide)."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipelines.receive.fields import Columns, blank, is_bare
from pipelines.receive.zones import Stamped

TEXTS = ("sample", "point_text", "analyte_text", "text", "unit_text", "qualifier_text", "reported_text", "method", "crew", "lot", "column")


@dataclass
class Carried:
    """The last date of a sheet that writes it only in the first row of a block."""

    last: str | None = None

    def fill_down(self, frame: pl.DataFrame, stamps: pl.Series, footer_words: tuple[str, ...]) -> pl.Series:
        """Return the stamps with blank ones filled from above; footers and wholly blank rows keep theirs and end no block."""
        names = [n for n in frame.columns if n != "line_no"]
        is_blank = frame.select(pl.all_horizontal(pl.col(n).str.strip_chars() == "" for n in names)).to_series()
        footers = tuple(w.strip().lower() for w in footer_words)
        filled: list[str] = []
        for text, nothing in zip(stamps.fill_null("").to_list(), is_blank, strict=True):
            is_footer = bool(footers) and text.lower().startswith(footers)
            if text and not is_footer:
                self.last = text
            filled.append(text if text or nothing else self.last or "")
        return pl.Series("stamp", filled, dtype=pl.String)


def values(frame: pl.DataFrame, columns: Columns, stamped: Stamped) -> tuple[pl.DataFrame, int]:
    """Return (results of a chunk, one a row; how many rows gave none). A qualifier without a value is a result too."""
    lay, bare = columns.layout, is_bare(frame)
    named = {
        "sample": lay.sample_column, "point_text": lay.point_column, "analyte_text": lay.analyte_column, "text": lay.result_column,
        "unit_text": lay.unit_column, "qualifier_text": lay.qualifier_column, "reported_text": lay.reported_column,
        "method": lay.method_column, "crew": lay.crew_column, "lot": lay.lot_column,
    }  # fmt: skip
    base = frame.select("line_no", pl.col("stamp").alias("stamp_text"), *(columns.text(n, bare=bare).alias(k) for k, n in named.items()))
    base = base.hstack([stamped.utc, stamped.reason]).with_columns(column=pl.lit(None, dtype=pl.String))
    if lay.kind == "lab wide":
        base = _one_a_cell(frame, base, columns, bare=bare)
    nothing = columns.says_nothing() & blank("qualifier_text")
    kept = base.filter(~nothing).select("line_no", "stamp_text", "time_utc", "time_reason", *TEXTS)
    kept = kept.with_columns(
        *(pl.when(pl.col(n) != "").then(pl.col(n)) for n in TEXTS if n not in ("text", "column")), pl.col("text").fill_null("")
    )
    return kept, frame.height - kept["line_no"].n_unique()


def _one_a_cell(frame: pl.DataFrame, base: pl.DataFrame, columns: Columns, *, bare: bool) -> pl.DataFrame:
    found = [r.column for r in columns.layout.results if columns.field(r.column) is not None]
    parts = [base.with_columns(text=frame.select(columns.text(c, bare=bare)).to_series(), column=pl.lit(c)) for c in dict.fromkeys(found)]
    return pl.concat(parts).sort("line_no", maintain_order=True)
