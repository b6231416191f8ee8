"""ask: SQL or a saved question to a table, CSV, JSON, Parquet or a chart."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option


@click.command("ask", epilog=EXIT_CODES)
@click.argument("words", required=False)
@click.option("--list", "listed", is_flag=True, help="List the saved questions with their parameters.")
@click.option("-p", "--param", "given", multiple=True, metavar="NAME=VALUE", help="A parameter of a saved question ($NAME in SQL).")
@click.option("--format", "kind", type=click.Choice(["table", "csv", "json", "parquet", "png", "svg"]), default="table", show_default=True)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write to this file (needed for parquet, png and svg).")
@click.option("--seconds", type=click.FloatRange(0.1, 3600), default=30.0, show_default=True, help="Stop a longer statement.")
@home_option
def ask(words: str | None, listed: bool, given: tuple[str, ...], kind: str, out: Path | None, seconds: float, home: Home) -> int:
    """Query the published file: WORDS is SQL text, a .sql file, or the name of a saved question.

    Reads <home>/published/flocledger.duckdb, read-only: one SELECT, no other file, no setting, limited in time. Writes
    only the file named by --out. CSV is safe to open in a spreadsheet. Cautions of
    a saved question go to standard error.
    """
    from pipelines import ask as asking
    from pipelines.ask import questions, render

    if listed or words is None:
        for question in questions.saved().values():
            click.echo(f"{question.name}\n  {question.question}\n  {question.explains}")
            if question.caution:
                click.echo(f"  Caution: {question.caution}")
            for p in question.parameters:
                click.echo(f"  -p {p.name}={p.default or '(none)'}  {p.kind}: {p.meaning}")
        return ExitCode.OK
    frame = asking.run(home, words, dict(_pair(text) for text in given), seconds=seconds)
    if caution := questions.caution_of(words):
        click.echo(f"Caution: {caution}", err=True)  # not among the rows, which a program may read
    if kind in render.FILE_FORMATS:
        if out is None:
            raise UsageError(f"--format {kind} needs --out", remedy="name the file to write")
        with _writing(out):
            render.to_file(frame, kind, out)
        return ExitCode.OK
    text = {"table": render.as_table, "csv": render.as_csv, "json": render.as_json}[kind](frame)
    if out is not None:
        with _writing(out):
            out.write_text(text, encoding="utf-8")
    else:
        shown(text, raw_when_piped=kind != "table")
    return ExitCode.OK


def shown(text: str, *, raw_when_piped: bool) -> None:
    """Write text to standard output: harmless on a terminal, as it is into a file or pipe where a program reads it."""
    end = "" if text.endswith("\n") else "\n"
    if raw_when_piped and not sys.stdout.isatty():
        sys.stdout.write(text + end)  # click would leave out what it takes for colours
    else:
        click.echo(sanitise.lines(text) + end, nl=False)


@contextmanager
def _writing(out: Path) -> Iterator[None]:
    """Turn a failure to write the file into a UsageError."""
    try:
        yield
    except OSError as error:
        raise UsageError(f"{out} cannot be written: {error.strerror or error}", remedy="name a file in a folder that is there") from None


def _pair(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        raise UsageError(f"{text!r} is not NAME=VALUE", remedy="write -p plant=alder-fork")
    return name, value
