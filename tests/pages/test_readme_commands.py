"""README.md and the manual are executed: every console block is run, every shown output compared.

Blocks marked ```console hold lines `$ command` (continued by `> `) and their standard output. The blocks of a page run in
order in one folder, beside a demonstration home and the small exports; exported variables carry over. The usual run uses a
small demonstration and compares numbers as "a number"; the slow run makes the README's own and compares numbers exactly
(times aside). A line `...` stands for any lines. Commands in other blocks (cron, systemd) are not run: their command and
options must exist.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest

from pipelines.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
MANUAL = sorted((ROOT / "pipelines" / "manual").glob("*.md"))
SHOWN = [p for p in MANUAL if "```console" in p.read_text(encoding="utf-8")]
BLOCK_S = 120.0

SECONDS = re.compile(r"\d+(\.\d+)? s\b")
NUMBER = re.compile(r"(?<![\w.])[-+]?\d[\d,]*(\.\d+)?(?![\w.])|\d{4}-\d\d-\d\d|\d{4}-W\d\d|\b\d\d:\d\d\b|\d+(\.\d+)?")
HASH = re.compile(r"(?<![\w.])[0-9a-f]{12}\b")
ANY_LINES = "..."
MORNING = "2026-03-30"  # of the page: after the last day of the demonstration it shows


@dataclass(frozen=True)
class Shown:
    """One command of the page, and the output shown under it."""

    line: int
    command: str
    output: tuple[str, ...]


def shown(text: str) -> list[Shown]:
    """All commands of the console blocks of a page, in order."""
    found: list[tuple[int, list[str], list[str]]] = []
    inside = False
    for number, row in enumerate(text.splitlines(), 1):
        if row.startswith("```"):
            inside = row == "```console"
        elif inside and row.startswith("$ "):
            found.append((number, [row[2:]], []))
        elif inside and row.startswith("> ") and not found[-1][2]:
            found[-1][1].append(row[2:])
        elif inside:
            found[-1][2].append(row)
    return [Shown(number, "\n".join(command), tuple(output)) for number, command, output in found]


def ran(commands: list[Shown], folder: Path) -> list[list[str]]:
    """Run the commands in one shell and return the output lines of each."""
    bin_folder = folder / ".shown-bin"
    bin_folder.mkdir(exist_ok=True)
    for name, module in (("flocledger", " -m pipelines"), ("python", "")):
        script = bin_folder / name
        script.write_text(f'#!/bin/sh\nexec "{sys.executable}"{module} "$@"\n', encoding="utf-8")
        script.chmod(0o755)
    # the status of one command is still there for `echo $?` as the next
    script_text = "".join(f"{one.command}\n__status=$?; printf '\\001'; (exit $__status)\n" for one in commands)
    surroundings = {
        **os.environ,
        "PATH": f"{bin_folder}:{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT),
        "COLUMNS": "120",
        "LC_ALL": "C.UTF-8",
    }
    done = subprocess.run(
        ["bash", "-c", script_text],
        capture_output=True,
        text=True,
        cwd=folder,
        env=surroundings,
        timeout=BLOCK_S * len(commands),
        check=False,
    )
    parts = done.stdout.split("\001")
    assert len(parts) == len(commands) + 1, done.stderr[-3000:]
    return [part.rstrip("\n").splitlines() if part.strip() else [] for part in parts[:-1]]


def plain(row: str, *, exact: bool) -> str:
    """A line with what may differ replaced: seconds; in a small demonstration all numbers and widths."""
    row = SECONDS.sub("# s", row)
    if not exact:
        row = re.sub(r"-{3,}", "---", NUMBER.sub("#", HASH.sub("#", row)))
        row = re.sub(r"[ \t]+", " ", row)
    return row.rstrip()


def without_rows(lines: Iterable[str]) -> Iterator[str]:
    """The lines up to the rule below a table's head: how many rows follow goes by the length of the demonstration."""
    for row in lines:
        yield row
        if re.fullmatch(r"-+(  +-+)*", row):
            return


def matches(expected: tuple[str, ...], found: list[str], *, exact: bool) -> bool:
    if not exact:
        expected, found = tuple(without_rows(expected)), list(without_rows(found))
    pattern = "".join(r"(?:[^\n]*\n)*" if row.strip() == ANY_LINES else re.escape(plain(row, exact=exact)) + r"\n" for row in expected)
    return re.fullmatch(pattern, "".join(plain(row, exact=exact) + "\n" for row in found)) is not None


