"""Sanitised text of files and file names: nothing in it can act on a terminal or forge a line."""

from __future__ import annotations

LONGEST_NAME = 120  # characters of a name that are shown


def harmless(text: str, *, keep: str = "") -> str:
    """Return text with every character that does not print (control, direction, odd blanks, halves of pairs) spelled out as
    its escape, but those in `keep`.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in keep else f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}" for c in text)


def lines(text: str) -> str:
    """Return text of several lines made harmless; line ends and tabs are kept."""
    return harmless(text, keep="\n\t")


def name(text: str) -> str:
    """Return a name made harmless, its middle cut when it is long."""
    safe = harmless(text)
    return safe if len(safe) <= LONGEST_NAME else f"{safe[:100]}...{safe[-17:]}"
