"""README.md is executed: every console block is run, every shown output compared.

Blocks marked ```console hold lines `$ command` (continued by `> `) and their standard output. They are run in order
of the page in one folder, beside a demonstration home; exports carry over. In the usual run the demonstration is a
small one, so numbers are compared as "a number"; the slow run makes the README's own and compares them as they stand
(times aside). A line `...` stands for any lines.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
BLOCK_S = 120.0

SECONDS = re.compile(r"\d+(\.\d+)? s\b")
NUMBER = re.compile(r"(?<![\w.])[-+]?\d[\d,]*(\.\d+)?(?![\w.])|\d{4}-\d\d-\d\d|\d{4}-W\d\d|\b\d\d:\d\d\b|\d+(\.\d+)?")
HASH = re.compile(r"(?<![\w.])[0-9a-f]{12}\b")
ANY_LINES = "..."
MORNING = "2026-04-27"  # of the page: after the last day of the demonstration it shows


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
    bin_folder.mkdir()
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


def compare(folder: Path, *, exact: bool) -> None:
    """Hold the README's commands against their outputs, on the morning after the last day of the demonstration that is there."""
    last = max(path.name for path in (folder / "flocledger-demo" / "runs" / "brenholm").glob("*-nightly.json"))
    morning = f"{last[:4]}-{last[4:6]}-{last[6:8]}"
    assert morning == MORNING or not exact
    commands = shown(README.read_text(encoding="utf-8").replace(MORNING, morning))
    wrong = [
        f"README.md:{one.line}: $ {one.command}\n" + "\n".join(found)
        for one, found in zip(commands, ran(commands, folder), strict=True)
        if not matches(one.output, found, exact=exact)
    ]
    assert wrong == []


def test_every_command_of_the_readme_gives_the_output_shown(demo_made: tuple[Path, str], tmp_path: Path) -> None:
    shutil.copytree(demo_made[0], tmp_path / "flocledger-demo")
    compare(tmp_path, exact=False)


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
