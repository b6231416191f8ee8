"""Write the outputs of README.md anew: `python tests/pages/refresh_readme.py [FOLDER]`.

Runs every command of the page beside the demonstration in FOLDER (a `flocledger-demo` made by `flocledger demo`; it is
copied, not touched), or beside one made for it. Look at the difference before it is kept.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from types import ModuleType

HERE = Path(__file__).resolve().parent


def page_test() -> ModuleType:
    """The test that runs the page, as a module."""
    spec = importlib.util.spec_from_file_location("test_readme_commands", HERE / "test_readme_commands.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def refreshed(text: str, outputs: dict[int, list[str]]) -> str:
    """The page with the output below each command (by its line) replaced; a shown `...` stays as it is."""
    found: list[str] = []
    inside = taking = False
    for number, row in enumerate(text.splitlines(), 1):
        if row.startswith("```"):
            inside, taking = row == "```console", False
        if not inside or row.startswith(("```", "$ ", "> ")) or taking is False:
            found.append(row)
        if inside and row.startswith("$ "):
            taking = True
        if number in outputs:
            found.append(f"\0{number}")
    rows: list[str] = []
    pending: list[str] = []
    for row in found:  # an output stands below the last continuation of its command
        if row.startswith("> "):
            rows.append(row)
            continue
        rows += pending
        pending = outputs[int(row[1:])] if row.startswith("\0") else []
        rows += [] if row.startswith("\0") else [row]
    return "\n".join([*rows, *pending]) + "\n"


def main(given: list[str]) -> None:
    """Run the page and write it."""
    test = page_test()
    text = test.README.read_text(encoding="utf-8")
    commands = test.shown(text)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        if given:
            shutil.copytree(given[0], folder / "flocledger-demo")
        else:
            subprocess.run([sys.executable, "-m", "pipelines", "demo"], cwd=folder, env={"PYTHONPATH": str(test.ROOT)}, check=True)
        outputs = test.ran(commands, folder)
    test.README.write_text(refreshed(text, {c.line: o for c, o in zip(commands, outputs, strict=True)}), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
