"""check-plant: read a plant file and list what it provides."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option, say

if TYPE_CHECKING:
    from pipelines.plant.model import Layout, PlantFile


_PER = {"disposal_wet": "kg wet cake", "power": "kWh", "water": "m3", "recycle": "kg dry solids"}


@click.command("check-plant", epilog=EXIT_CODES)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--against", metavar="FILE|VERSION", help="Say what differs from a file, a version in the store (plant_file_id), or `used`.")
@home_option
def check_plant(file: Path, against: str | None, home: Home) -> int:
    """Check the plant file FILE; show its lines, signals by role, layouts, and missing inputs of each KPI.

    Reads FILE, and with --against the other file or the store. Writes nothing. --against says key by key what a change restates. Exits with 0 when every KPI has its inputs, 1 when some will be null or a day lies between
    two entries that look as if they follow each other, 3 when the file cannot be used: the message names line, key, value and remedy.
    """
    from pipelines.cli import plant_changes
    from pipelines.compute import settings
    from pipelines.plant import gaps, kpi_inputs, loader

    plant_file = loader.load(file)
    settings.fitting(plant_file)
    lacking = [need for need in kpi_inputs.needs(plant_file) if need.missing]
    say("\n".join(_plant(plant_file)))
    for line in plant_file.lines:
        say(f"\nline {line.id}: {line.name}, {line.device}, {line.pump.kind} pump {line.pump.id}, polymer meter {line.polymer_meter}")
        for signal in sorted((s for s in plant_file.signals if s.line == line.id), key=lambda s: (s.role, s.tag)):
            say(f"  {signal.role:<28} {signal.tag} [{signal.unit}]{_span(signal.since, signal.until)}")
        for need in (n for n in lacking if n.line == line.id):
            say(f"  missing for {need.kpi}: {'; '.join(need.missing)}")
    say("\n".join(_understood(plant_file)))
    say("\nlayouts")
    for layout in plant_file.layouts:
        say(f"  {layout.id:<16} {layout.kind:<9} {layout.files}  {_stamp(layout, plant_file)}")
    say("\n".join(_corrections(plant_file)))
    if against is not None:
        say("\n".join(plant_changes.told(home, plant_file, file, against)))
    warnings = gaps.day_gaps(plant_file)
    if warnings:
        say("".join(f"\nwarning: {text}" for text in warnings))
    say(f"\n{file} can be used" + (f"; {len(lacking)} groups of KPIs will be null" if lacking else "; every KPI has its inputs"))
    return ExitCode.WARNINGS if lacking or warnings else ExitCode.OK


def _plant(plant_file: PlantFile) -> list[str]:
    plant = plant_file.plant
    return [
        f"plant {plant.id}: {plant.name}{' (invented)' if plant.invented else ''}",
        f"  time zone {plant.time_zone}, operating day from {plant.operating_day_start:%H:%M}, week from {plant.week_start}, "
        f"units {plant.units}, prices in {plant.currency}",
    ]


def _understood(plant_file: PlantFile) -> list[str]:
    """Return polymers, prices and targets as they are understood, in SI: a slip of unit shows here."""
    money, out = plant_file.plant.currency, []
    for p in plant_file.polymers:
        strength = "" if p.solution_strength_pct is None else f", solution {p.solution_strength_pct:g} % active"
        price = "" if p.price_neat is None else f", {p.price_neat:.4g} {money}/kg neat"
        density = "" if p.density is None else f"{p.density:.5g} kg/m3, "
        out.append(
            f"  {p.product} on {', '.join(p.lines)} since {p.since}: {density}{p.active_fraction:g} of the neat product active{strength}{price}"
        )
    for dated in plant_file.prices:
        said = [f"{name} {value:.4g} {money}/{per}" for name, per in _PER.items() if (value := getattr(dated, name)) is not None]
        out.append(f"  prices since {dated.since}: {', '.join(said)}")
    for t in plant_file.targets:
        ends = [f"{word} {t.si(x):.4g}" for word, x in (("at least", t.at_least), ("at most", t.at_most)) if x is not None]
        ends += [f"usual {t.si(t.usual[0]):.4g} to {t.si(t.usual[1]):.4g}"] if t.usual else []
        out.append(f"  target of {t.line}, {t.kpi}: {', '.join(ends)}")
    return ["", "polymers, prices and targets as understood, in SI", *out] if out else []


def _corrections(plant_file: PlantFile) -> list[str]:
    """Return the corrections register; whether an entry matches anything is known to the runs, not to the plant file."""
    rows = [
        f"  {c.id:<16} {c.action:<9} {c.subject}: {c.reason}" + (f" (expects {c.expect})" if c.expect else " (expects nothing)")
        for c in plant_file.corrections
    ]
    return ["", "corrections, the later one counts where two match", *rows] if rows else []


def _span(since: object, until: object) -> str:
    return (f" since {since}" if since else "") + (f" until {until} (the first day after)" if until else "")


def _stamp(layout: Layout, plant_file: PlantFile) -> str:
    zone = f"plant ({plant_file.plant.time_zone})" if layout.time_zone == "plant" else layout.time_zone
    return f"times {layout.time_format!r}, zone {zone}, {layout.stamp}"
