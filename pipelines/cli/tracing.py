"""trace: from a published number to minutes, readings, file and line."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from pipelines import shown
from pipelines.cli.app import EXIT_CODES, home_option
from pipelines.errors import ExitCode, UsageError
from pipelines.home import Home

if TYPE_CHECKING:
    from pipelines.trace import Trace


@click.command("trace", epilog=EXIT_CODES)
@click.argument("column")
@click.option("--plant", required=True, help="Plant id.")
@click.option("--line", required=True, help="Line id.")
@click.option("--day", required=True, type=click.DateTime(["%Y-%m-%d"]), help="Operating day.")
@click.option("--minute", help="Show the readings of this UTC minute (ISO 8601); default: the first processing minute.")
@home_option
def trace(column: str, plant: str, line: str, day: datetime, minute: str | None, home: Home) -> int:
    """Trace COLUMN of kpi_day for a day: formula, inputs, lab results, files, and the raw lines of one minute.

    Reads the published file, the store and the archived originals. Writes nothing.
    """
    from pipelines import trace as tracing

    found = tracing.run(home, plant, line, day.date(), column, minute=_instant(minute))
    click.echo(shown.lines("\n".join(lines(found))))
    return ExitCode.OK


def _instant(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{text!r} is not a time", remedy="write 2026-03-05T13:30:00Z") from None
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def lines(found: Trace) -> list[str]:
    """Return the trace as text."""
    row = found.row
    out = [f"{found.column} = {found.value} [{found.unit}]", f"  {found.meaning}", "", "definition (sql/tables/kpi_day.sql)"]
    out += [f"  {text.removeprefix('-- ')}" for text in found.formula.splitlines()]
    out += ["", "totals of the row"]
    shown = ("polymer_active_kg", "dry_solids_t", "feed_volume_m3", "valid_minutes", "processing_minutes", "feed_ts_pct", "data_version")
    out += [f"  {name} = {row[name]}" for name in shown]
    out += [
        "",
        f"{found.valid_minutes.height} processing minutes; shown: {found.minute_utc:%Y-%m-%dT%H:%MZ}, state {found.minute.get('state')}",
    ]
    for r in found.readings:
        out.append(f"  {r.role} <- {r.tag} at {r.time_utc:%Y-%m-%dT%H:%M:%S.%fZ} = {r.value} (quality {r.quality})")
        out.append(f"    {r.archived_as}, line {r.line_no}: {(r.raw_text or '')[:160]}")
    out += ["", "lab results of the day and the three before"]
    for result in found.lab.iter_rows(named=True):
        out.append(
            f"  {result['operating_day']} {result['point']} {result['analyte']} = {result['value']:.6g} {result['unit']}, revision {result['revision']}, load {result['load_id']}, line {result['line_no']}"
        )
    out += ["", "files behind the day"]
    for load in found.loads.iter_rows(named=True):
        out.append(
            f"  {load['file_name']}: read {load['rows_read']}, kept {load['rows_kept']}, set aside {load['rows_set_aside']}; {load['archived_as']}"
        )
    return out
