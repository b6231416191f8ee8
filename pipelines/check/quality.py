"""Quality words and status codes to good (0), uncertain (1) or bad (2), by OPC UA severity."""

from __future__ import annotations

from pipelines.plantfile import QualityWords
from schemas.vocabulary import BAD, GOOD, UNCERTAIN

_SEVERITY_BITS = 30  # OPC UA status code: the top two bits are the severity
_CLASSIC_MASK, _CLASSIC = 0xC0, {0xC0: GOOD, 0x40: UNCERTAIN, 0x00: BAD}  # classic 8-bit quality: the top two of eight bits


def code_of(word: str, words: QualityWords) -> int | None:
    """Return the code of a quality word as the layout lists it, else by its number; None when it means nothing known.

    Numbers up to 255 are classic 8-bit qualities, larger ones OPC UA status codes (OPC 10000-4, 7.39).
    """
    folded = word.strip().lower()
    for code, listed in ((GOOD, words.good), (UNCERTAIN, words.uncertain), (BAD, words.bad)):
        if folded in {w.strip().lower() for w in listed}:
            return code
    return None if words.good or words.uncertain or words.bad else _by_number(folded)


def _by_number(text: str) -> int | None:
    try:
        number = int(text, 16) if text.startswith("0x") else int(text)
    except ValueError:
        return {"good": GOOD, "uncertain": UNCERTAIN, "bad": BAD}.get(text)
    if 0 <= number <= 0xFF:
        return _CLASSIC.get(number & _CLASSIC_MASK)
    if number < 0:
        number += 1 << 32  # written as a signed 32-bit number
    severity = number >> _SEVERITY_BITS
    return {0: GOOD, 1: UNCERTAIN, 2: BAD}.get(severity)
