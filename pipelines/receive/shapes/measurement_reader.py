"""Pieces of clean measurements, typed in one pass over their bytes; all else is left to the text reader.

Arrow splits a piece and reads each column as what it should be: numbers as doubles; tags, quality words and stamps that
repeat as dictionaries. It is asked only where that says what the text reader says: a value that is not a plain finite number,
a name with blanks round it, or a record without all its fields makes it pass (a test holds the two against each other).
Texts without a digit ("Bad Input", nothing at all) may stand where numbers do: they are learned, and are no number from then on.
"""

from __future__ import annotations

import itertools

import polars as pl
import pyarrow as pa
import pyarrow.csv as pa_csv

from pipelines.files.pieces import as_enum
from pipelines.receive.shapes.kinds import Measurements
from pipelines.receive.shapes.record_fields import Columns
from pipelines.receive.text.measured import Measured

_HEAD_BYTES, _HEAD_LINES = 64 * 2**10, 500  # of a piece, to see whether stamps repeat from line to line
_MOST_REFUSALS = 2  # pieces that did not read as measurements more often than others did: the file is not worth asking again
_BLOCK_BYTES = 4 * 2**20  # of a piece that Arrow reads beside others
_DICTIONARY = pa.dictionary(pa.int32(), pa.string())
_MARKS = ("'", "=")  # what spreadsheets put before text
_MOST_TEXTS, _LONGEST_TEXT = 50, 100  # of texts that stand for numbers, and their characters
_MOST_WITHOUT = 0.25  # share of fields that may hold such a text: each of them is looked up in the piece


