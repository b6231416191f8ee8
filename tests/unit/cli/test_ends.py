"""How commands end that only read, or that were asked for what cannot be: nothing made, a short message, exit code 3 or 2."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines import cli
from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.store import Store, connect

ROOT = Path(__file__).resolve().parents[3]
PLANT = "alder-fork"
DISPOSE = ["dispose", "row", "--plant", PLANT, "--as", "reject", "--role", "lab", "--note", "x", "--dry-run"]
FLAG = ["dispose", "flag", "--plant", PLANT, "--as", "expected", "--role", "lab", "--note", "x", "--dry-run"]
TRACE = ["trace", "--plant", PLANT, "--sample", "x"]


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    return home_in(tmp_path / "home")


@pytest.mark.parametrize("words", [DISPOSE, FLAG, TRACE, ["trace", "--plant", PLANT, "--file", "x", "--row", "1"]])
def test_what_only_reads_makes_no_store(home: Home, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["--home", str(home.root), *words]) == 2
    assert "run `flocledger nightly` first" in capsys.readouterr().err
    assert not home.store(PLANT).parent.exists()


@pytest.mark.parametrize("words", [DISPOSE, FLAG, TRACE])
def test_what_only_reads_leaves_the_store_as_it_is(home: Home, words: list[str]) -> None:
    Store(home.store(PLANT), PLANT).con.close()
    home.store(PLANT).chmod(0o444)
    before = home.store(PLANT).read_bytes()
    with Store(home.store(PLANT), PLANT, read_only=True):  # another reader
        assert cli.run(["--home", str(home.root), *words]) == 2
    assert home.store(PLANT).read_bytes() == before


def test_a_store_of_another_version_is_not_read(home: Home) -> None:
    Store(home.store(PLANT), PLANT).con.close()
    con = connect(home.store(PLANT))
    con.execute("ALTER TABLE loads DROP COLUMN sha256")
    con.close()
    with pytest.raises(DataMissingError, match="another version"):
        Store(home.store(PLANT), PLANT, read_only=True)


def test_a_file_that_cannot_be_inspected_ends_with_three(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_bytes(b"")
    assert cli.run(["inspect", str(tmp_path / "empty.csv")]) == 3


@pytest.mark.parametrize("kind", ["csv", "json", "parquet", "svg"])
def test_an_answer_that_cannot_be_written_ends_with_three(
    demo_made: tuple[Path, str], tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(tmp_path / "no such folder" / "x")
    sql = "SELECT operating_day, starts FROM kpi_day ORDER BY ALL LIMIT 9"
    assert cli.run(["--home", str(demo_made[0]), "ask", sql, "--format", kind, "--out", out]) == 3
    assert "cannot be written" in capsys.readouterr().err


def test_sql_that_is_no_text_ends_with_three(demo_made: tuple[Path, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.sql").write_bytes(b"SELECT '\xe6'")
    assert cli.run(["--home", str(demo_made[0]), "ask", str(tmp_path / "bad.sql")]) == 3
    assert "cannot be read as text" in capsys.readouterr().err


def test_a_home_of_nobody_ends_with_three(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["--home", "~nosuchuser/x", "status"]) == 3
    assert cli.run(["status", "--home", "~nosuchuser/x"]) == 3
    assert capsys.readouterr().err.count("cannot be found") == 2


def test_a_working_folder_that_is_gone_ends_with_three(tmp_path: Path) -> None:
    code = "import os, sys; os.mkdir('x'); os.chdir('x'); os.rmdir('../x'); from pipelines import cli; sys.exit(cli.run(['status']))"
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, env=surroundings, check=False)
    assert done.returncode == 3, done.stderr
    assert done.stderr.startswith("error: the home folder")
