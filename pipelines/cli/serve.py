"""serve: the schedules of all plants, in plant time, until interrupted."""

from __future__ import annotations

import os

import click

from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option, known_plants

_PORT = 4200  # loopback port of the local Prefect server


@click.command(epilog=EXIT_CODES)
@click.option("--plant", metavar="ID", help="Only this plant. Default: all.")
@click.option("--port", type=click.IntRange(1024, 65535), default=_PORT, show_default=True, help="Loopback port of the Prefect server.")
@click.option(
    "--start-seconds", "start_s", type=click.FloatRange(1, 3600), default=90.0, show_default=True, help="Wait so long for that server."
)
@click.option("--at-once", type=click.IntRange(min=1), help="Runs at one time. Default: one a core.")
@click.option("--list", "only_list", is_flag=True, help="Show the schedules and end.")
@home_option
def serve(home: Home, plant: str | None, port: int, start_s: float, at_once: int | None, only_list: bool) -> int:
    """Run the nightly and weekly schedules of every plant until interrupted, and a check of their health every hour.

    Reads the plant files for time zone, operating day and week start; each run reads and writes what `nightly` and `weekly`
    do; a `prefect.yaml` is needed only for a work pool. Uses the Prefect server of PREFECT_API_URL; without one, starts its own on 127.0.0.1 with its history in
    <home>/prefect/. That server listens on 127.0.0.1 only and asks for no login: whoever can log in to this machine can start
    runs of this home's plants there, and of no other home. Writes <home>/health.json every hour. FLOCLEDGER_ALERT_URL
    and FLOCLEDGER_ALERT_TO name where failed runs and silent plants are told. A second `serve` of the same home exits with 3.
    """
    from pipelines.flows import deployments
    from pipelines.plant import loader

    planned = [d for one in known_plants(home, plant) for d in deployments.of_plant(loader.of_plant(home, one))]
    for one in planned:
        click.echo(f"{one.flow:<8} {one.name:<20} {one.cron:<12} {one.time_zone}")
    if only_list:
        return ExitCode.OK
    from pipelines.flows import serving

    by_hand = [d for one in known_plants(home, plant) for d in deployments.by_hand(loader.of_plant(home, one))]
    at_once = at_once or os.cpu_count() or 1
    serving.serve(home, [*planned, *by_hand, *deployments.of_home()], port=port, start_s=start_s, at_once=at_once)
    return ExitCode.OK
