"""inspect and new-plant: a first look at exports no plant file knows yet."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipelines.base.errors import ExitCode
from pipelines.base.sanitise import lines
from pipelines.cli.app import EXIT_CODES

if TYPE_CHECKING:
    from pipelines.inspect import Inspection, asking

_SHOWN_TAGS = 60


def _known_zone(_: click.Context, __: click.Parameter, zone: str | None) -> str | None:
    """Return the zone; a usage error when there is none of that name."""
    from zoneinfo import available_timezones

    from pipelines.plant.error_messages import closest

    if zone is None or zone in available_timezones():
        return zone
    near = closest(zone, sorted(available_timezones()))
    raise click.BadParameter(f"{zone!r} is no IANA time zone" + (f"; did you mean {near}?" if near else ", such as America/New_York"))


def _plant_id(_: click.Context, __: click.Parameter, word: str) -> str:
    """Return the id; a usage error when the plant file would not take it."""
    if re.fullmatch(r"[a-z0-9][a-z0-9-]{0,40}", word):
        return word
    raise click.BadParameter(f"{word!r} is no id of a plant: at most 41 small letters, digits and dashes, such as north-works")


@click.command("inspect", epilog=EXIT_CODES)
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--time-zone", callback=_known_zone, help="IANA zone of stamps that carry none. Default: UTC.")
@click.option("--member", help="File to inspect in a ZIP archive. Default: the first.")
@click.option("--sheet", help="Sheet to inspect in a workbook. Default: the first visible one that can be read.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def inspect(file: Path, time_zone: str | None, member: str | None, sheet: str | None, as_json: bool) -> int:
    """Inspect a new export FILE: encoding, layout, times, tags, words, and a layout block to paste.

    Reads FILE with the reader of the nightly run and writes nothing. Guesses are marked as open questions.
    """
    from pipelines import inspect as looking

    seen = looking.run(file, time_zone=time_zone, member=member, sheet=sheet)
    if as_json:
        click.echo(_json(seen))
        return ExitCode.OK
    look, proposal, survey = seen.look, seen.proposal, seen.survey
    _say(
        f"{seen.path.name}: {proposal.kind}, {look.encoding} ({look.why_encoding}), delimiter {look.delimiter!r}, {look.line_end} line ends"
    )
    if len(seen.sheets) > 1:
        _say(f"  sheets {', '.join(map(repr, seen.sheets))}; shown is {look.sheet or seen.sheets[0]!r}")
    _say(f"  {_dialect(seen)}")
    _say(
        f"header in line {proposal.header_line}, {len(proposal.columns)} columns; times in {proposal.time_column!r} as {proposal.time.time_format!r}"
    )
    for clue in seen.clues:
        _say(f"  {clue}")
    refused = ", ".join(f"{n} {reason}" for reason, n in sorted(survey.refused.items())) or "none"
    _say(
        f"rows read {survey.rows_read}, dropped {survey.rows_dropped}, refused {refused}; unreadable times {survey.unreadable_times}; reader {survey.reader}"
    )
    for tag in survey.tags[:_SHOWN_TAGS]:
        span = f"{tag.low:g} to {tag.high:g}" if tag.low is not None else "words " + ", ".join(tag.text_words)
        gap = f"step {tag.median_step_s:g} s, longest gap {tag.longest_gap_s:g} s" if tag.median_step_s is not None else "one value"
        role = (tag.role if tag.has_word else f"{tag.role}? (by letters and unit)") if tag.role else "role unknown"
        quality = f"; quality {', '.join(tag.quality_words)}" if tag.quality_words else ""
        _say(f"  {tag.tag} [{tag.unit or '?'}] {role}: {tag.count} values, {span}; {gap}{quality}")
    if len(survey.tags) > _SHOWN_TAGS:
        _say(f"  ... {len(survey.tags) - _SHOWN_TAGS} more tags; --json gives all")
    _say("\n" + seen.layout_toml)
    return ExitCode.OK


def _say(text: str) -> None:
    """Print what came out of a file so that it cannot act on the terminal."""
    click.echo(lines(text))


def _dialect(seen: Inspection) -> str:
    """Return how fields and numbers are written."""
    look, found = seen.look, seen.proposal
    told = [
        f"quote {look.quote}",
        f"escaped by {look.escape}" if look.escape else "doubled inside quotes",
        f"decimal sign {found.decimal!r}",
    ]
    told += [f"thousands parted by {found.thousands!r}"] if found.thousands else []
    told += [f"units in row {found.unit_row} below the header"] if found.unit_row else []
    told += [f"footers begin with {', '.join(map(repr, found.footer_words))}"] if found.footer_words else []
    told += [f"no value is written {', '.join(map(repr, found.fill_values))}"] if found.fill_values else []
    beside = found.quality_name or found.quality_column
    told += [f"quality in {beside!r}"] if beside else []
    return "; ".join(told)


def _json(seen: Inspection) -> str:
    import json
    from dataclasses import asdict

    found = {
        "file": seen.path.name,
        "sheets": seen.sheets,
        "readable_sheets": seen.readable_sheets,
        "encoding": seen.look.encoding,
        "delimiter": seen.look.delimiter,
        "quote": seen.look.quote,
        "escape": seen.look.escape,
        "decimal": seen.proposal.decimal,
        "thousands": seen.proposal.thousands,
        "kind": seen.proposal.kind,
        "time_format": seen.proposal.time.time_format,
        "clues": list(seen.clues),
        "open_questions": seen.proposal.open_questions,
        "survey": asdict(seen.survey),
        "layout_block": seen.layout_toml,
        "signal_blocks": seen.signals_toml(),
    }
    return json.dumps(found, default=str, indent=1)


@click.command("new-plant", epilog=EXIT_CODES)
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--id", "plant_id", required=True, callback=_plant_id, help="Short name of the plant: letters, digits, dashes.")
@click.option("--time-zone", required=True, callback=_known_zone, help="IANA time zone of the plant, such as America/New_York.")
@click.option("--ask", "is_asked", is_flag=True, help="Ask the open questions one by one; the answers go into the file.")
def new_plant(folder: Path, plant_id: str, time_zone: str, is_asked: bool) -> int:
    """Print a first plant file for the exports in FOLDER, guesses marked as open questions.

    Reads the files of FOLDER. Writes nothing: redirect the output to <home>/plants/<id>.toml, answer the questions (there, or
    one by one with --ask, which prints them beside the file), then run check-plant.
    """
    from pipelines.inspect import asking, first_plant

    files = [p for p in sorted(folder.iterdir()) if p.is_file() and not p.name.startswith(".")]
    text = first_plant.new_plant(files, plant_id=plant_id, time_zone=time_zone)
    if is_asked:
        _tell("Enter keeps what stands in [brackets] and leaves out what stands in (brackets); ? leaves the question open in the file.")
        text = asking.answered(text, _ask, _tell)
    _say(text)
    return ExitCode.OK


def _tell(text: str) -> None:
    click.echo(lines(text), err=True)


def _ask(question: asking.Question, key: asking.Key | None) -> str:
    """Return the answer to a question about one key, or (without a key) "" for yes and another text for no; the question stands above its first key."""
    if key is None:
        _tell(f"\n{question.text}")
        return "" if click.confirm(lines("  as proposed"), default=True, err=True) else "no"
    if key == question.keys[0]:
        _tell(f"\n{question.text}" + "".join(f"\n  {row}" for row in question.shown))
    is_left_out = key.is_off and (question.block is None or key == question.keys[0])
    shown = f"  {key.name} ({key.value})" if is_left_out else f"  {key.name} [{key.value}]"
    return str(click.prompt(lines(shown), default="", show_default=False, err=True))
