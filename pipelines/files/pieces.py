"""Types that `receive` passes to `check`.

A file is processed in chunks of bounded size, so memory does not grow with the file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

    from pipelines.plant.model import Layout


@dataclass(frozen=True)
class Chunk:
    """A bounded piece of a file: values still as text, time already UTC.

    `values` has one row per non-blank value (long and wide alike; wide is unpivoted, tag-major):
        line_no UInt32; time_utc Datetime[us, UTC] (null when unreadable); time_reason String (null, or the
        reason from the closed list); tag String; text String; quality_text String (null when the layout
        has no quality column); unit_text String where a long file has a unit column.
    Of clean measurements (`written` is there) `values` has `number` (Float64) instead of text, tag and quality_text may be Enum,
        and `written` tells what stands in the file.
    For lab files `values` has instead: line_no, stamp_text, time_utc, time_reason, sample, point_text,
        analyte_text, text, unit_text, qualifier_text, limit_text, reported_text, method, crew, shift_text, window_from,
        window_to, lot, line_text, column (all String but the first, third), one row per result; wide sheets fill point_text/analyte_text/unit_text with null and
        `column` with the column's name.
    `refused` has rows that failed as rows: line_no UInt32, reason, detail, raw_text (all String).
    `rows_read` counts physical records of the file in this chunk, the dropped (title, header, unit, blank,
    footer) and refused ones included. `rows_exact` of them needed the exact reader, which took `exact_seconds`.
    `layout` is the one that read this piece where a file holds several tables; null: the file's own.
    """

    values: pl.DataFrame
    refused: pl.DataFrame
    rows_read: int
    rows_dropped: int
    rows_exact: int = 0
    exact_seconds: float = 0.0
    layout: Layout | None = None
    written: Written | None = None


class Written(Protocol):
    """What stands in the file where a chunk has numbers, by line numbers."""

    def texts(self, lines: pl.Series) -> pl.DataFrame:
        """Return line_no, tag, text, quality_text of the values of some records."""
        ...

    def raw(self, lines: pl.Series) -> pl.DataFrame:
        """Return line_no, raw of some records."""
        ...


class Received(Protocol):
    """An opened file whose layout is known."""

    layout: Layout
    reader: str  # "fast" or "exact"; final once all chunks were read
    clock_note: str | None  # what the stamps say against the declared zone; final once all chunks were read

    def chunks(self) -> Iterator[Chunk]:
        """Yield the file's content in order; FileRefusedError may end it at any point."""
        ...


RawLines = Callable[[Iterable[int]], dict[int, str]]  # physical line number -> the raw record that begins there


def as_enum(name: str, codes: NDArray[np.integer], kind: pl.Enum) -> pl.Series:
    """Return the words of an Enum by their numbers, as a column."""
    import polars as pl

    if len(kind.categories) == 1:
        return pl.Series(name, kind.categories, dtype=kind).new_from_index(0, len(codes))
    return pl.Series(name, codes).cast(pl.Series([], dtype=kind).to_physical().dtype).cat.to(kind)