def compare(folder: Path, page: Path = README, *, exact: bool) -> None:
    """Compare a page's commands with the outputs shown, on the morning after the last day of the demonstration in the folder."""
    last = max(path.name for path in (folder / "flocledger-demo" / "runs" / "brenholm").glob("*-nightly.json"))
    morning = f"{last[:4]}-{last[4:6]}-{last[6:8]}"
    assert morning == MORNING or not exact
    commands = shown(page.read_text(encoding="utf-8").replace(MORNING, morning))
    wrong = [
        f"{page.name}:{one.line}: $ {one.command}\n" + "\n".join(found)
        for one, found in zip(commands, ran(commands, folder), strict=True)
        if not matches(one.output, found, exact=exact or one.command == "echo $?")
    ]
    assert wrong == []


def test_every_command_of_the_readme_gives_the_output_shown(demo_made: tuple[Path, str], tmp_path: Path) -> None:
    shutil.copytree(demo_made[0], tmp_path / "flocledger-demo")
    compare(tmp_path, exact=False)


@pytest.fixture(scope="module")
def manual_folder(demo_made: tuple[Path, str], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the pages of the manual: a demonstration home, and the small exports of the sources."""
    folder = tmp_path_factory.mktemp("manual")
    shutil.copytree(demo_made[0], folder / "flocledger-demo")
    shutil.copytree(ROOT / "sample_data" / "small", folder / "sample_data" / "small")
    return folder


@pytest.mark.parametrize("page", SHOWN, ids=lambda p: p.stem)
def test_every_command_of_the_manual_gives_the_output_shown(page: Path, manual_folder: Path) -> None:
    compare(manual_folder, page, exact=False)


def written_commands(text: str) -> list[list[str]]:
    """Commands of flocledger in blocks that are not run, as words."""
    blocks = re.findall(r"^```(?:text|ini)\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    found = [m[1] for block in blocks for m in re.finditer(r"(?<![\w-])flocledger ((?:--|[a-z])[^\n|>&]*)", block)]
    return [words for line in found if (words := shlex.split(line)) and not words[0].endswith(":")]


def test_commands_in_configuration_blocks_exist() -> None:
    found = [words for page in [README, *MANUAL] for words in written_commands(page.read_text(encoding="utf-8"))]
    assert len(found) >= 3
    with click.Context(app, info_name="flocledger") as context:
        for words in found:
            given = words[2:] if words[0] == "--home" else words
            command = app.get_command(context, given[0])
            assert command is not None, words
            known = {name for one in command.params for name in one.opts}
            assert {word for word in given[1:] if word.startswith("--")} <= known, words


@pytest.mark.slow
def test_every_number_of_the_readme_is_that_of_the_demonstration(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pipelines", "demo"]
    subprocess.run(command, cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True, capture_output=True)
    compare(tmp_path, exact=True)


def test_demonstration_ends_with_three_things_to_try(demo_made: tuple[Path, str], tmp_path: Path) -> None:
    home, said = demo_made
    shutil.copytree(home, tmp_path / "flocledger-demo")
    rows = [row.strip() for row in said.splitlines()]
    readers = [row for row in rows if re.match(r"(process engineer|plant manager|data engineer), ", row)]
    assert len(readers) == 3
    tried = [row for row in rows if row.startswith(("flocledger ", str(sys.executable)))]
    assert len(tried) == 3
    answers = ran([Shown(0, row, ()) for row in tried], tmp_path)
    assert all(answers)
    assert "dose_active_kg_t" in "\n".join(answers[0])
    page = next(row for row in rows if row.endswith(".pdf"))
    assert (tmp_path / page).read_bytes().startswith(b"%PDF")


def test_readme_names_a_test_command_that_ci_can_take() -> None:
    text = README.read_text(encoding="utf-8")
    block = re.search(r"<!-- test command -->\n```bash\n(.+?)\n```\n", text, re.DOTALL)
    assert block is not None
    assert "pip install" in block[1]
    assert "pytest" in block[1]


def test_readme_has_a_page_for_each_reader_and_its_pictures() -> None:
    text = README.read_text(encoding="utf-8")
    for reader in ("data engineer", "process engineer", "plant manager", "applications engineer"):
        assert re.search(rf"^## .*{reader}", text, re.MULTILINE | re.IGNORECASE), reader
        section = re.split(rf"^## .*{reader}[^\n]*\n", text, flags=re.MULTILINE | re.IGNORECASE)[1].split("\n## ")[0]
        assert "```console" in section, reader
    assert "invented" in text
    for target in re.findall(r"\]\(([^)#:]+)\)", text):
        assert (ROOT / target).exists(), target


def test_comparison_sees_a_difference() -> None:
    assert matches(("a 12.5 kg", "..."), ["a 7 kg", "b", "c"], exact=False)
    assert not matches(("a 12.5 kg",), ["a 7 lb"], exact=False)
    assert not matches(("a 12.5 kg",), ["a 7 kg"], exact=True)
    assert not matches(("a",), ["a", "b"], exact=False)
    assert matches(("took 3.1 s",), ["took 17 s"], exact=True)
