"""The group of commands, what they share, and how an unexpected error ends."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar

import click

from pipelines import __version__
from pipelines.base import sanitise
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.runs import records

F = TypeVar("F", bound=Callable[..., Any])

# command -> module that defines it under the same name (dashes become underscores), in the order --help lists them
COMMANDS: dict[str, str] = {
    "demo": "pipelines.cli.demo",
    "nightly": "pipelines.cli.plants",
    "weekly": "pipelines.cli.plants",
    "rebuild": "pipelines.cli.plants",
    "backfill": "pipelines.cli.plants",
    "pump-review": "pipelines.cli.reviewing",
    "compare": "pipelines.cli.comparing",
    "plan-trial": "pipelines.cli.comparing",
    "trial-length": "pipelines.cli.comparing",
    "status": "pipelines.cli.status",
    "check-plant": "pipelines.cli.check_plant",
    "inspect": "pipelines.cli.inspecting",
    "new-plant": "pipelines.cli.inspecting",
    "verify-plant": "pipelines.cli.verifying",
    "ask": "pipelines.cli.ask",
    "trace": "pipelines.cli.tracing",
    "dispose": "pipelines.cli.disposing",
    "replay": "pipelines.cli.replaying",
    "serve": "pipelines.cli.serve",
    "clean-up": "pipelines.cli.cleaning",
    "manual": "pipelines.cli.manual",
}
EXIT_CODES = "Exit codes: 0 ok, 1 ok with warnings, 2 data missing, 3 plant file or usage, 4 internal error."


class App(click.Group):
    """Commands by name, imported when asked for; unexpected errors leave their traceback in a file."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(COMMANDS[cmd_name]), cmd_name.replace("-", "_"))
        return command if isinstance(command, click.Command) else None

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except Exception as error:
            if not is_unexpected(error):
                raise
            click.echo(sanitise.lines(kept_error(ctx.obj, error)), err=True)
            return ExitCode.INTERNAL


def is_unexpected(error: Exception) -> bool:
    """Return whether an error is a program error, not one a person can mend, a user's abort, or a closed pipe."""
    from pipelines.base.errors import FlocledgerError

    return not isinstance(error, FlocledgerError | click.ClickException | click.exceptions.Exit | click.Abort | BrokenPipeError)


def kept_error(home: Home, error: Exception, plant: str = "") -> str:
    """Write the traceback of an unexpected error below `<home>/runs/`; return the short message to show."""
    if not home.root.is_dir():  # a command without a home leaves none behind
        return f"{''.join(traceback.format_exception(error))}\nunexpected error: {type(error).__name__}: {error}"
    try:
        path = records.keep_traceback(home, error, plant)
    except OSError as unwritable:
        text = "".join(traceback.format_exception(error))
        return f"{text}\nunexpected error (the traceback above could not be kept in {home.root / 'runs'}: {unwritable.strerror})"
    return f"unexpected error: {type(error).__name__}: {error}\n  the traceback is in {path}"


def home_option(command: F) -> F:
    """Give a command its own --home, which wins over the one before the command."""

    def chosen(ctx: click.Context, _: click.Parameter, given: Path | None) -> Home:
        if given is not None:
            ctx.find_root().obj = Home.resolve(given)
        home = ctx.find_root().obj
        return home if isinstance(home, Home) else Home.resolve()

    return click.option(
        "--home", type=click.Path(file_okay=False, path_type=Path), callback=chosen, help="Home folder (as before the command)."
    )(command)


def say(text: str) -> None:
    """Write a line, or several, to standard output with nothing in them that acts on a terminal."""
    click.echo(sanitise.lines(text))


def known_plants(home: Home, plant: str | None) -> list[str]:
    """Return the plant asked for, or all that have a plant file; UsageError when there is none."""
    from pipelines.base.errors import UsageError

    plants = home.plants()
    if plant is None and plants:
        return plants
    if plant in plants:
        return [plant]
    where = home.root / "plants"
    if plants:
        raise UsageError(f"there is no plant {plant!r} in {where}", remedy=f"plants here: {', '.join(plants)}")
    raise UsageError(
        f"there is no plant file in {where}", remedy="put <plant>.toml there, or point --home or FLOCLEDGER_HOME at the right folder"
    )


@click.group(cls=App, invoke_without_command=False, epilog=EXIT_CODES, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--home",
    type=click.Path(file_okay=False, path_type=Path),
    help="Home folder of all plants, inboxes and outputs. Default: FLOCLEDGER_HOME, else ./flocledger-home.",
)
@click.version_option(__version__, prog_name="flocledger")
@click.pass_context
def app(ctx: click.Context, home: Path | None) -> None:
    """Keep a ledger of polymer, pressure and cake of sludge dewatering.

    Takes plants' nightly exports and lab sheets from <home>/inbox/<plant>/, checks them, and publishes KPIs as one
    DuckDB file, Parquet and a weekly page. Advisory only: no control, alarm or compliance function.
    """
    ctx.obj = Home.resolve(home)
