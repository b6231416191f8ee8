"""demo: three invented plants from nothing to published tables and weekly pages."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES
from pipelines.cli.progress import Progress

if TYPE_CHECKING:
    from pipelines.demo import Made

DEFAULT_HOME = "flocledger-demo"
_SQL = (
    "SELECT plant, iso_week, round(dose_active_kg_t, 2) AS dose_active_kg_t, round(cake_ts_pct, 1) AS cake_ts_pct "
    "FROM kpi_week ORDER BY week_start_day DESC, plant, line LIMIT 8"
)


@click.command(epilog=EXIT_CODES)
@click.option(
    "--home",
    type=click.Path(file_okay=False, path_type=Path),
    help=f"Folder to make. Default: --home before the command, else ./{DEFAULT_HOME}.",
)
@click.option("--weeks", type=click.IntRange(2, 160), help="Weeks of data to generate. Default: 12.")
@click.option("--nights", type=click.IntRange(1, 60), help="Last days delivered one by one, as nightly runs. Default: 3.")
@click.option("--full", is_flag=True, help="Long demonstration: 16 weeks, the last 14 days delivered night by night.")
@click.option(
    "--seed", type=click.IntRange(0), default=1, show_default=True, help="Seed of the generator; the same seed gives the same bytes."
)
@click.pass_context
def demo(ctx: click.Context, home: Path | None, weeks: int | None, nights: int | None, full: bool, seed: int) -> int:
    """Make a demonstration home with three invented plants.

    Reads nothing. Writes one home folder, by default ./flocledger-demo. Replaces an earlier demonstration in it; exits with 3
    when the folder holds anything else. Takes about a minute, --full about two.
    """
    from pipelines import demo as demonstration

    root = ctx.find_root()
    given = home or root.params.get("home") or Path(DEFAULT_HOME)
    root.obj = place = Home.resolve(given)
    with Progress("demo") as progress:
        made = demonstration.run(
            place,
            weeks=weeks or (demonstration.FULL_WEEKS if full else demonstration.WEEKS),
            seed=seed,
            nights=nights or (demonstration.FULL_NIGHTS if full else demonstration.NIGHTS),
            tell=lambda text, done, of: progress.now(f"{text} ({done + 1} of {of})" if of > 1 else text),
        )
    click.echo("\n".join(closing_lines(made, given)))
    return ExitCode.OK


def closing_lines(made: Made, given: Path) -> list[str]:
    """Return the closing lines: where the outputs are, and three commands to try."""
    shown = shlex.quote(str(given))
    database = Path(given) / made.home.database.relative_to(made.home.root)
    page = Path(given) / made.pages[-1].relative_to(made.home.root) if made.pages else given
    query = f'import duckdb; duckdb.connect("{database}", read_only=True).sql("{_SQL}").show()'
    return [
        f"{len(made.plants)} invented plants, {made.files} files, {made.runs} runs, {made.seconds:.0f} s",
        "",
        f"  tables   {database}",
        f"  parquet  {Path(given) / made.home.parquet.relative_to(made.home.root)}",
        f"  pages    {Path(given) / 'published' / 'reports'}",
        "",
        "process engineer, a question in SQL:",
        f"  {shlex.quote(sys.executable)} -c {shlex.quote(query)}",
        "plant manager, the last weekly page:",
        f"  {page}",
        "data engineer, where each plant stands, and a run that finds nothing new:",
        f"  flocledger --home {shown} status --as-of {made.as_of:%Y-%m-%dT%H:%M:%SZ}",
        f"  flocledger --home {shown} nightly",
    ]
