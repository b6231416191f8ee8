"""Rows of a known layout to chunks: long, wide, and lab sheets."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipelines.chunks import Chunk, FileRefusedError
from pipelines.plantfile import Layout
from pipelines.receive.header import Header, dialect_of
from pipelines.receive.reader import OddRow, RowBatch, batches, pieces
from pipelines.receive.stamps import UNREADABLE, Localiser

REFUSED_SCHEMA = {"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "raw_text": pl.String}
_JUDGE_AFTER = 20  # data rows that must be seen before a low parse rate refuses the file
_LAB_TEXTS = ("sample", "point_text", "analyte_text", "text", "unit_text", "qualifier_text", "reported_text", "method", "crew", "column")


@dataclass
class FileRows:
    """An opened file: yields chunks, and tells afterwards which reader served."""

    path: Path
    layout: Layout
    header: Header
    plant_zone: str
    reader: str = "fast"
    _seen: int = field(default=0, init=False)
    _unreadable: int = field(default=0, init=False)

    def chunks(self) -> Iterator[Chunk]:
        """Yield the file's content in order; the records above the data come with the first chunk."""
        localiser = Localiser(self.layout, self.plant_zone)
        dropped_before = self.header.records_before_data
        source = _from_line(pieces(self.path, self.layout.encoding), self.header.first_data_line)
        carried = _Carried()
        for batch in batches(source, dialect_of(self.layout), len(self.header.columns), self.header.first_data_line):
            self.reader = "exact" if batch.reader == "exact" else self.reader
            yield self._chunk(batch, localiser, dropped_before, carried)
            dropped_before = 0
        if dropped_before:
            yield Chunk(_empty(self.layout), pl.DataFrame(schema=REFUSED_SCHEMA), dropped_before, dropped_before)
        self._judge(at_end=True)

    def _chunk(self, batch: RowBatch, localiser: Localiser, dropped_before: int, carried: _Carried) -> Chunk:
        frame, blank = self._without_blank(self._fitted(batch))
        frame, footers = self._without_footers(frame)
        refused, dropped_odd = self._odd(batch.odd)
        dropped = dropped_before + blank + footers + dropped_odd
        rows = batch.records + dropped_before
        if self.layout.is_lab:
            values, empty = self._lab_values(frame, localiser, carried)
        elif self.layout.kind == "long":
            values, empty = self._long_values(frame, localiser)
        else:
            values, empty = self._wide_values(frame, localiser)
        self._judge(at_end=False)
        return Chunk(values, refused, rows, dropped + empty)

    def _fitted(self, batch: RowBatch) -> pl.DataFrame:
        """Return the records of full width; over-long ones whose extra fields are blank belong to them."""
        width = len(self.header.columns)
        longer = [o for o in batch.odd if len(o.fields) > width and not any(f.strip() for f in o.fields[width:])]
        if not longer:
            return batch.frame
        more = pl.DataFrame(
            {"line_no": [o.line_no for o in longer], **{f"c{i}": [o.fields[i] for o in longer] for i in range(width)}},
            schema=batch.frame.schema,
        )
        return pl.concat([batch.frame, more]).sort("line_no")

    def _without_blank(self, frame: pl.DataFrame) -> tuple[pl.DataFrame, int]:
        at = self._stamp_columns()
        suspects = frame.filter(pl.all_horizontal(pl.col(c).str.strip_chars().fill_null("") == "" for c in at))
        if suspects.height == 0:
            return frame, 0
        every = [c for c in frame.columns if c != "line_no"]
        blank = suspects.filter(pl.all_horizontal(pl.col(c).str.strip_chars().fill_null("") == "" for c in every))
        if self.layout.kind == "lab wide":  # a blank date carries the one above down
            return (frame.join(blank.select("line_no"), on="line_no", how="anti") if blank.height else frame), blank.height
        return (frame.join(blank.select("line_no"), on="line_no", how="anti") if blank.height else frame), blank.height

    def _stamp_columns(self) -> list[str]:
        named = [self.layout.date_column, self.layout.time_column]
        return [f"c{self.header.at(n)}" for n in named if n]

    def _without_footers(self, frame: pl.DataFrame) -> tuple[pl.DataFrame, int]:
        """Leave out footer rows and repeated headers."""
        first = pl.coalesce(*(_blank_to_null(f"c{i}") for i in range(min(3, len(self.header.columns)))))
        repeated = pl.all_horizontal(pl.col(c).str.strip_chars() == self.header.columns[int(c[1:])] for c in self._stamp_columns())
        footer = repeated
        for word in self.layout.footer_words:
            footer = footer | first.str.to_lowercase().str.starts_with(word.lower()).fill_null(False)
        kept = frame.filter(~footer)
        return kept, frame.height - kept.height

    def _odd(self, odd: Iterable[OddRow]) -> tuple[pl.DataFrame, int]:
        """Return (refused rows, how many odd rows are blank or footers)."""
        width, dropped = len(self.header.columns), 0
        words = tuple(w.lower() for w in self.layout.footer_words)
        rows = []
        for o in odd:
            shown = [f for f in o.fields if f.strip()]
            if not shown or (words and shown[0].strip().lower().startswith(words)):
                dropped += 1
            elif len(o.fields) > width:
                if any(f.strip() for f in o.fields[width:]):
                    rows.append((o.line_no, "row has too many fields", f"{len(o.fields)} fields, the header has {width}", o.raw))
            elif not o.ended:
                rows.append((o.line_no, "partial last row", f"{len(o.fields)} of {width} fields and no line end", o.raw))
            else:
                rows.append((o.line_no, "row has too few fields", f"{len(o.fields)} fields, the header has {width}", o.raw))
        return pl.DataFrame(rows, schema=REFUSED_SCHEMA, orient="row"), dropped

    def _stamps(self, frame: pl.DataFrame) -> pl.Series:
        columns = [_cleaned(c) for c in self._stamp_columns()]
        return frame.select(pl.concat_str(columns, separator=" ") if len(columns) > 1 else columns[0])[frame.select(columns).columns[0]]

    def _count(self, times: pl.DataFrame) -> None:
        self._seen += times.height
        self._unreadable += int((times["time_reason"] == UNREADABLE).sum() or 0)

    def _judge(self, *, at_end: bool) -> None:
        if (
            self._seen >= _JUDGE_AFTER
            and self._unreadable > (1.0 - self.layout.minimum_parse_rate) * self._seen
            and (at_end or self._unreadable > 0.5 * self._seen)
        ):
            raise FileRefusedError(
                "parse rate too low", f"{self._unreadable} of {self._seen} rows have a time that does not fit {self.layout.time_format!r}"
            )

    def _long_values(self, frame: pl.DataFrame, localiser: Localiser) -> tuple[pl.DataFrame, int]:
        lay, at = self.layout, self.header.at
        tag = frame[f"c{at(lay.tag_column)}"].str.strip_chars()
        utc, reason = localiser.to_utc(self._stamps(frame), tag)
        quality = (
            frame[f"c{at(lay.quality_column)}"].str.strip_chars()
            if lay.quality_column in self.header.columns
            else pl.Series([None], dtype=pl.String).new_from_index(0, frame.height)
        )
        out = pl.DataFrame(
            {
                "line_no": frame["line_no"],
                "time_utc": utc,
                "time_reason": reason,
                "tag": tag,
                "text": frame.select(_cleaned(f"c{at(lay.value_column)}")).to_series(),
                "quality_text": quality,
            }
        )
        self._count(out)
        return self._non_blank(out)

    def _non_blank(self, out: pl.DataFrame) -> tuple[pl.DataFrame, int]:
        """Leave out blank and fill values; a long row without a value says nothing unless its quality is told."""
        blank = pl.col("text").fill_null("").is_in(["", *self.layout.fill_values])
        kept = out.filter(~blank | (pl.col("quality_text").fill_null("") != ""))
        return kept, out.height - kept.height

    def _wide_values(self, frame: pl.DataFrame, localiser: Localiser) -> tuple[pl.DataFrame, int]:
        utc, reason = localiser.to_utc(self._stamps(frame))
        skip = {self.layout.time_column, self.layout.date_column, "", *self.layout.ignore_columns}
        columns = {f"c{i}": name for i, name in enumerate(self.header.columns) if name not in skip}
        wide = frame.select("line_no", *(_cleaned(c).alias(name) for c, name in columns.items())).with_columns(
            time_utc=utc, time_reason=reason
        )
        self._count(wide)
        long = wide.unpivot(on=list(columns.values()), index=["line_no", "time_utc", "time_reason"], variable_name="tag", value_name="text")
        blank = pl.col("text").fill_null("").is_in(["", *self.layout.fill_values])
        kept = long.filter(~blank).select("line_no", "time_utc", "time_reason", "tag", "text", quality_text=pl.lit(None, dtype=pl.String))
        return kept, frame.height - kept["line_no"].n_unique()

    def _lab_values(self, frame: pl.DataFrame, localiser: Localiser, carried: _Carried) -> tuple[pl.DataFrame, int]:
        stamp = carried.fill_down(self._stamps(frame)) if self.layout.kind == "lab wide" else self._stamps(frame)
        utc, reason = localiser.to_utc(stamp)
        lay = self.layout
        named = {
            "sample": lay.sample_column, "point_text": lay.point_column, "analyte_text": lay.analyte_column, "text": lay.result_column, "unit_text": lay.unit_column,
            "qualifier_text": lay.qualifier_column, "reported_text": lay.reported_column, "method": lay.method_column, "crew": lay.crew_column,
        }  # fmt: skip
        base = frame.select("line_no", *(self._column(name).alias(key) for key, name in named.items())).with_columns(
            stamp_text=stamp, time_utc=utc, time_reason=reason, column=pl.lit(None, dtype=pl.String)
        )
        self._count(base)
        if lay.kind == "lab wide":
            base = self._lab_wide(frame, base)
        kept = base.filter(pl.col("text").fill_null("") != "").select("line_no", "stamp_text", "time_utc", "time_reason", *_LAB_TEXTS)
        return kept, frame.height - kept["line_no"].n_unique()

    def _lab_wide(self, frame: pl.DataFrame, base: pl.DataFrame) -> pl.DataFrame:
        columns = [r.column for r in self.layout.results if r.column in self.header.columns]
        parts = [
            base.with_columns(text=frame.select(_cleaned(f"c{self.header.at(c)}")).to_series(), column=pl.lit(c))
            for c in dict.fromkeys(columns)
        ]
        return pl.concat(parts).sort("line_no", maintain_order=True)

    def _column(self, name: str | None) -> pl.Expr:
        return _cleaned(f"c{self.header.at(name)}") if name in self.header.columns else pl.lit(None, dtype=pl.String)


