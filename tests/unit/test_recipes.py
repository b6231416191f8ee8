"""The recipes of DEVELOPERS.md are followed to the letter in a copy of the sources; then one night runs on the result.

Two days of an invented belt press: 400 gpm of 3 % sludge, 10 gph of neat polymer, 60 gpm of wash water, and a conveyor
that draws 7.5 kW. The second day comes as the change log of the layout recipe.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
RECIPES = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Recipes\n")[1].split("\n## ")[0]
PLANT_FILE = "new-plant.toml"
HEAD = re.compile(r"^(?:#|--) (?P<file>[\w./*-]+)(?:, (?P<side>below|above): (?P<anchor>.+))?$")


@dataclass(frozen=True)
class Block:
    """One fenced block: the file it goes to, where, and its text."""

    recipe: str
    file: str
    side: str | None
    anchor: str | None
    text: str


def blocks() -> list[Block]:
    found = []
    for recipe in re.split(r"^### ", RECIPES, flags=re.MULTILINE)[1:]:
        for fenced in re.findall(r"^```\w+\n(.*?)^```$", recipe, re.MULTILINE | re.DOTALL):
            first, text = fenced.split("\n", 1)
            head = HEAD.match(first)
            assert head, first
            found.append(Block(recipe.splitlines()[0], head["file"], head["side"], head["anchor"], text))
    return found


def put(block: Block, path: Path) -> None:
    """Put a block below or above the one line that holds its anchor."""
    rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    places = [i for i, row in enumerate(rows) if block.anchor is not None and block.anchor in row]
    assert len(places) == 1, f"{path.name}: {block.anchor!r} stands in {len(places)} lines"
    at = places[0] + (block.side == "below")
    path.write_text("".join(rows[:at]) + block.text + "".join(rows[at:]), encoding="utf-8")


def day_export() -> str:
    rows = ["Time,FIT-1 Feed,FIT-2 Polymer,FIT-3 Wash,YI-1 Pump,JI-4 Conveyor"]
    start = datetime(2026, 6, 1, 6, 0)  # noqa: DTZ001 - plant-local, as an export writes it
    for minute in range(1440):
        on = 120 <= minute < 600
        idle = 700 <= minute < 770  # the pump runs, nothing is fed
        values = "400,10,60,1,7.5" if on else "0,0,0,1,0" if idle else "0,0,0,0,0"
        rows.append(f"{start + timedelta(minutes=minute):%m/%d/%Y %H:%M},{values}")
    return "\n".join(rows) + "\n"


def change_log() -> str:
    rows = ["time;point;value;quality"]
    start = datetime(2026, 6, 2, 11, 0)  # noqa: DTZ001 - 06:00 in Chicago, in UTC as the layout says
    for minute in range(0, 240, 5):
        rows.append(f"{start + timedelta(minutes=minute):%d.%m.%Y %H:%M:%S};FIT-1 Feed;250,5;ok")
    return "\n".join(rows) + "\n"


ANSWER = """
import json, sys
from pathlib import Path
from pipelines.plant import kpi_inputs, loader
from pipelines.cli import run
from pipelines.base.home import Home
from pipelines.store import connect
home = Home(Path(sys.argv[1]))
code = run(["--home", str(home.root), "nightly", "--as-of", "2026-06-03T12:00:00Z"])
con = connect(home.store("new-plant"), read_only=True)
def ask(sql):
    return [[str(v) if not isinstance(v, (int, float)) else v for v in row] for row in con.execute(sql).fetchall()]
