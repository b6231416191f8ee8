"""dispose: decide what becomes of set-aside rows and flags."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pipelines.base.errors import ExitCode, LockedError
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option, known_plants, say
from pipelines.cli.plants import Instant

if TYPE_CHECKING:
    from pipelines.decisions.decide import Chosen

F = TypeVar("F", bound=Callable[..., Any])


class Word(click.ParamType[str]):
    """A word of a closed vocabulary of `schemas`, looked up when it is needed: `flocledger --help` stays quick."""

    name = "word"

    def __init__(self, module: str, vocabulary: str, shown: str = "") -> None:
        self.module, self.vocabulary, self.shown = module, vocabulary, shown

    def _choice(self) -> click.Choice[str]:
        return click.Choice(getattr(import_module(f"schemas.{self.module}"), self.vocabulary))

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str | None:
        return self.shown or self._choice().get_metavar(param, ctx)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        return self._choice().convert(value, param, ctx)


@click.group("dispose", epilog=EXIT_CODES)
def dispose() -> None:
    """Decide what becomes of set-aside rows and flags.

    Reads <home>/plants/<plant>.toml and <home>/store/<plant>.duckdb. Writes the decision as a line at the end of
    <home>/plants/<plant>.dispositions.jsonl, which outlives the store: a rebuild applies it again. Lines are never edited; a
    later decision on the same row or flag replaces an earlier one. Then updates every table: <home>/store/,
    <home>/published/ and a record in <home>/runs/<plant>/. Raw files and rows are not changed.
    """


def _shared(words: str) -> Callable[[F], F]:
    options = (
        click.option("--plant", metavar="ID", required=True, help="Plant id."),
        click.option("--as", "disposition", type=Word("vocabulary", words), required=True, help="What is decided."),
        click.option(
            "--role", "who", type=Word("tables.corrections_applied", "DECIDERS"), required=True, help="Who decides: a role, no name."
        ),
        click.option("--note", required=True, help="Why, in a sentence."),
        click.option("--open", "only_open", is_flag=True, help="Only those without a decision."),
        click.option("--count", type=click.IntRange(min=1), help="Confirms how many are decided at once."),
        click.option("--dry-run", is_flag=True, help="Show what would be decided; record nothing."),
        click.option("--later", is_flag=True, help="Record the decision only; the next nightly run applies it."),
        home_option,
    )

    def add(command: F) -> F:
        for option in reversed(options):
            command = option(command)
        return command

    return add


@dispose.command("row", epilog=EXIT_CODES)
@click.option("--file", help="Name of the file, as it came.")
@click.option("--load", "load_id", help="Load id; tells versions of a file apart.")
@click.option("--row", "line_no", type=click.IntRange(min=0), help="Line in the file; 0 is the file as a whole.")
@click.option("--reason", type=Word("vocabulary", "REASONS", shown="REASON"), help="Rows set aside for this reason.")
@click.option("--tag", help="Only this tag, or this column or analyte of a lab sheet.")
@click.option("--since", type=Instant(), help="Rows from this time on (ISO 8601 with offset).")
@click.option("--until", type=Instant(), help="Rows before this time.")
@click.option("--value", "given", help='For "corrected to": what counts instead, with its unit ("412 gpm"; on or off for a state).')
@_shared("DISPOSITIONS")
def row(
    home: Home,
    plant: str,
    disposition: str,
    who: str,
    note: str,
    given: str | None,
    *,
    count: int | None,
    dry_run: bool,
    later: bool,
    **filters: Any,
) -> int:
    """Decide set-aside rows: accept as is, corrected to a value, reject, or ask plant.

    Accepted or corrected values are used from now on, marked uncertain, unless there is another reading or result. The raw
    row is not changed.
    """
    from pipelines.decisions import decide

    known_plants(home, plant)
    verdict = decide.Verdict(disposition, who, note, given)
    chosen = decide.decide_rows(home, plant, decide.RowFilter(**filters), verdict, count=count, dry_run=dry_run)
    return _finished(home, plant, chosen, disposition, later=later)


@dispose.command("flag", epilog=EXIT_CODES)
@click.option("--flag", "flag_id", help="Id of the flag.")
@click.option("--line", help="Line id.")
@click.option("--detector", help="Name of the rule.")
@click.option("--day", type=click.DateTime(["%Y-%m-%d"]), help="Operating day.")
@click.option("--owner", type=Word("tables.corrections_applied", "DECIDERS"), help="Role that sees to the flag.")
@click.option("--due", type=click.DateTime(["%Y-%m-%d"]), help="Day by which the owner has seen to it.")
@_shared("FLAG_DISPOSITIONS")
def flag(
    home: Home,
    plant: str,
    disposition: str,
    who: str,
    note: str,
    day: datetime | None,
    owner: str | None,
    due: datetime | None,
    *,
    count: int | None,
    dry_run: bool,
    later: bool,
    **filters: Any,
) -> int:
    """Record what flags turned out to be: confirmed, data fault, expected, nuisance, or unknown.

    A flag that still has to be looked into is unknown, with --owner and --due: it stays an open item until a later decision.
    """
    from pipelines.decisions import decide

    known_plants(home, plant)
    chosen = decide.decide_flags(
        home, plant, decide.FlagFilter(day=day.date() if day else None, **filters),
        decide.Verdict(disposition, who, note, owner=owner, due_day=due.date() if due else None), count=count, dry_run=dry_run,
    )  # fmt: skip
    return _finished(home, plant, chosen, disposition, later=later)


def _finished(home: Home, plant: str, chosen: Chosen, disposition: str, *, later: bool) -> int:
    """Show what was chosen, bring the tables up to date unless told not to, and return the exit code."""
    from pipelines import order
    from pipelines.decisions import decide

    say("\n".join(decide.described(chosen)))
    if not chosen.decisions:
        click.echo(f"{len(chosen.rows)} would be decided as {disposition!r}; nothing was recorded (--dry-run)")
        return ExitCode.OK
    ids = ", ".join(d.id for d in chosen.decisions[:3]) + (" ..." if len(chosen.decisions) > 3 else "")
    click.echo(f"{len(chosen.decisions)} decided as {disposition!r}: {ids}")
    if later:
        click.echo("recorded; the next nightly run applies it")
        return ExitCode.OK
    try:
        summary = order.apply_decisions(home, plant)
    except LockedError as held:
        click.echo(f"recorded; another run holds the plant, the next nightly run applies it ({held.args[0]})", err=True)
        return ExitCode.WARNINGS
    click.echo("published; operating days worked on: " + ", ".join(f"{s.step} {s.days}" for s in summary.steps if s.step != "correct"))
    for notice in summary.notices:
        say(f"note: {notice.sentence}")
    return summary.exit_code
