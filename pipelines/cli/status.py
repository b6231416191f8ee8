"""status: where each plant stands, as a table or JSON."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipelines.base.home import Home
from pipelines.base.sanitise import lines
from pipelines.cli.app import EXIT_CODES, home_option, known_plants
from pipelines.cli.plants import as_of_option

if TYPE_CHECKING:
    from pipelines.status import HomeStatus, PlantStatus

_HEAD = (
    "plant",
    "last run",
    "as of (UTC)",
    "exit",
    "last success",
    "lag h",
    "complete",
    "score",
    "inbox",
    "pending",
    "days",
    "from",
    "to",
    "published to",
    "MB",
)


@click.command(epilog=EXIT_CODES)
@click.option("--plant", metavar="ID", help="Only this plant. Default: all.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Also write the JSON to this file, for the site's monitor.")
@as_of_option
@home_option
def status(home: Home, plant: str | None, as_json: bool, out: Path | None, as_of: datetime | None) -> int:
    """Show each plant's last run and success, lag of its data, waiting work, days of data and what is published.

    Reads <home>/runs/, <home>/inbox/, <home>/store/ and <home>/published/flocledger.duckdb. Writes nothing but the file
    named by --out. Exits with the worst code of all plants: 4 when a store or the published file is damaged, else the code of the
    last run that failed, 2 when a plant has no data (yet, or of the last day) or no nightly run has succeeded for 30 h, 1 after
    warnings. Lag is from the last reading to now; score is the smallest data-quality score of a line on the last 7 days.
    """
    from pipelines.status import gather, write_whole

    asked = known_plants(home, plant)
    found = gather(home, asked, as_of)
    if out is not None:
        write_whole(out, found.as_json())
    if as_json:
        click.echo(found.as_json())
    else:
        click.echo("\n".join(table([_HEAD, *map(cells, found.plants)])))
        click.echo(lines("\n".join(remarks(found))), nl=bool(remarks(found)))
    return found.exit_code


def remarks(found: HomeStatus) -> list[str]:
    """Return what a person should know of each plant and of the home, a line each."""
    said = []
    for one in found.plants:
        failed = f"the last run failed: {one.last_error}" if one.last_error else None
        broken = f"left out, since not readable as records of runs: {', '.join(one.unreadable_records)}" if one.unreadable_records else None
        held = f"late data of {one.held_days} published days wait for `flocledger backfill --plant {one.plant}`" if one.held_days else None
        said += [f"{one.plant}: {text}" for text in (one.damaged, one.busy, one.no_data, failed, one.silent, held, broken) if text]
    if found.published_damaged:
        said.append(f"published file: {found.published_damaged}")
    if found.is_disk_low and found.disk_free_bytes is not None:
        said.append(f"only {found.disk_free_bytes / 2**30:.1f} GiB free on the disk of the home")
    return said


def cells(one: PlantStatus) -> tuple[str, ...]:
    """Return one row of the table; "-" stands for not known."""
    pending = "-" if one.pending_days is None else f"{one.pending_hours} h, {one.pending_days} d"
    shown = (
        one.plant, one.last_run, (one.last_run_as_of or "-")[:16].replace("T", " "), one.last_exit_code,
        (one.last_success_as_of or "-")[:16].replace("T", " "), one.lag_h, None if one.completeness is None else f"{one.completeness:.0%}",
        None if one.score is None else f"{one.score:.0f}", one.inbox_files,
        "damaged" if one.damaged else "being written" if one.busy else pending, one.days, one.first_day, one.last_day, one.published_to,
        None if one.disk_bytes is None else f"{one.disk_bytes / 1e6:,.0f}",
    )  # fmt: skip
    return tuple("-" if value is None else str(value) for value in shown)


def table(rows: list[tuple[str, ...]]) -> list[str]:
    """Return rows of text as lines with columns of even width."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