print("ANSWER" + json.dumps({
    "code": code,
    "loads": dict(ask("SELECT file_name, coalesce(layout, reason) FROM loads")),
    "day": ask("SELECT dose_active_kg_t, dry_solids_t, wash_water_m3, starts, dry_solids_per_start_t FROM kpi_day WHERE operating_day = DATE '2026-06-01'"),
    "conveyor": ask("SELECT max(conveyor_power_kw), max(conveyor_power_coverage) FROM minutes"),
    "second_day": ask("SELECT max(sludge_flow_m3_h) FROM minutes WHERE operating_day = DATE '2026-06-02'"),
}))
con.close()
con = connect(home.database, read_only=True)
print("SHOWN" + json.dumps({
    "us": ask("SELECT dry_short_tons_per_start FROM kpi_day_us WHERE operating_day = DATE '2026-06-01'"),
    "dictionary": ask("SELECT unit FROM dictionary WHERE table_name = 'kpi_week' AND column_name = 'dry_solids_per_start_t'"),
    "catalogue": ask("SELECT column_us, reason_column FROM kpi_catalogue WHERE number = 68"),
    "flags": ask("SELECT detector, minutes, severity, sentence, suggestion FROM flags WHERE operating_day = DATE '2026-06-01'"),
}))
"""


@pytest.fixture(scope="module")
def followed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Everything the recipes say, done; and what the night on it gave."""
    tree, home = tmp_path_factory.mktemp("tree"), tmp_path_factory.mktemp("home")
    for top in ("pipelines", "schemas", "sql"):
        shutil.copytree(ROOT / top, tree / top, ignore=shutil.ignore_patterns("__pycache__"))
    for block in blocks():
        if block.anchor is None:
            (tree / block.file).write_text(block.text, encoding="utf-8")
            continue
        targets = sorted(tree.glob(block.file))
        assert targets, block.file
        for target in targets:
            put(block, target)
    written = subprocess.run([sys.executable, "-m", "schemas"], capture_output=True, text=True, cwd=tree, check=False, timeout=60)
    assert written.returncode == 0, written.stderr[-3000:]
    inbox = home / "inbox" / "new-plant"
    inbox.mkdir(parents=True)
    (home / "plants").mkdir()
    shutil.copyfile(tree / PLANT_FILE, home / "plants" / PLANT_FILE)
    (inbox / "export_20260601.csv").write_text(day_export(), encoding="utf-8")
    (inbox / "log_20260602.csv").write_text(change_log(), encoding="utf-8")
    (inbox / "lab_202606.csv").write_text("Date,Feed TS %\n06/01/2026,3.0\n", encoding="utf-8")
    done = subprocess.run([sys.executable, "-c", ANSWER, str(home)], capture_output=True, text=True, cwd=tree, check=False, timeout=120)
    assert done.returncode == 0, done.stderr[-3000:]
    told = [row for row in done.stdout.splitlines() if row.startswith(("ANSWER", "SHOWN"))]
    return {**json.loads(told[0].removeprefix("ANSWER")), **json.loads(told[1].removeprefix("SHOWN")), "said": done.stdout}


def test_recipe_of_a_plant(followed: dict[str, Any]) -> None:
    assert followed["code"] == 0, followed["said"]
    dose, dry_solids, *_ = followed["day"][0]
    # from 08:00 480 minutes fed, the first 15 of them start-up (belt press): 465 minutes
    # 400 gpm = 90.85 m3/h, x 3 % = 2.7255 t/h; 10 gph x 8.6 lb/gal x 0.41 = 35.26 lb/h = 15.994 kg/h active
    assert dry_solids == pytest.approx(2.72549 * 465 / 60, rel=1e-4)
    assert dose == pytest.approx(15.9937 / 2.72549, rel=1e-4)


def test_recipe_of_a_layout(followed: dict[str, Any]) -> None:
    assert followed["loads"] == {"export_20260601.csv": "day-export", "log_20260602.csv": "change-log", "lab_202606.csv": "lab-sheet"}
    assert followed["second_day"][0][0] == pytest.approx(250.5 * 0.003785411784 * 60)


def test_recipe_of_a_role(followed: dict[str, Any]) -> None:
    assert followed["conveyor"] == [[7.5, 1.0]]


def test_recipe_of_a_kpi(followed: dict[str, Any]) -> None:
    _, dry_solids, wash, starts, ratio = followed["day"][0]
    assert wash == pytest.approx(60 * 0.003785411784 * 465)  # 60 gpm over 465 minutes
    assert starts == 2  # 08:00, and the idle run at 17:40
    assert ratio == pytest.approx(dry_solids / 2)
    assert followed["us"][0][0] == pytest.approx(ratio / 0.907185, rel=1e-5)  # 1 short ton = 0.907185 t
    assert followed["dictionary"] == [["t"]]
    assert followed["catalogue"] == [["dry_short_tons_per_start", "dose_reason"]]


def test_recipe_of_a_flag(followed: dict[str, Any]) -> None:
    found = [flag for flag in followed["flags"] if flag[0] == "long idle"]
    assert found == [
        [
            "long idle",
            70,
            "check this week",
            "The line ran without being fed for 70 min.",
            "see why the line was not fed; stop the pump when it need not run",
        ]
    ]


def test_every_recipe_that_is_promised_is_there() -> None:
    assert [b.recipe for b in blocks()]
    for thing in ("plant", "role", "layout", "KPI", "flag"):
        assert re.search(rf"^### Add a {thing}$", RECIPES, re.MULTILINE), thing
