"""manual: print a page of the manual."""

from __future__ import annotations

import click

from pipelines import manual as pages
from pipelines.base.errors import ExitCode
from pipelines.cli.app import EXIT_CODES


@click.command(epilog=EXIT_CODES)
@click.argument("topic", required=False)
def manual(topic: str | None) -> int:
    """Print a page of the manual; without TOPIC, list the topics.

    Reads the pages shipped with the program; no network is needed. Writes nothing.
    """
    click.echo("\n".join(contents()) if topic is None else pages.page(topic).rstrip("\n"))
    return ExitCode.OK


def contents() -> list[str]:
    """Return the topics by group, each with the title of its page."""
    out = ["flocledger manual TOPIC prints one of these pages:"]
    for group, topics in pages.GROUPS.items():
        out += ["", group, *(f"  {topic:<16} {pages.title(topic)}" for topic in topics)]
    return out