class MeasurementReader:
    """Reads the pieces of one table of a long or wide layout; disables itself for a table after repeated failures."""

    def __init__(self, columns: Columns, measurements: Measurements) -> None:
        lay = columns.layout
        self.columns, self._refusals = columns, 0
        self._no_numbers: list[str] = []  # texts met where numbers stand, of this table
        self._stamps = [f for n in dict.fromkeys((lay.date_column, lay.time_column)) if n and (f := columns.field(n))]
        fields = measurements.fields(columns)
        self._texts, self._numbers = fields or ([], [])
        self._nulls = [""] if measurements.blank_is_null else []
        is_marked = bool(len(lay.delimiter.encode()) > 1 or lay.thousands or lay.fill_values or lay.last_row_needs_line_end)
        self._is_fit = fields is not None and bool(self._stamps) and not is_marked

    def read(self, piece: bytes, line: int) -> Measured | None:
        """Return the records of a piece, physical line numbers from `line` on, or None when they do not all read plainly.

        The piece must be UTF-8 without quotes, lone carriage returns and byte order mark.
        """
        if not self._is_fit or self._refusals >= _MOST_REFUSALS:
            return None
        found = self._read(piece, line)
        self._refusals += 1 if found is None else -(self._refusals > 0)
        return found

    def _read(self, piece: bytes, line: int) -> Measured | None:
        stamp_type = _DICTIONARY if len(self._stamps) == 1 and self._repeats(piece) else pa.string()
        types = (
            dict.fromkeys(self._stamps, stamp_type) | dict.fromkeys(self._texts, _DICTIONARY) | dict.fromkeys(self._numbers, pa.float64())
        )
        no_numbers = [text for text in self._no_numbers if text.encode() in piece]
        table = self._table(piece, types, no_numbers)
        if table is None and (more := self._new_texts(piece)):
            self._no_numbers += more
            no_numbers += more
            table = self._table(piece, types, no_numbers)
        if table is None:
            return None
        frame = pl.DataFrame([_series(name, table.column(name)) for name in (*self._texts, *self._numbers)])
        if not self._is_plain(frame) or (no_numbers and self._without(frame) > _MOST_WITHOUT):
            return None
        frame = frame.with_row_index("line_no", offset=line)
        if pa.types.is_dictionary(stamp_type):
            codes, words = _coded(table.column(self._stamps[0]))
            return Measured(frame, words, codes, bool(no_numbers))
        texts = pl.DataFrame([_series(name, table.column(name)) for name in self._stamps])
        return Measured(frame, self.columns.stamps(texts, bare=True), None, bool(no_numbers))

    def _table(self, piece: bytes, types: dict[str, pa.DataType], no_numbers: list[str]) -> pa.Table | None:
        """Return the columns of a piece that `types` names, as those types; None when they are not, or a number is not finite."""
        lay, width = self.columns.layout, len(self.columns.header.columns)
        try:
            table = pa_csv.read_csv(
                pa.BufferReader(piece),
                pa_csv.ReadOptions(column_names=[f"c{i}" for i in range(width)], block_size=_BLOCK_BYTES, use_threads=True),
                pa_csv.ParseOptions(delimiter=lay.delimiter, quote_char=False, escape_char=False, ignore_empty_lines=False),
                pa_csv.ConvertOptions(
                    column_types=types, include_columns=list(types), decimal_point=lay.decimal, strings_can_be_null=False,
                    null_values=[*self._nulls, *no_numbers],
                ),
            )  # fmt: skip
        except pa.ArrowInvalid:
            return None
        numbers = [pl.Series(pl.from_arrow(table.column(n))) for n in types if types[n] == pa.float64()]
        return table if all(number.is_finite().all() for number in numbers) else None

    def _new_texts(self, piece: bytes) -> list[str]:
        """Return the texts without a digit that stand where numbers do; none when there are others, or too many."""
        table = self._table(piece, dict.fromkeys(self._numbers, pa.string()), [])
        if table is None:
            return []
        found = pl.concat([_series(name, table.column(name)).rename("text") for name in self._numbers])
        texts = found.filter(~found.str.contains(r"\d")).unique()
        has_numbers = texts.str.strip_chars().cast(pl.Float64, strict=False).fill_nan(None).count() > 0  # "inf"
        if has_numbers or (texts.str.len_chars() > _LONGEST_TEXT).any() or len(self._no_numbers) + len(texts) > _MOST_TEXTS:
            return []
        return sorted(set(texts.to_list()) - {*self._nulls, *self._no_numbers})

    def _without(self, found: pl.DataFrame) -> float:
        """Return the share of fields where no number stands."""
        without = sum(found.select(pl.col(n).null_count() for n in self._numbers).row(0))
        return float(without / max(found.height * len(self._numbers), 1))

    def _is_plain(self, found: pl.DataFrame) -> bool:
        words = (word for name in self._texts for word in found.schema[name].categories)  # type: ignore[attr-defined]
        return not any(word != word.strip() or word.startswith(_MARKS) for word in words)

    def _repeats(self, piece: bytes) -> bool:
        """Return whether most of the first stamps repeat the one before."""
        place, delimiter = int(self._stamps[-1][1:]), self.columns.layout.delimiter.encode()
        lines = piece[:_HEAD_BYTES].splitlines()[:_HEAD_LINES]
        stamps = [fields[place] for line in lines if len(fields := line.split(delimiter, place + 1)) > place]
        return sum(a == b for a, b in itertools.pairwise(stamps)) * 2 > len(stamps)


def _series(name: str, column: pa.ChunkedArray) -> pl.Series:
    """Return a column as it is, a dictionary as Enum."""
    if not pa.types.is_dictionary(column.type):
        return pl.Series(name, pl.from_arrow(column))
    codes, words = _coded(column)
    return as_enum(name, codes.to_numpy(), pl.Enum(words))


def _coded(column: pa.ChunkedArray) -> tuple[pl.Series, pl.Series]:
    """Return codes and words of a dictionary. (Arrow's own ways to numpy and lists import pandas where it is installed.)"""
    array = column.combine_chunks()
    return pl.Series(pl.from_arrow(array.indices)), pl.Series(pl.from_arrow(array.dictionary))
