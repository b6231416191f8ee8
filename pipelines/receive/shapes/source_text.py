"""Original texts of records read as numbers, looked up in their piece on demand."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.receive.shapes.kinds import Measurements
from pipelines.receive.shapes.record_fields import Columns
from pipelines.receive.text.raw_records import line_ends
from pipelines.receive.text.reader import split_lines
from pipelines.receive.text.row_batch import RowBatch


class PieceWritten:
    """The texts of a measured batch (`chunks.Written`), by line number. What was asked for once is kept."""

    def __init__(self, batch: RowBatch, columns: Columns, measurements: Measurements) -> None:
        self._batch, self._columns, self._measurements = batch, columns, measurements
        self._raw = pl.DataFrame(schema={"line_no": pl.UInt32, "raw": pl.String})  # sorted, of the lines asked for so far
        self._told: pl.DataFrame | None = None

    def texts(self, lines: pl.Series) -> pl.DataFrame:
        """Return line_no, tag, text, quality_text of the values of some records."""
        wanted, raw = lines.unique(), self._of(lines)
        if self._told is None or self._told["line_no"].n_unique() < raw.height:
            fields = split_lines(raw["raw"], len(self._columns.header.columns), self._columns.layout.delimiter)
            found = fields.insert_column(0, raw["line_no"])
            self._told = self._measurements.texts(found, self._columns)
        return self._told.filter(pl.col("line_no").is_in(wanted.implode()))

    def raw(self, lines: pl.Series) -> pl.DataFrame:
        """Return line_no, raw: some records as they stand in the file, without their line ends."""
        return self._of(lines).filter(pl.col("line_no").is_in(lines.unique().implode()))

    def _of(self, lines: pl.Series) -> pl.DataFrame:
        """Return line_no, raw of the lines asked for, and of those asked for before."""
        new = lines.unique().filter(~lines.unique().is_in(self._raw["line_no"].implode())).sort()
        if len(new):
            piece, ends = self._batch.piece, self._ends
            last = new.to_numpy().astype(np.int64) - self._batch.first_line
            firsts = np.where(last > 0, ends[last - 1], 0)
            texts = [piece[a:b].decode("utf-8").rstrip("\r\n") for a, b in zip(firsts.tolist(), ends[last].tolist(), strict=True)]
            more = pl.DataFrame({"line_no": new, "raw": texts}, schema=self._raw.schema)
            self._raw = pl.concat([self._raw, more]).sort("line_no")
        return self._raw

    @cached_property
    def _ends(self) -> NDArray[np.int64]:
        """Where each line of the piece ends."""
        return line_ends(self._batch.piece)
