"""Result of a measurement reader for a piece of a file: the seam between the text reader and `shapes.measurement_reader`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import polars as pl


@dataclass(frozen=True)
class Measured:
    """Records of a piece. `frame`: line_no (UInt32) and, by place, c0, c1, ...: tag and quality Enum, values Float64, null where
    no number stands; columns that the layout does not use are left out. `has_texts`: a text stands there, not just nothing.

    `stamps` (String): of each record; or each once, with `stamp_codes` (Int32) the one of each record.
    """

    frame: pl.DataFrame
    stamps: pl.Series
    stamp_codes: pl.Series | None
    has_texts: bool = False


class ReadsPieces(Protocol):
    """Types a piece of clean measurements in one pass, or leaves it to the text reader."""

    def read(self, piece: bytes, line: int) -> Measured | None:
        """Return the records of a piece that begins at physical line `line`; None: read it as text."""
        ...
