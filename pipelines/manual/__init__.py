"""The manual: pages shipped inside the package, so that they are there on a machine without a network."""

from __future__ import annotations

from pathlib import Path

from pipelines.base.errors import UsageError

FOLDER = Path(__file__).parent
GROUPS: dict[str, tuple[str, ...]] = {  # group -> topics, in reading order; a topic is the stem of its page
    "Tutorial": ("tutorial",),
    "How to": ("operate", "backup", "upgrade", "corrections", "trials", "ask"),
    "Explanation": ("minutes", "dose", "lab", "intake", "uncertainty", "flags", "ledger", "walkthrough"),
    "Reference": ("plant-file", "roles-and-units", "commands", "words", "tables", "formulas", "dictionary"),
    "Background": ("threats", "licences", "decisions"),
}
ELSEWHERE = {"dictionary": FOLDER.parents[1] / "schemas" / "DICTIONARY.md"}  # pages that another room writes


def topics() -> tuple[str, ...]:
    """Return all topics in reading order."""
    return tuple(topic for group in GROUPS.values() for topic in group)


def path_of(topic: str) -> Path:
    """Return the file of a topic; UsageError for a topic that does not exist."""
    if topic not in topics():
        raise UsageError(f"the manual has no topic {topic!r}", remedy=f"topics: {', '.join(topics())}")
    return ELSEWHERE.get(topic, FOLDER / f"{topic}.md")


def page(topic: str) -> str:
    """Return the text of a topic as Markdown."""
    return path_of(topic).read_text(encoding="utf-8")


def title(topic: str) -> str:
    """Return the heading of a topic's page."""
    return page(topic).splitlines()[0].removeprefix("# ")
