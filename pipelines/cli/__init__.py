"""The command line: parses, calls `order` and its neighbours, prints. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, FlocledgerError
from pipelines.cli.app import app

INTERRUPTED = 130  # what shells report for a process ended by the interrupt key


def main(argv: Sequence[str] | None = None) -> None:
    """Run the command line and end the process with its exit code."""
    sys.exit(run(argv))


def run(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; every failure is a short message on standard error."""
    try:
        return int(app.main(args=argv, prog_name="flocledger", standalone_mode=False) or ExitCode.OK)
    except click.Abort:
        click.echo("interrupted; the next run continues where this one stopped", err=True)
        return INTERRUPTED
    except click.ClickException as error:
        error.show()
        return ExitCode.PLANT_FILE_OR_USAGE
    except FlocledgerError as error:
        click.echo(sanitise.lines(f"error: {error}"), err=True)
        return error.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has left; nothing more to flush
        return ExitCode.OK
