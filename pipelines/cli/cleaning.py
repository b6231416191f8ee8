"""clean-up: delete old records of runs, tracebacks, full logs and damaged stores."""

from __future__ import annotations

from datetime import timedelta

import click

from pipelines.base import clock
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option, say

DAYS = 400  # a year and its comparison


@click.command("clean-up", epilog=EXIT_CODES)
@click.option("--days", type=click.IntRange(min=1), default=DAYS, show_default=True, help="Keep files younger than so many days.")
@click.option("--dry-run", is_flag=True, help="Show what would be deleted; delete nothing.")
@home_option
def clean_up(home: Home, days: int, *, dry_run: bool) -> int:
    """Delete old records of runs, tracebacks, full logs and damaged stores.

    Reads the ages of files; writes nothing. Deletes only below <home>/runs/ and <home>/store/*.damaged-*. The newest records of each plant and kind of run stay. Files in
    <home>/archive/ are never deleted: `rebuild` and `trace` need them.
    """
    from pipelines.runs import retention

    found = retention.outdated(home, clock.now_utc() - timedelta(days=days))
    count, size = len(found), sum(path.stat().st_size for path in found)
    try:
        for path in found:
            if not dry_run:
                path.unlink(missing_ok=True)
    except OSError as error:
        raise UsageError(f"{error.filename}: {error.strerror}", remedy="give the account that runs flocledger access to it") from None
    say(f"{count:,} file{'' if count == 1 else 's'}, {size / 1e6:,.1f} MB {'would be deleted' if dry_run else 'deleted'}")
    return ExitCode.OK
