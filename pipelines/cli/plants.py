"""nightly, weekly, rebuild: the runs of one plant or of all."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.base.home import Home
from pipelines.cli import side_by_side
from pipelines.cli.app import EXIT_CODES, home_option, known_plants
from pipelines.cli.outcomes import Outcome, outcome, told
from pipelines.cli.progress import Progress

if TYPE_CHECKING:
    from pipelines.base.receipts import ReceiptTime
    from pipelines.runs.summary import Summary


EARLIEST_YEAR, LATEST_YEAR = 1970, 2200  # of times given on the command line; a slip of the year stops here


class Instant(click.ParamType[datetime]):
    """An ISO 8601 date-time with an offset, such as 2026-03-31T06:30:00-04:00."""

    name = "iso-time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        if isinstance(value, datetime):
            return value
        try:
            when = datetime.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not an ISO 8601 date and time", param, ctx)
        if when.tzinfo is None:
            self.fail(f"{value!r} has no offset from UTC; add Z or one like -05:00", param, ctx)
        if not EARLIEST_YEAR <= when.year <= LATEST_YEAR:
            self.fail(f"{value!r} lies outside the years {EARLIEST_YEAR} to {LATEST_YEAR}", param, ctx)
        return when


class IsoWeek(click.ParamType[date]):
    """An ISO 8601 week such as 2026-W13, as the date of its Monday."""

    name = "YYYY-Www"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        year, mark, week = str(value).partition("-W")
        try:
            if mark and len(week) == 2:
                return date.fromisocalendar(int(year), int(week), 1)
        except ValueError:
            pass
        return self.fail(f"{value!r} is not an ISO week such as 2026-W13", param, ctx)


class Receipts(click.ParamType[Any]):
    """Receipt numbers and the time at which they truly came, such as 12-14=2026-03-02T06:30:00Z."""

    name = "receipts"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        from pipelines.base.receipts import ReceiptTime

        if isinstance(value, ReceiptTime):
            return value
        numbers, sign, time = str(value).partition("=")
        first, _, last = numbers.partition("-")
        if not (sign and first.isdecimal() and (last or first).isdecimal()):
            self.fail(f"{value!r} is not like 12=2026-03-02T06:30:00Z or 12-14=...", param, ctx)
        return ReceiptTime(int(first), int(last or first), Instant().convert(time, param, ctx))


plant_option = click.option("--plant", metavar="ID", help="Only this plant. Default: all, one after the other.")
as_of_option = click.option("--as-of", type=Instant(), help="Sets the run's clock, so that runs are reproducible. Default: now.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print the summaries as JSON.")


@click.command(epilog=EXIT_CODES)
@plant_option
@as_of_option
@click.option(
    "--settle", "settle_s", type=click.FloatRange(0, 86400), default=0.0, help="Leave files younger than so many seconds for the next run."
)
@click.option("--at-once", type=click.IntRange(1, 256), help="Plants at one time, each in a process of its own. Default: 1.")
@click.option(
    "--on",
    "runner",
    metavar="RUNNER",
    help="Prefect task runner for the plants: threads, processes, dask or dask:<address of a scheduler>.",
)
@json_option
@home_option
def nightly(
    home: Home, plant: str | None, as_of: datetime | None, settle_s: float, at_once: int | None, runner: str | None, as_json: bool
) -> int:
    """Load waiting files, update every table, publish.

    Reads <home>/plants/<plant>.toml and the files of <home>/inbox/<plant>/. Writes <home>/archive/<plant>/ (the files,
    untouched), <home>/store/<plant>.duckdb, <home>/published/ and a record in <home>/runs/<plant>/. A file that cannot be
    used is set aside with its reason; a plant that fails does not stop the others. The exit code is the worst of all.

    With --on the plants run as one flow of the Prefect server of PREFECT_API_URL, else of this home's `serve`, else of one started
    for it; files younger than 60 s stay in the inbox. Workers of a Dask cluster need the home under the same path.
    """
    if runner is not None:
        return side_by_side.on_runner(home, known_plants(home, plant), as_of, runner=runner, at_once=at_once, as_json=as_json)
    if at_once is not None and at_once > 1:
        return told(side_by_side.nights(home, known_plants(home, plant), as_of, settle_s=settle_s, at_once=at_once), as_json)

    def run(one: str, progress: Progress) -> Summary:
        from pipelines import order

        return order.nightly(home, one, as_of, call=progress.call, settle_s=settle_s)

    return each_plant(home, plant, as_json, run)


@click.command(epilog=EXIT_CODES)
@plant_option
@as_of_option
@click.option("--week", type=IsoWeek(), metavar="YYYY-Www", help="ISO week of the page. Default: the one that ended last.")
@json_option
@home_option
def weekly(home: Home, plant: str | None, as_of: datetime | None, week: date | None, as_json: bool) -> int:
    """Write the weekly page as PDF.

    Reads only <home>/published/flocledger.duckdb and the plant file. Writes <home>/published/reports/<plant>/ and a record
    in <home>/runs/<plant>/. Exits with 2 and writes no page when the data do not cover the whole week.
    """

    def run(one: str, progress: Progress) -> Summary:
        from pipelines import order
        from pipelines.plant import loader

        start = None if week is None else reporting_week(week, loader.of_plant(home, one).plant.week_start_number)
        return order.weekly(home, one, start, call=progress.call, as_of=as_of)

    return each_plant(home, plant, as_json, run)


@click.command(epilog=EXIT_CODES)
@click.option("--plant", metavar="ID", required=True, help="Plant to rebuild.")
@as_of_option
@click.option("--without-missing", is_flag=True, help="Go on though originals taken in before are missing from the archive.")
@click.option(
    "--receipt", "receipt_times", type=Receipts(), multiple=True, metavar="N[-M]=TIME", help="Another time of receipt, after a wrong clock."
)
@json_option
@home_option
def rebuild(
    home: Home, plant: str, as_of: datetime | None, without_missing: bool, receipt_times: tuple[ReceiptTime, ...], as_json: bool
) -> int:
    """Rebuild a plant's store from its archived files.

    Reads <home>/plants/<plant>.toml and <home>/archive/<plant>/. Writes <home>/store/<plant>.duckdb (the old one stays in
    place until the new one is complete), <home>/published/ and a record in <home>/runs/<plant>/. The tables equal those of
    the nightly runs. A damaged store is kept under another name. Exits with 2 and changes nothing when originals that were
    taken in before are missing.

    After a run with a wrong clock, `--receipt 12-14=2026-03-02T06:30:00Z` gives the originals with the receipt numbers 12 to 14
    (their names in the archive begin with them) the time at which they truly came; rows set aside as in the future then count.
    """

    def run(one: str, progress: Progress) -> Summary:
        from pipelines import order

        return order.rebuild(home, one, call=progress.call, as_of=as_of, without_missing=without_missing, receipt_times=receipt_times)

    return each_plant(home, plant, as_json, run)


@click.command(epilog=EXIT_CODES)
@click.option("--plant", metavar="ID", required=True, help="Plant to restate.")
@click.option("--from", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="First operating day.")
@click.option("--to", "last", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="Last operating day.")
@as_of_option
@json_option
@home_option
def backfill(home: Home, plant: str, first: datetime | None, last: datetime | None, as_of: datetime | None, as_json: bool) -> int:
    """Compute a range of operating days again.

    Without --from and --to: the days whose late data wait because they are older than the plant file's `restate_days`. Reads and
    writes what `nightly` does, but takes no file in; publishes once, at the end. Shows days done and the time left. Exits with 2
    when the plant has no data there, or nothing waits.
    """

    def run(one: str, progress: Progress) -> Summary:
        from pipelines import order

        since, until = (None if day is None else day.date() for day in (first, last))
        return order.backfill(home, one, since, until, as_of, call=progress.call, progress=progress.done)

    return each_plant(home, plant, as_json, run)


def each_plant(home: Home, plant: str | None, as_json: bool, run: Callable[[str, Progress], Summary]) -> int:
    """Run every plant asked for, one after the other, print what each did, and return the worst exit code."""

    def one_run(one: str) -> Outcome:
        with Progress(one, left=partial(_left, home.inbox(one))) as progress:
            return run(one, progress)

    return told(((one, outcome(home, one, partial(one_run, one))) for one in known_plants(home, plant)), as_json)


def reporting_week(monday: date, week_start_number: int) -> date:
    """Return the first day of the reporting week that holds an ISO week's Monday; `week_start_number` is its ISO weekday."""
    return monday - timedelta(days=(monday.isoweekday() - week_start_number) % 7)


def _left(inbox: Path) -> str:
    count = sum(1 for path in inbox.iterdir() if not path.name.startswith(".")) if inbox.is_dir() else 0
    return f"{count} to go"
