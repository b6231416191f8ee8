"""Properties of the whole line: same file twice, any order, incremental = rebuild, killed anywhere.

Compared by content hash of every published table. The data are one and a half weeks of the invented
plants with planted faults, so late, re-sent and damaged files take part.
"""

from __future__ import annotations

import os
import random
import shutil
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines import order, publish
from pipelines.base.home import Home
from tests import processes

PLANTS = ("alder-fork", "sorrel-draw", "brenholm")
AS_OF = datetime(2026, 2, 1, 4, 0, tzinfo=UTC)
# Lineage that tells who came first by its nature: not compared when files come in another order.
ORDER_COLUMNS = {
    "loads": {"file_name", "received_seq", "received_utc", "archived_as", "version", "rows_kept", "rows_duplicate", "values_kept", "values_duplicate",
              "first_utc", "last_utc"},
    "readings": {"load_id"},
    "lab_results": {"load_id", "line_no", "revision", "reported_utc"},
    "lab_results_history": {"load_id", "line_no", "revision", "reported_utc"},
}  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from sample_data.generate import generate

    out = tmp_path_factory.mktemp("made")
    generate(out, weeks=2, seed=7)
    return out


def home_for(made: Path, root: Path, plant: str) -> Home:
    home = Home(root)
    home.plant_file(plant).parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(made / plant / "plant.toml", home.plant_file(plant))
    home.inbox(plant).mkdir(parents=True, exist_ok=True)
    return home


def files_of(made: Path, plant: str) -> list[Path]:
    return sorted(p for p in (made / plant / "exports").rglob("*") if p.is_file())


def deliver(home: Home, plant: str, files: list[Path], stamp: float = 1_770_000_000.0) -> None:
    for index, path in enumerate(files):
        target = home.inbox(plant) / path.name
        shutil.copyfile(path, target)
        os.utime(target, (stamp + index, stamp + index))


def in_batches(home: Home, plant: str, files: list[Path], size: int) -> None:
    for start in range(0, len(files), size):
        deliver(home, plant, files[start : start + size])
        order.nightly(home, plant, AS_OF)


def test_same_files_twice_change_nothing(made: Path, tmp_path: Path) -> None:
    home = home_for(made, tmp_path, "sorrel-draw")
    files = files_of(made, "sorrel-draw")[:6]
    in_batches(home, "sorrel-draw", files, 3)
    before = publish.hashes(home)
    deliver(home, "sorrel-draw", files)
    summary = order.nightly(home, "sorrel-draw", AS_OF)
    assert {r.status for r in summary.receipts} == {"known already"}
    assert publish.hashes(home) == before
    assert not list(home.inbox("sorrel-draw").iterdir())


@pytest.mark.parametrize("plant", PLANTS)
def test_incremental_equals_rebuild_by_hash_of_every_table(made: Path, tmp_path: Path, plant: str) -> None:
    home = home_for(made, tmp_path, plant)
    in_batches(home, plant, files_of(made, plant), 5)
    incremental = publish.hashes(home)
    assert len(incremental) >= 15
    order.rebuild(home, plant, as_of=AS_OF)
    assert publish.hashes(home) == incremental


def order_free_hashes(home: Home) -> dict[str, str]:
    from pipelines.store import connect
    from pipelines.store.plant_store import content_hash
    from schemas import TABLES

    con = connect(home.database, read_only=True)
    found = {}
    for table in publish.hashes(home):
        if table in TABLES:
            columns = [c for c in TABLES[table].column_names if c not in ORDER_COLUMNS.get(table, set())]
            present = {r[0] for r in con.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
            if table in present:
                found[table] = content_hash(con, table, columns)
    con.close()
    return found


@pytest.mark.parametrize("plant", PLANTS)
def test_files_in_any_order_give_the_same_tables(made: Path, tmp_path: Path, plant: str) -> None:
    files = [p for p in files_of(made, plant) if "resent" not in p.parts]  # a re-sent file disagrees on purpose
    seen = []
    shuffled = random.Random(3).sample(files, len(files))
    for index, (arriving, a_night) in enumerate(((files, len(files)), (shuffled, 5))):
        home = home_for(made, tmp_path / str(index), plant)
        in_batches(home, plant, arriving, a_night)
        seen.append(order_free_hashes(home))
    assert seen[0] == seen[1]


def night(root: str, plant: str) -> None:
    order.nightly(Home(Path(root)), plant, AS_OF)


def killed_and_finished(made: Path, tmp_path: Path, kills: int, seed: int) -> None:
    plant, rng = "alder-fork", random.Random(seed)
    files = files_of(made, plant)[:4]
    unbroken = home_for(made, tmp_path / "unbroken", plant)
    deliver(unbroken, plant, files)
    began = time.perf_counter()
    running = processes.started(night, str(unbroken.root), plant)
    running.join(120)
    assert running.exitcode == 0
    whole_s = time.perf_counter() - began
    expected = publish.hashes(unbroken)

    done = round_number = 0
    while done < kills:
        home = home_for(made, tmp_path / f"killed{round_number}", plant)
        deliver(home, plant, files)
        for _ in range(min(4, kills - done)):
            processes.killed(processes.started(night, str(home.root), plant), rng.uniform(0.0, whole_s))
            done += 1
            if home.database.exists():
                assert publish.hashes(home)  # what was published stays readable
        order.nightly(home, plant, AS_OF)
        assert publish.hashes(home) == expected
        assert not list(home.inbox(plant).iterdir())
        shutil.rmtree(home.root)
        round_number += 1


def test_killed_at_twenty_random_points_gives_the_unbroken_result(made: Path, tmp_path: Path) -> None:
    killed_and_finished(made, tmp_path, kills=20, seed=20)


@pytest.mark.slow
def test_killed_at_two_hundred_random_points_gives_the_unbroken_result(made: Path, tmp_path: Path) -> None:
    killed_and_finished(made, tmp_path, kills=200, seed=200)
