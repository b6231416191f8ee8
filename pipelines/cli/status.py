"""status: where each plant stands, as a table or JSON."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.base.sanitise import lines
from pipelines.cli.app import EXIT_CODES, home_option, known_plants

if TYPE_CHECKING:
    from pipelines.status import PlantStatus

_HEAD = ("plant", "last run", "as of (UTC)", "exit", "inbox", "pending", "days", "from", "to", "published to")


@click.command(epilog=EXIT_CODES)
@click.option("--plant", metavar="ID", help="Only this plant. Default: all.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@home_option
def status(home: Home, plant: str | None, as_json: bool) -> int:
    """Show each plant's last run, waiting work, days of data and what is published.

    Reads <home>/runs/, <home>/inbox/, <home>/store/ and <home>/published/flocledger.duckdb. Writes nothing. Ends with 2
    when no plant has data yet.
    """
    from pipelines.status import gather

    asked = known_plants(home, plant)
    found = [one for one in gather(home) if one.plant in asked]
    if as_json:
        click.echo(json.dumps([asdict(one) for one in found], default=str, indent=1))
    else:
        click.echo("\n".join(table([_HEAD, *map(cells, found)])))
        for one in found:
            if one.busy:
                click.echo(f"{one.plant}: {one.busy}")
            if one.no_data:
                click.echo(lines(f"{one.plant}: {one.no_data}"))
            if one.last_error:
                click.echo(lines(f"{one.plant}: the last run failed: {one.last_error}"))
            if one.unreadable_records:
                click.echo(lines(f"{one.plant}: left out, since not readable as records of runs: {', '.join(one.unreadable_records)}"))
    return ExitCode.OK if any(one.days or one.busy for one in found) else ExitCode.DATA_MISSING


def cells(one: PlantStatus) -> tuple[str, ...]:
    """Return one row of the table; "-" stands for not known."""
    pending = "-" if one.pending_days is None else f"{one.pending_hours} h, {one.pending_days} d"
    shown = (
        one.plant, one.last_run, (one.last_run_as_of or "-")[:16].replace("T", " "), one.last_exit_code, one.inbox_files,
        "being written" if one.busy else pending, one.days, one.first_day, one.last_day, one.published_to,
    )  # fmt: skip
    return tuple("-" if value is None else str(value) for value in shown)


def table(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows of text as lines with columns of even width."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
