"""Fields of a record by column name, trimmed and without what spreadsheets put around text."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from pipelines.files.fill_values import is_fill
from pipelines.plant.model import Layout
from pipelines.receive.shapes.header import Header
from pipelines.receive.times.stamps import Times

_EQUALS_NUMBER = r"^=\s*[+-]?[\d.,]"


def cleaned(column: str, *, plain: bool = False) -> pl.Expr:
    """Strip blanks, and the apostrophe, =\"...\" or = before a number that spreadsheets put round text (`plain`: there is none of these)."""
    text = pl.col(column).str.strip_chars()
    if plain:
        return text
    return (
        pl.when(text.str.starts_with("'"))
        .then(text.str.strip_prefix("'").str.strip_chars())
        .when(text.str.starts_with('="'))
        .then(text.str.strip_prefix('="').str.strip_suffix('"').str.strip_chars())
        .when(text.str.contains(_EQUALS_NUMBER))
        .then(text.str.strip_prefix("=").str.strip_chars())
        .otherwise(text)
        .alias(column)
    )


def times(frame: pl.DataFrame) -> Times:
    """Return the times of records that have columns wall and instant."""
    wall, instant = frame["wall"], frame["instant"]
    return Times(wall if wall.null_count() < len(wall) or not len(wall) else None, instant)


def blank(column: str) -> pl.Expr:
    """Return whether a cleaned field says nothing."""
    return pl.col(column).fill_null("") == ""


@dataclass(frozen=True)
class Columns:
    """The columns a layout names, found in a header."""

    layout: Layout
    header: Header

    def field(self, name: str | None) -> str | None:
        """Return the batch's name (c0, c1, ...) of a column, or None when it is not declared or not in the file."""
        if name is None or name.strip() not in self.header.columns:
            return None
        return f"c{self.header.at(name.strip())}"

    def text(self, name: str | None, *, bare: bool, plain: bool = False) -> pl.Expr:
        """Return the cleaned text of a column; null where the file does not have it."""
        found = self.field(name)
        if found is None:
            return pl.lit(None, dtype=pl.String)
        return pl.col(found) if bare else cleaned(found, plain=plain)

    def stamps(self, frame: pl.DataFrame, *, bare: bool) -> pl.Series:
        """Return the stamp texts: the time column, or date and time joined by a blank; the offset of a zone column behind."""
        lay = self.layout
        named = [n for n in (lay.date_column, lay.time_column) if n]
        parts = [self.text(n, bare=bare) for n in dict.fromkeys(named)]
        if lay.zone_column is not None:
            parts.append(self._offset(bare=bare))
        joined = parts[0] if len(parts) == 1 else pl.concat_str(parts, separator=" ").str.strip_chars()
        return frame.select(joined.alias("stamp")).to_series()

    def _offset(self, *, bare: bool) -> pl.Expr:
        """Return the offset from UTC that a row's zone says, as +HHMM; a word of no known meaning as it is, so that the stamp is unreadable."""
        said = {word.strip().upper(): offset for word, offset in self.layout.zone_words.items()} | dict.fromkeys(
            ("UTC", "Z", "GMT"), "+00:00"
        )
        zone = self.text(self.layout.zone_column, bare=bare).str.to_uppercase()
        return zone.replace(said).str.replace(r"^(?:UTC|GMT)?([+-]\d\d):?(\d\d)$", "$1$2")

    def are_bare(self, frame: pl.DataFrame, blanks: int) -> bool:
        """Return whether all fields but the stamps are clean: their rows' only blanks are those inside the stamps."""
        if blanks <= 0:
            return blanks == 0
        stamps = {self.field(n) for n in (self.layout.date_column, self.layout.time_column)} - {None}
        inside = frame.select(pl.sum_horizontal(pl.col(str(c)).str.count_matches(" ", literal=True).sum() for c in stamps)).item()
        return bool(inside == blanks)

    def tags(self, frame: pl.DataFrame, *, bare: bool = False) -> pl.Series:
        """Return the tags of a long file, trimmed (`bare`: they are so already)."""
        name = self.field(self.layout.tag_column)
        assert name is not None
        bare = bare or is_bare(frame)
        tag = pl.col(name) if bare else pl.col(name).str.strip_chars()
        return frame.select(self.named(tag, bare=bare).alias("tag")).to_series()

    def named(self, tag: pl.Expr, *, bare: bool) -> pl.Expr:
        """Return the tag of a signal made of the entity of a row and a tag or name of a column; the latter where there are no entities."""
        if self.layout.entity_column is None:
            return tag
        parts = {"entity": self.text(self.layout.entity_column, bare=bare), "tag": tag}
        pieces = re.split(r"\{(entity|tag)\}", self.layout.entity_name)
        return pl.concat_str(parts[piece] if at % 2 else pl.lit(piece) for at, piece in enumerate(pieces))

    def entities(self, frame: pl.DataFrame) -> pl.Series | None:
        """Return the entity of each row; None where there are none."""
        if self.layout.entity_column is None:
            return None
        return frame.select(self.text(self.layout.entity_column, bare=is_bare(frame)).alias("entity")).to_series()

    def says_nothing(self, text: str = "text") -> pl.Expr:
        """Return whether a cleaned text is blank or one of the layout's fill values."""
        nothing = pl.col(text).fill_null("") == ""
        return nothing | is_fill(pl.col(text), self.layout.fill_values) if self.layout.fill_values else nothing

    def telling(self, values: pl.DataFrame) -> pl.DataFrame:
        """Return values (text, quality_text) without those that say nothing: no value, and a quality that is good or blank.

        Without a value but with another quality word a value is kept with blank text: the value before it must not be held
        across a time the logger knew to be bad.
        """
        nothing = values.select(self.says_nothing()).to_series()
        if not nothing.any():
            return values
        good = sorted({w.strip().lower() for w in self.layout.quality_words.good} | {"", "good"})
        silent = nothing & values["quality_text"].fill_null("").str.to_lowercase().is_in(good)
        return values.with_columns(text=pl.when(nothing).then(pl.lit("")).otherwise("text")).filter(~silent)


def is_bare(frame: pl.DataFrame) -> bool:
    """Return whether no field of these rows needs cleaning."""
    return bool(frame["bare"].all()) if "bare" in frame.columns else False


def is_plain(frame: pl.DataFrame) -> bool:
    """Return whether blanks are all that cleaning would take off these rows."""
    return bool(frame["plain"].all()) if "plain" in frame.columns else False