@dataclass
class _Carried:
    """The last date of a lab sheet that writes it only in the first row of a block."""

    last: str | None = None

    def fill_down(self, stamps: pl.Series) -> pl.Series:
        filled = pl.DataFrame({"s": stamps}).select(_blank_to_null("s").forward_fill()).to_series().fill_null(self.last or "")
        self.last = filled[-1] if len(filled) else self.last
        return filled


def _blank_to_null(column: str) -> pl.Expr:
    text = pl.col(column).str.strip_chars()
    return pl.when(text == "").then(None).otherwise(text)


def _cleaned(column: str) -> pl.Expr:
    """Strip blanks, and the apostrophe or =\"...\" that spreadsheets put round text."""
    text = pl.col(column).str.strip_chars()
    return (
        pl.when(text.str.starts_with("'") | text.str.starts_with("="))
        .then(text.str.replace(r"^'|^=", "").str.strip_chars('"'))
        .otherwise(text)
    )


def _from_line(source: Iterator[bytes], first_line: int) -> Iterator[bytes]:
    """Drop the physical lines before `first_line`."""
    left = first_line - 1
    for piece in source:
        if left <= 0:
            yield piece
            continue
        start = 0
        while left and start < len(piece):
            end = piece.find(b"\n", start)
            if end < 0:
                start = len(piece)
                break
            start, left = end + 1, left - 1
        if start < len(piece):
            yield piece[start:]


def _empty(layout: Layout) -> pl.DataFrame:
    """Return a values frame without rows."""
    base: dict[str, pl.DataType] = {"line_no": pl.UInt32(), "time_utc": pl.Datetime("us", "UTC"), "time_reason": pl.String()}
    if layout.is_lab:
        return pl.DataFrame(
            schema={
                "line_no": pl.UInt32(),
                "stamp_text": pl.String(),
                "time_utc": base["time_utc"],
                "time_reason": pl.String(),
                **dict.fromkeys(_LAB_TEXTS, pl.String()),
            }
        )
    return pl.DataFrame(schema={**base, "tag": pl.String(), "text": pl.String(), "quality_text": pl.String()})
