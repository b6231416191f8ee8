"""Texts that a layout declares to mean "no value": case does not matter, as for state and quality words."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl


def is_fill(text: pl.Expr, fill_values: Iterable[str]) -> pl.Expr:
    """Return whether a cleaned text is one of the fill values, whatever its case; null stays null."""
    fills = sorted({fill.strip().lower() for fill in fill_values})
    has_letters = any(fill.upper() != fill for fill in fills)
    return (text.str.to_lowercase() if has_letters else text).is_in(fills)
