"""ask: SQL or a saved question to a table, CSV, JSON, Parquet, an Excel workbook or a chart."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option

if TYPE_CHECKING:
    import polars as pl


@click.command("ask", epilog=EXIT_CODES)
@click.argument("words", nargs=-1)
@click.option("--list", "listed", is_flag=True, help="List the saved questions with their parameters.")
@click.option("-p", "--param", "given", multiple=True, metavar="NAME=VALUE", help="A parameter of a saved question ($NAME in SQL).")
@click.option(
    "--format", "kind", type=click.Choice(["table", "csv", "json", "parquet", "xlsx", "png", "svg"]), default="table", show_default=True
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write to this file (needed for parquet, xlsx, png and svg).")
@click.option("--seconds", type=click.FloatRange(0.1, 3600), default=30.0, show_default=True, help="Stop a longer statement.")
@home_option
def ask(words: tuple[str, ...], listed: bool, given: tuple[str, ...], kind: str, out: Path | None, seconds: float, home: Home) -> int:
    """Query the published file: WORDS is SQL text, a .sql file, or the name of a saved question; several with --format xlsx.

    Reads <home>/published/flocledger.duckdb, read-only: one SELECT, no other file, no setting, limited in time. Writes
    only the file named by --out. CSV and workbooks are safe to open in a spreadsheet. A workbook has one sheet for each
    question; each question takes the parameters it has. Cautions of a saved question go to standard error.
    """
    from pipelines.ask import render

    if listed or not words:
        _list_questions()
        return ExitCode.OK
    if len(words) > 1 and kind != "xlsx":
        raise UsageError(f"--format {kind} answers one question, {len(words)} are given", remedy="quote SQL text, or use --format xlsx")
    if kind in render.FILE_FORMATS and out is None:
        raise UsageError(f"--format {kind} needs --out", remedy="name the file to write")
    frames = _answers(home, words, dict(_pair(text) for text in given), seconds)
    if out is None:
        shown(render.as_text(frames[0], kind), raw_when_piped=kind != "table")
        return ExitCode.OK
    with _writing(out):
        if kind == "xlsx":
            _write_workbook(home, words, frames, out, seconds)
        elif kind in render.FILE_FORMATS:
            render.to_file(frames[0], kind, out)
        else:
            out.write_text(render.as_text(frames[0], kind), encoding="utf-8")
    return ExitCode.OK


def _list_questions() -> None:
    from pipelines.ask import questions

    for question in questions.saved().values():
        click.echo(f"{question.name}\n  {question.question}\n  {question.explains}")
        if question.caution:
            click.echo(f"  Caution: {question.caution}")
        for p in question.parameters:
            click.echo(f"  -p {p.name}={p.default or '(none)'}  {p.kind}: {p.meaning}")


def _answers(home: Home, words: tuple[str, ...], given: dict[str, str], seconds: float) -> list[pl.DataFrame]:
    """Return the answer to each question; its caution goes to standard error, not among the rows, which a program may read."""
    from pipelines import ask as asking
    from pipelines.ask import questions

    frames = []
    for one, its in zip(words, questions.shared_out(words, given), strict=True):
        frames.append(asking.run(home, one, its, seconds=seconds))
        if caution := questions.caution_of(one):
            click.echo(f"Caution: {caution}", err=True)
    return frames


def _write_workbook(home: Home, words: tuple[str, ...], frames: list[pl.DataFrame], out: Path, seconds: float) -> None:
    from pipelines.ask import excel

    excel.write(dict(zip(excel.sheet_names(words), frames, strict=True)), excel.units(home, seconds=seconds), out)


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
