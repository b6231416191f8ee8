"""compare, plan-trial, trial-length: prove or refuse a saving, write and freeze its plan, say how long a trial must be."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option
from pipelines.cli.plants import as_of_option, json_option
from pipelines.cli.progress import Progress

if TYPE_CHECKING:
    from pipelines.compare.plan import Plan


@click.command(epilog=EXIT_CODES)
@click.argument("plan")
@as_of_option
@json_option
@home_option
def compare(plan: str, as_of: datetime | None, as_json: bool, home: Home) -> int:
    """Compare two arrangements by PLAN: estimates with intervals and verdicts shown, not shown, worse or refused.

    Reads <home>/plans/PLAN.toml (and its frozen copy) and the plant's store. Writes comparisons, comparison_plans,
    comparison_days and comparison_checks, publishes them, and writes the statement to <home>/published/reports/<plant>/.
    Ends with 1 when an outcome is refused.
    """
    from pipelines import order
    from pipelines.store import connect

    with Progress(plan) as progress:
        summary = order.compare(home, plan, call=progress.call, as_of=as_of, tell=progress.now)
    con = connect(home.published_of(summary.plant), read_only=True)
    try:
        found = con.execute(
            "SELECT outcome, estimate, low, high, unit, level, method, verdict, reason, plan_hash FROM comparisons "
            "WHERE plan = $plan AND as_of_utc = $at",
            {"plan": plan.removesuffix(".toml"), "at": summary.as_of},
        )
        names = [d[0] for d in found.description or ()]
        rows = [dict(zip(names, row, strict=True)) for row in found.fetchall()]
    finally:
        con.close()
    if as_json:
        click.echo(json.dumps({"plan": plan, "statement": summary.outputs[0], "outcomes": rows}, indent=1))
    else:
        for row in rows:
            number = "" if row["estimate"] is None else f" {row['estimate']:.2f} ({_end(row['low'])} to {_end(row['high'])}) {row['unit']}"
            click.echo(sanitise.lines(f"{row['outcome']}:{number} {row['verdict']}: {row['reason']}"))
        click.echo(f"statement: {summary.outputs[0]}")
    return ExitCode.WARNINGS if any(r["verdict"] == "refused" for r in rows) else ExitCode.OK


def _end(value: float | None) -> str:
    return "no end" if value is None else f"{value:.2f}"


@click.command("plan-trial", epilog=EXIT_CODES)
@click.argument("plan", required=False)
@click.option("--templates", is_flag=True, help="List the templates, one a design.")
@click.option("--template", "chosen", metavar="NAME", help="Print a template; put it into <home>/plans/ and fill it in.")
@click.option("--freeze", is_flag=True, help="Freeze the plan: keep its hash, text and the time beside it. It cannot be frozen twice.")
@click.option("--page", is_flag=True, help="Write the plan as a PDF to <home>/published/reports/<plant>/.")
@as_of_option
@json_option
@home_option
def plan_trial(
    plan: str | None, templates: bool, chosen: str | None, freeze: bool, page: bool, as_of: datetime | None, as_json: bool, home: Home
) -> int:
    """Check PLAN, draw the order of arms, print the sets and the dose ladder to run; with --freeze freeze it.

    Reads <home>/plans/PLAN.toml. Writes nothing, but with --freeze <home>/plans/PLAN.frozen.json, and with --page a PDF. The same seed draws the same
    order. Stay inside permit and handling limits while doses are stepped; have a rule for stopping.
    """
    from pipelines.base import clock
    from pipelines.compare import plan as plans

    if templates or chosen or plan is None:
        return _templates(chosen)
    loaded = plans.freeze(home, plan, clock.in_utc(as_of)) if freeze else plans.load(home, plan)
    drawn = _drawn(loaded.plan)
    if page:
        from pipelines import order

        written = order.trial_plan(home, plan, as_of=as_of)
        click.echo(f"page: {written}", err=as_json)
    if as_json:
        click.echo(
            json.dumps({"plan": loaded.name, "hash": loaded.shown_hash, "frozen_utc": str(loaded.frozen_utc or ""), **drawn}, indent=1)
        )
        return ExitCode.OK
    head = loaded.plan.plan
    state = f"frozen {loaded.frozen_utc:%Y-%m-%d %H:%M} UTC" if loaded.frozen_utc else "draft: freeze it with --freeze before the trial"
    click.echo(
        sanitise.lines(f"plan {loaded.name}, hash {loaded.shown_hash}, {state}\n{head.question}\ndesign: {head.design}, line {head.line}")
    )
    click.echo(sanitise.lines(f"arms: {head.arm_from} -> {head.arm_to}; primary outcome: {head.outcomes[0]}"))
    if loaded.plan.sets:
        click.echo(f"{len(loaded.plan.sets)} sets in the plan, {2 ** len(loaded.plan.sets):,} possible orders")
    elif drawn["toml"]:
        click.echo(
            f"\norder drawn by seed {loaded.plan.draw.seed}; put this into the plan, with is_drawn = true in [draw]:\n\n{drawn['toml']}"
        )
    for k, rungs in enumerate(drawn["rungs_pct"], 1):
        click.echo(f"set {k}: steps of {', '.join(f'{r:g} %' for r in rungs)} of the present dose, in this order, in both arms")
    return ExitCode.OK


def _drawn(plan: Plan) -> dict[str, Any]:
    from pipelines.compare import designs
    from pipelines.compare.plan import IN_SETS

    if plan.plan.design not in IN_SETS:
        return {"toml": "", "rungs_pct": []}
    sets = plan.sets or designs.drawn_sets(plan.plan, plan.draw)
    rungs = designs.drawn_rungs(plan.draw, len(sets)) if plan.draw.dose_rule == "ladder" else []
    return {"toml": "" if plan.sets else designs.as_toml(sets), "rungs_pct": rungs}


def _templates(chosen: str | None) -> int:
    from pipelines.base import resources

    found = {p.stem: p for p in sorted(Path(resources.folder("pipelines.compare") / "templates").glob("*.toml"))}
    if chosen is None:
        click.echo("\n".join(found))
        return ExitCode.OK
    if chosen not in found:
        raise UsageError(f"there is no template {chosen!r}", remedy=f"templates: {', '.join(found)}")
    click.echo(found[chosen].read_text(encoding="utf-8"), nl=False)
    return ExitCode.OK


@click.command("trial-length", epilog=EXIT_CODES)
@click.option("--plant", required=True, metavar="ID", help="Plant id.")
@click.option("--line", required=True, metavar="ID", help="Line id.")
@click.option("--saving", type=click.FloatRange(1, 80), default=10.0, show_default=True, help="Dose saving to show [%].")
@click.option("--margin", type=click.FloatRange(0.1, 2), default=0.5, show_default=True, help="Non-inferiority margin of cake [points].")
@json_option
@home_option
def trial_length(plant: str, line: str, saving: float, margin: float, as_json: bool, home: Home) -> int:
    """Say how many days each design needs, from the line's own scatter and autocorrelation; power 90 %.

    Reads the published file only. Writes nothing. What is promised is simulated with the method the design is judged by.
    """
    from pipelines.compare import lengths

    with Progress(f"{plant} {line}") as progress:
        rows, notes = progress.call(lengths.of_line, home, plant, line, saving, margin)
    if as_json:
        click.echo(json.dumps({"plant": plant, "line": line, "designs": rows, "notes": notes}, indent=1))
        return ExitCode.OK
    for row in rows:
        click.echo(f"{row['question']:<42} {row['design']:<28} {row['needs']}")
    click.echo(sanitise.lines("\n".join(["", *notes])))
    return ExitCode.OK
