"""Markdown of generated pages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return rows as a Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "".join("| " + " | ".join(cell(text) for text in row) + " |\n" for row in lines)


def cell(text: str) -> str:
    """Return a text that cannot break a Markdown table."""
    return text.replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")
