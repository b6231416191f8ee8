"""replay: what other limits of the detectors would have flagged."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option, known_plants

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipelines.watch.replay import Replayed

_SHOWN = 15  # flags gained or lost told one by one


@click.command("replay", epilog=EXIT_CODES)
@click.option("--plant", required=True, help="Plant id.")
@click.option(
    "--set",
    "given",
    multiple=True,
    metavar="KEY=VALUE",
    help='Limit of a detector, such as short_cycling_starts=6 or deadhead_rise="10 psi".',
)
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="First operating day; default: all of them.")
@click.option("--keys", is_flag=True, help="List the keys with their values, and end.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@home_option
def replay(home: Home, plant: str, given: tuple[str, ...], since: datetime | None, *, keys: bool, as_json: bool) -> int:
    """Show which flags other limits of the detectors would have given over a plant's history.

    Reads <home>/plants/<plant>.toml and <home>/store/<plant>.duckdb. Writes nothing: to keep a limit, write it into the block
    [watch] of the plant file. Counts are causes: repeats and consequences of one cause count once. A detector whose flags are
    decided as nuisance more often than once in 30 weeks of a line is marked as over budget.
    """
    from pipelines.plant import loader
    from pipelines.store import Store
    from pipelines.watch import replay as replaying

    known_plants(home, plant)
    plant_file = loader.of_plant(home, plant)
    settings = replaying.changed(plant_file.watch, given)
    if keys:
        for key, field in type(settings).model_fields.items():
            click.echo(f"{key} = {getattr(settings, key):g}  # {field.description}")
        return ExitCode.OK
    with Store(home.store(plant), plant, read_only=True) as store:
        found = replaying.run(store, plant_file, settings, since=since.date() if since else None, progress=_progress)
    click.echo(_as_json(found) if as_json else sanitise.lines("\n".join(_lines(found))))
    return ExitCode.OK


def _progress(done: int, of: int) -> None:
    click.echo(f"judged {done} of {of} months", err=True)


def _as_json(found: Replayed) -> str:
    names = ("line", "flag_id", "detector", "operating_day", "severity", "sentence", "disposition")
    flags = {k: [{n: r[n] for n in names} for r in rows] for k, rows in (("gained", found.gained), ("lost", found.lost))}
    counts = [{**vars(c), "is_over_budget": c.is_over_budget} for c in found.counts]
    return json.dumps({"weeks": found.weeks, "counts": counts, **flags}, default=str, indent=1)


def _lines(found: Replayed) -> Iterator[str]:
    yield f"{found.weeks:.1f} weeks of operating days"
    yield f"{'line':<10} {'detector':<28} {'stands':>6} {'replayed':>8} {'gained':>6} {'lost':>4} {'confirmed':>9} {'nuisance':>8}"
    for c in found.counts:
        over = "  over budget" if c.is_over_budget else ""
        yield f"{c.line:<10} {c.detector:<28} {c.stand:>6} {c.replayed:>8} {c.gained:>6} {c.lost:>4} {c.lost_confirmed:>9} {c.lost_nuisance:>8}{over}"
    for line in sorted({c.line for c in found.counts}):
        now, then = (sum(getattr(c, k) for c in found.counts if c.line == line) for k in ("checks_per_week", "checks_per_week_replayed"))
        yield f"{line}: causes at check level a week: {now:.2f} stand, {then:.2f} replayed"
    for word, rows in (("gained", found.gained), ("lost", found.lost)):
        for r in rows[:_SHOWN]:
            yield f"{word}: {r['flag_id']}: {r['sentence']}" + (f" ({r['disposition']})" if r["disposition"] else "")
        if len(rows) > _SHOWN:
            yield f"{word}: and {len(rows) - _SHOWN} more"
