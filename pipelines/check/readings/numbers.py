"""Convert the text of a value to what polars reads as a number: decimal sign, thousands groups, fill values."""

from __future__ import annotations

import re

import polars as pl

from pipelines.files.fill_values import is_fill
from pipelines.plant.model import Layout

_BLANKS = " \u00a0\u202f"  # a blank between thousands may be a no-break blank, or a narrow one


def as_written(layout: Layout) -> pl.Expr:
    """Return the column `text` as a number's text; null for a declared fill value and for what is no number as declared.

    A point where a comma is declared is no number. A sign between thousands parts groups of three: 12,5 is not 125.
    """
    text = pl.col("text")
    if layout.fill_values:
        text = pl.when(is_fill(text, layout.fill_values)).then(None).otherwise(text)
    if layout.thousands:
        text = _without_thousands(text, layout.thousands, layout.decimal)
    if layout.decimal == ",":
        text = pl.when(text.str.contains(".", literal=True)).then(None).otherwise(text.str.replace(",", ".", literal=True))
    return text


def _without_thousands(text: pl.Expr, sign: str, decimal: str) -> pl.Expr:
    """Take out the signs between groups of three digits; null where they stand elsewhere."""
    part = f"[{_BLANKS}]" if sign in _BLANKS else re.escape(sign)
    grouped = rf"^[+-]?\d{{1,3}}(?:{part}\d{{3}})+(?:{re.escape(decimal)}\d*)?$"
    return pl.when(text.str.contains(part)).then(pl.when(text.str.contains(grouped)).then(text.str.replace_all(part, ""))).otherwise(text)
