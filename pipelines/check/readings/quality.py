"""Quality words and status codes to good (0), uncertain (1) or bad (2), by OPC UA severity."""

from __future__ import annotations

import polars as pl

from pipelines.plant.model import Layout, QualityWords
from schemas.vocabulary import BAD, GOOD, UNCERTAIN

_SEVERITY = {0: GOOD, 1: UNCERTAIN, 2: BAD}  # top two bits of a 32-bit OPC UA status code (OPC 10000-4, status code)
_SEVERITY_SHIFT = 30
_CLASSIC_MASK, _CLASSIC = 0xC0, {0xC0: GOOD, 0x40: UNCERTAIN, 0x00: BAD}  # classic quality: the top two of eight bits
_HEX_DIGITS_UA = 8  # 0x00000000 is a status code, 0x00 a classic quality


def code_of(word: str | None, words: QualityWords) -> int | None:
    """Return the code of a quality word; None when it means nothing known. A blank is good (nothing was said).

    The layout's own words decide; only when it lists none are numbers and the three plain words understood. A bare 0 is
    good as an OPC UA status code and bad as a classic 8-bit quality: it means nothing until the layout says which.
    """
    told = (word or "").strip().lower()
    if not told:
        return GOOD
    for code, listed in ((GOOD, words.good), (UNCERTAIN, words.uncertain), (BAD, words.bad)):
        if told in {w.strip().lower() for w in listed}:
            return code
    return None if words.good or words.uncertain or words.bad else _by_number(told)


def _by_number(text: str) -> int | None:
    """Return the severity of a number: up to 255 classic 8-bit, above an OPC UA status code (signed or not)."""
    try:
        number = int(text, 16) if text.startswith("0x") else int(text)
    except ValueError:
        return {"good": GOOD, "uncertain": UNCERTAIN, "bad": BAD}.get(text)
    if text.startswith("0x") and len(text) == 2 + _HEX_DIGITS_UA:
        return _SEVERITY.get(number >> _SEVERITY_SHIFT)
    if number == 0:
        return None
    if 0 < number <= 0xFF:
        return _CLASSIC.get(number & _CLASSIC_MASK)
    if -(1 << 31) <= number < 0:
        number += 1 << 32  # written as a signed 32-bit number
    return _SEVERITY.get(number >> _SEVERITY_SHIFT) if number >= 0 else None


def codes(texts: pl.Series, layout: Layout) -> pl.Series:
    """Return UInt8 quality codes of a column of words; null for a word that means nothing known."""
    size = len(texts)
    if texts.null_count() == size:
        return _constant(GOOD, size)
    if texts.null_count() == 0 and _is_one_word(texts):
        return _constant(code_of(texts[0], layout.quality_words), size)
    if isinstance(texts.dtype, pl.Enum):
        known = pl.Series("quality", [code_of(w, layout.quality_words) for w in texts.dtype.categories], dtype=pl.UInt8)
        return known.gather(texts.to_physical())
    distinct = texts.unique().to_list()
    meant = [code_of(w, layout.quality_words) for w in distinct]
    return texts.replace_strict(distinct, meant, return_dtype=pl.UInt8).alias("quality")


def _is_one_word(texts: pl.Series) -> bool:
    return len(texts.dtype.categories) == 1 if isinstance(texts.dtype, pl.Enum) else bool((texts == texts[0]).all())


def _constant(code: int | None, size: int) -> pl.Series:
    return pl.Series("quality", [code], dtype=pl.UInt8).new_from_index(0, size)
