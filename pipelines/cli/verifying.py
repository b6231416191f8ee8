"""verify-plant: see in a minute whether roles, units, zones and signs of a plant file are right."""

from __future__ import annotations

from pathlib import Path

import click

from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.base.sanitise import lines
from pipelines.cli.app import EXIT_CODES, home_option, known_plants


def _own(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, dict[str, float]]:
    """Return line -> check -> figure of texts such as 'line-1:feed volume=450'; a usage error for another form."""
    found: dict[str, dict[str, float]] = {}
    for text in given:
        name, _sign, value = text.partition("=")
        line, _colon, check = name.partition(":")
        try:
            found.setdefault(line.strip(), {})[check.strip()] = float(value)
        except ValueError:
            raise click.BadParameter(f"{text!r} is not such as 'line-1:feed volume=450'") from None
    return found


@click.command("verify-plant", epilog=EXIT_CODES)
@click.argument("plant")
@click.option("--days", type=click.IntRange(1, 31), default=7, show_default=True, help="First operating days to look at.")
@click.option(
    "--own", multiple=True, callback=_own, help="The plant's own figure beside a check: 'line-1:feed volume=450'. May be repeated."
)
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), default=Path(), help="Folder of the pictures. Default: here.")
@home_option
def verify_plant(home: Home, plant: str, days: int, own: dict[str, dict[str, float]], out: Path) -> int:
    """Compare the first days of PLANT with each other and with the plant's own figures; draw each signal with its role and unit.

    Reads <home>/plants/ and <home>/store/. Writes one PNG a line to --out. Exits with 1 when a check is in doubt. Advisory only.
    """
    from pipelines import verify
    from pipelines.verify.checks import DOUBT

    known_plants(home, plant)
    seen = verify.run(home, plant, out, days=days, own=own)
    click.echo(f"{'line':<10} {'check':<42} {'found':>10} {'unit':<6} {'own':>9}  {'usual':<24} verdict")
    for f in seen.findings:
        found = "-" if f.found is None else f"{f.found:.4g}"
        beside = "-" if f.own is None else f"{f.own:.4g}"
        click.echo(lines(f"{f.line:<10} {f.check:<42} {found:>10} {f.unit:<6} {beside:>9}  {f.usual:<24} {f.verdict}"))
        if f.hint:
            click.echo(lines(f"{'':<11}look at: {f.hint}"))
    for picture in seen.pictures:
        click.echo(lines(f"wrote {picture}"))
    return ExitCode.WARNINGS if any(f.verdict == DOUBT for f in seen.findings) else ExitCode.OK
