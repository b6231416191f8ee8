"""One-line defects are planted in a copy of the sources, one at a time; the tests named for each must fail.

Slow: `pytest -m slow tests/mutation`. A mutant that stands is a test that is missing; an `old` that is not found once means
that the line has changed: adapt the entry.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MUTANTS: list[dict[str, str | list[str]]] = tomllib.loads((Path(__file__).parent / "mutants.toml").read_text(encoding="utf-8"))["mutants"]
NAMES = [str(mutant["name"]) for mutant in MUTANTS]
TIMEOUT_S = 600


@pytest.mark.slow
@pytest.mark.parametrize("mutant", MUTANTS, ids=NAMES)
def test_line_of_a_mutant_is_there_once(mutant: dict[str, str]) -> None:
    assert (ROOT / mutant["file"]).read_text(encoding="utf-8").count(mutant["old"]) == 1
    assert mutant["old"] != mutant["new"]
    assert all((ROOT / tests).exists() for tests in mutant["tests"])


def test_names_of_mutants_differ() -> None:
    assert len(set(NAMES)) == len(NAMES) >= 40


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sources and tests to plant defects in."""
    folder = tmp_path_factory.mktemp("mutants")
    for top in ("pipelines", "schemas", "sql", "sample_data", "tests"):
        shutil.copytree(ROOT / top, folder / top, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "prefect.yaml"):
        shutil.copyfile(ROOT / name, folder / name)
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("mutant", MUTANTS, ids=NAMES)
def test_mutant_is_killed(mutant: dict[str, str], tree: Path) -> None:
    path = tree / mutant["file"]
    text = path.read_text(encoding="utf-8")
    command = [sys.executable, "-B", "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *mutant["tests"]]
    path.write_text(text.replace(mutant["old"], mutant["new"]), encoding="utf-8")
    try:
        done = subprocess.run(command, cwd=tree, capture_output=True, text=True, check=False, timeout=TIMEOUT_S)
    finally:
        path.write_text(text, encoding="utf-8")
    assert done.returncode == 1, f"stands: {mutant['name']}\n{done.stdout[-1500:]}"
