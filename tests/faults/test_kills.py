"""Real processes killed at any moment: nothing lost, nothing twice, and the tables an undisturbed run gives."""

from __future__ import annotations

import os
import random
import shutil
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import cli, publish
from pipelines.base.home import Home
from pipelines.store import connect
from tests import processes

ROOT = Path(__file__).resolve().parents[2]
EXPORTS = sorted((ROOT / "sample_data" / "small" / "exports").glob("ALDER_*.csv"))
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
AFTER_START_S = (0.05, 1.5)  # seconds from a run's start to the kill
RUN_S = 300.0
DECIDED = ["--file", "ALDER_SCADA_20260107.csv", "--row", "221", "--as", "reject", "--role", "operator", "--note", "a wrong stamp"]
COMMANDS = [
    ["nightly"], ["nightly"], ["nightly"], ["rebuild", "--plant", PLANT], ["weekly", "--week", "2026-W02"],
    ["backfill", "--plant", PLANT, "--from", "2026-01-05", "--to", "2026-01-31"], ["dispose", "row", "--plant", PLANT, *DECIDED],
]  # fmt: skip


def deliver(home: Home, path: Path) -> None:
    target = home.inbox(PLANT) / path.name
    shutil.copyfile(path, target)
    os.utime(target, (1.7e9, 1.7e9))


def completed(home: Home, words: list[str]) -> None:
    output = home.root / "output.txt"
    process = processes.started(cli.main, ["--home", str(home.root), *words], output=output)
    process.join(RUN_S)
    assert process.exitcode in (0, 1), output.read_text(encoding="utf-8")
    assert "Traceback" not in output.read_text(encoding="utf-8")


def readable(home: Home) -> None:
    """A reader finds the published file whole at any moment."""
    if home.database.exists():
        con = connect(home.database, read_only=True)
        con.execute("SELECT count(*), max(dose_active_kg_t) FROM kpi_day").fetchall()
        con.close()


def campaign(folder: Path, home_in: Callable[[Path], Home], kills: int, seed: int) -> Counter[str]:
    """Take the same files in twice, once disturbed by so many kills; return kills by command."""
    undisturbed, disturbed = home_in(folder / "undisturbed"), home_in(folder / "disturbed")
    chance, counts, night = random.Random(seed), Counter[str](), 0
    rounds = [EXPORTS[k::3] for k in range(3)]
    for night, files in enumerate(rounds):
        as_of = ["--as-of", (WHEN + timedelta(days=night)).isoformat()]
        for home in (undisturbed, disturbed):
            for path in files:
                deliver(home, path)
        completed(undisturbed, ["nightly", *as_of])
        until = kills * (night + 1) // len(rounds)
        tries = 0
        while sum(counts.values()) < until and tries < 4 * kills:
            tries += 1
            words = chance.choice(COMMANDS)
            if words[0] != "nightly" and not disturbed.database.exists():
                continue
            more = [] if words[0] == "dispose" else as_of  # a decision is made now, whenever its data are
            run = processes.started(cli.main, ["--home", str(disturbed.root), *words, *more])
            if processes.killed(run, chance.uniform(*AFTER_START_S)):
                counts[words[0]] += 1
            readable(disturbed)
        completed(disturbed, ["nightly", *as_of])
    if disturbed.dispositions(PLANT).exists():  # decisions that killed commands recorded count in the undisturbed home too
        shutil.copyfile(disturbed.dispositions(PLANT), undisturbed.dispositions(PLANT))
        for home in (undisturbed, disturbed):
            completed(home, ["nightly", *as_of])
    content = [
        {t: h for t, h in publish.hashes(home).items() if not t.endswith("plant_file_versions")} for home in (undisturbed, disturbed)
    ]
    assert content[0] == content[1]
    archived = [sorted(p.name.split("_", 2)[2] for p in home.archive(PLANT).iterdir()) for home in (undisturbed, disturbed)]
    assert archived[0] == archived[1]
    assert not list(disturbed.inbox(PLANT).iterdir())
    return counts


def test_twenty_kills_lose_nothing_and_double_nothing(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    assert sum(campaign(tmp_path, home_in, 20, seed=1).values()) == 20


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_two_hundred_kills_lose_nothing_and_double_nothing(tmp_path: Path, home_in: Callable[[Path], Home], seed: int) -> None:
    assert sum(campaign(tmp_path, home_in, 20, seed=100 + seed).values()) == 20
