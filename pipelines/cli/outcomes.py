"""What became of each plant of a command: shown as text or JSON, and the worst exit code."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, FlocledgerError, exit_code_of
from pipelines.base.home import Home
from pipelines.cli.app import is_unexpected, kept_error, say

if TYPE_CHECKING:
    from pipelines.runs.summary import Summary


@dataclass(frozen=True)
class Stopped:
    """A run that an error stopped: its exit code, what the record says, and what to show; passes between processes."""

    exit_code: int
    error: str
    shown: str


Outcome: TypeAlias = "Summary | Stopped"


def outcome(home: Home, plant: str, run: Callable[[], Outcome]) -> Outcome:
    """Return what a run gives; an error that must not stop other plants is part of it."""
    try:
        return run()
    except Exception as error:
        if not isinstance(error, FlocledgerError) and not is_unexpected(error):
            raise
        shown = f"error: {error}" if isinstance(error, FlocledgerError) else kept_error(home, error, plant)
        return Stopped(int(exit_code_of(error)), str(error), shown)


def told(outcomes: Iterable[tuple[str, Outcome]], as_json: bool) -> int:
    """Print what each plant did as it comes, or all as JSON at the end; return the worst exit code."""
    from pipelines.runs import summary_text

    worst, records = int(ExitCode.OK), []
    for plant, one in outcomes:
        if isinstance(one, Stopped):
            click.echo(sanitise.lines(f"{plant}: {one.shown}"), err=True)
            records.append({"plant": plant, "error": one.error, "exit_code": one.exit_code})
        else:
            records.append(json.loads(one.as_json()))
            if not as_json:
                say("\n".join(summary_text.lines(one, near=Path.cwd())))
        worst = max(worst, int(one.exit_code))
    if as_json:
        click.echo(json.dumps({"runs": records, "exit_code": worst}, indent=1))
    return worst
