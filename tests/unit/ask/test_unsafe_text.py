"""Answers that are data of strangers: no formula in any spreadsheet's setting, no escape sequence on a terminal, no endless function."""

from __future__ import annotations

import csv
import os
import pty
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipelines.ask import child, render
from pipelines.base import clock
from pipelines.base.errors import UsageError
from pipelines.store import connect

ROOT = Path(__file__).resolve().parents[3]
ATTACKS = ["29-01-2026;=cmd|' /C calc'!A0", 'x; "=1+1"', "a\t@SUM(A1)", "b;+1", "c|-1", "=1", " =1", '"=1', "d\n=1", "e;\uff1d1"]
STARTS = tuple("=+-@\uff1d")


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("quoting", [csv.QUOTE_MINIMAL, csv.QUOTE_NONE])
@pytest.mark.parametrize("attack", ATTACKS)
def test_no_cell_is_a_formula_whatever_separator_a_spreadsheet_uses(attack: str, separator: str, quoting: int) -> None:
    text = render.as_csv(pl.DataFrame({"n": [2], "t": [attack], f"h{attack}": ["y"]}))
    cells = [cell for row in csv.reader(text.splitlines(), delimiter=separator, quoting=quoting) for cell in row]
    assert [cell for cell in cells if cell.strip(' "').startswith(STARTS)] == []


def on_a_terminal(words: list[str], folder: Path) -> bytes:
    """What a command writes when its output is a terminal."""
    own, its = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "pipelines", *words], stdout=its, stderr=its, cwd=ROOT, env={**os.environ, "TERM": "xterm"}
    ) as process:
        os.close(its)
        seen = b""
        while True:
            try:
                part = os.read(own, 65536)
            except OSError:  # the other end was closed
                break
            if not part:
                break
            seen += part
        process.wait(60)
    os.close(own)
    assert folder.exists()
    return seen


@pytest.fixture
def home(tmp_path: Path) -> Path:
    (tmp_path / "published").mkdir()
    con = connect(tmp_path / "published" / "flocledger.duckdb")
    con.execute("CREATE TABLE t AS SELECT 'a' || chr(27) || ']0;owned' || chr(7) || chr(27) || '[2J' AS x")
    con.close()
    return tmp_path


@pytest.mark.parametrize("kind", ["table", "csv", "json"])
def test_an_answer_cannot_act_on_the_terminal(home: Path, kind: str) -> None:
    seen = on_a_terminal(["--home", str(home), "ask", "SELECT x FROM t", "--format", kind], home)
    assert b"owned" in seen
    assert b"\x1b" not in seen
    assert b"\x07" not in seen


def test_into_a_pipe_csv_goes_as_it_is(home: Path) -> None:
    command = [sys.executable, "-m", "pipelines", "--home", str(home), "ask", "SELECT x FROM t", "--format", "csv"]
    done = subprocess.run(command, capture_output=True, cwd=ROOT, check=True)
    assert done.stdout == b"x\na\x1b]0;owned\x07\x1b[2J\n"


def test_a_plant_file_cannot_act_on_the_terminal(tmp_path: Path) -> None:
    text = (ROOT / "sample_data" / "plants" / "alder-fork.toml").read_text(encoding="utf-8")
    path = tmp_path / "alder-fork.toml"
    name = next(line for line in text.splitlines() if line.startswith("name = "))
    path.write_text(text.replace(name, 'name = "A\\u001b[2Jlder"', 1), encoding="utf-8")
    seen = on_a_terminal(["check-plant", str(path)], tmp_path)
    assert b"lder" in seen
    assert b"\x1b[2J" not in seen


@pytest.mark.parametrize(
    "sql", ["SELECT length(format('{:>2000000000}', 'x')) AS n", "SELECT length(printf('%2000000000d', i)) AS n FROM range(50) t(i)"]
)
def test_a_function_that_cannot_be_interrupted_is_ended_in_time(home: Path, sql: str) -> None:
    started = clock.stopwatch()
    with pytest.raises(UsageError):
        child.run(home / "published" / "flocledger.duckdb", sql, {}, seconds=1.0)
    assert clock.stopwatch() - started < 30.0  # with the start of Python on a loaded machine


def test_answers_and_errors_come_through_as_they_are(home: Path) -> None:
    database = home / "published" / "flocledger.duckdb"
    assert child.run(database, "SELECT 1.5 AS a, DATE '2026-01-05' AS b, $p AS c", {"p": "x"}, seconds=20).columns == ["a", "b", "c"]
    with pytest.raises(UsageError, match="one SELECT"):
        child.run(database, "DROP TABLE t", {}, seconds=20)
