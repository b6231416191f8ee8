"""pump-review: what can be said of the condition of each pump."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import click

from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option
from pipelines.cli.plants import as_of_option, each_plant, json_option, plant_option

if TYPE_CHECKING:
    from pipelines.cli.progress import Progress
    from pipelines.runs.summary import Summary


@click.command(epilog=EXIT_CODES)
@plant_option
@as_of_option
@json_option
@home_option
def pump_review(home: Home, plant: str | None, as_of: datetime | None, as_json: bool) -> int:
    """Write the pump condition review as PDF.

    One page a pump: the weekly index with its uncertainty, what loss is measured or can be excluded, the commissioning
    test, run hours, work on the pump and what it went through. Reads only the published file and the plant file. Writes
    <home>/published/reports/<plant>/<plant>_pump-condition.pdf and .json, and a record in <home>/runs/<plant>/. Exits with
    2 when nothing of the plant's pumps is published.
    """

    def run(one: str, progress: Progress) -> Summary:
        from pipelines import order

        return order.pump_review(home, one, call=progress.call, as_of=as_of)

    return each_plant(home, plant, as_json, run)
