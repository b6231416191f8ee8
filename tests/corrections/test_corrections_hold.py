"""Property: whatever is corrected and decided, in whatever order it comes, a rebuild gives the same published tables.

Random exports with faults, random registers that change from night to night, random decisions; a seeded generator.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest

from pipelines import publish
from pipelines.base.errors import FlocledgerError
from pipelines.decisions import decide
from pipelines.decisions.decide import RowFilter, Verdict
from pipelines.store import Store

FAULTS = (
    {"FT": "125"},
    {"FT": "9999999"},
    {"FT": "what"},
    {"PT": "999"},
    {"YI": "MAINT"},
    {"FT": "30"},
    {"FT": "119", "PT": "0"},
    {"FT": ""},
)
LAB = ("2.0", "14", "20000", "press down", "2.4")
TABLES_OF_VALUES = ("minutes", "corrections_applied", "lab_results", "runs")


def cells(rng: random.Random) -> dict[int, dict[str, str]]:
    return {rng.randrange(144): rng.choice(FAULTS) for _ in range(rng.randrange(12))}


def entry(rng: random.Random, number: int) -> str:
    """A random entry; many match much, some nothing, some contradict."""
    day = 5 + rng.randrange(3)
    if rng.random() < 0.3:
        match = f'line = "line-1"\npoint = "{rng.choice(["feed", "cake"])}"\nanalyte = "ts"\nat = 2026-01-0{day}\n'
        does, unit = (
            rng.choice(['action = "drop"', 'action = "flag"', 'action = "override"\nvalue = "2.2 %"', 'action = "scale"\nfactor = 0.1']),
            "%",
        )
    else:
        hour = rng.randrange(20)
        match = f'tag = "FT"\nsince = 2026-01-0{day}T{hour:02d}:00:00\n'
        match += f"until = 2026-01-0{day}T{hour + 1 + rng.randrange(3):02d}:00:00\n" if rng.random() < 0.8 else ""
        does = rng.choice(
            [
                'action = "drop"',
                'action = "flag"',
                'action = "override"\nvalue = "61 m3/h"',
                f'action = "scale"\nfactor = {rng.choice([0.5, 2, 40])}',
            ]
        )
        unit = "m3/h"
    expect = f'\nexpect = "{rng.choice(["> 1", "= 60", "between 10 and 130", "< 14"])} {unit}"' if rng.random() < 0.5 else ""
    return f'id = "e{number}"\n{match}{does}{expect}'


def decided(small: Any, rng: random.Random) -> None:
    """Decide a random row; what cannot be decided so is refused and changes nothing."""
    with Store(small.home.store("p"), "p") as store:
        rows = store.rows("SELECT load_id, line_no FROM set_aside ORDER BY ALL")
    if not rows:
        return
    load_id, line_no = rng.choice(rows)
    disposition, given = rng.choice([("accept as is", None), ("corrected to", "59 m3/h"), ("corrected to", "2.1 %"), ("reject", None), ("ask plant", None)])  # fmt: skip
    try:
        decide.decide_rows(small.home, "p", RowFilter(load_id=load_id, line_no=line_no), Verdict(disposition, "operator", "random", given))
    except FlocledgerError:
        return


def nights(small: Any, rng: random.Random) -> Iterator[int]:
    """Three nights: a file, a register, decisions, each or none."""
    entries: list[str] = []
    for night in range(3):
        small.export(night, cells(rng), name=f"export_{night}.csv")
        if rng.random() < 0.5:
            small.export(rng.randrange(night + 1), cells(rng), name=f"export_again_{night}.csv")
        if rng.random() < 0.8:
            small.lab(f"2026-01-0{5 + night},{rng.choice(LAB)},{rng.choice(['20', '12'])}", name=f"lab_{night}.csv")
        entries = [e for e in entries if rng.random() < 0.7] + [entry(rng, 10 * night + k) for k in range(rng.randrange(3))]
        small.register(*entries)
        small.nightly()
        for _ in range(rng.randrange(4)):
            decided(small, rng)
        yield night


def differing(small: Any) -> set[str]:
    small.apply_decisions()
    before = small.hashes()
    small.rebuild()
    after = small.hashes()
    return {name for name in {*before, *after} if before.get(name) != after.get(name)}


@pytest.mark.parametrize("seed", range(1))
def test_incremental_equals_rebuild_whatever_is_corrected_and_decided(small: Any, seed: int) -> None:
    assert list(nights(small, random.Random(seed))) == [0, 1, 2]
    assert differing(small) == set()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 160))
def test_incremental_equals_rebuild_sixty_times(small: Any, seed: int) -> None:
    assert list(nights(small, random.Random(seed))) == [0, 1, 2]
    assert differing(small) == set()


def test_the_register_may_come_before_or_after_the_data(make_small: Any) -> None:
    rng = random.Random(7)
    faults, entries = cells(rng), [entry(rng, k) for k in range(6)]
    found = []
    for first in ("register", "data"):
        small = make_small(first)
        small.export(0, faults)
        small.lab("2026-01-05,14,12")
        if first == "data":
            small.nightly()
        small.register(*entries)
        small.nightly(publish_now=True)
        hashes = publish.hashes(small.home)
        found.append({name: hashes[name] for name in TABLES_OF_VALUES if name != "lab_results"})  # it holds the time of receipt
    assert found[0] == found[1]


RUN = """
import sys
from datetime import datetime
from pathlib import Path
from pipelines import align, check, compute, order, publish, receive, watch
from pipelines.base.home import Home
print("ready", flush=True)
order.nightly(Home(Path(sys.argv[1])), "p", datetime.fromisoformat(sys.argv[2]))
"""


@pytest.mark.slow
def test_killed_at_random_points_while_correcting_gives_the_unbroken_result(small: Any) -> None:
    """Two hundred entries and a decision; killed twelve times, then run to its end and held against a rebuild."""
    rng = random.Random(12)
    for day in range(3):
        small.export(day, cells(rng))
        small.lab(f"2026-01-0{5 + day},14,12", name=f"lab_{day}.csv")
    small.nightly(publish_now=True)
    decided(small, rng)
    small.register(*(entry(rng, k) for k in range(200)))
    kills = 0
    while kills < 12:
        given = [sys.executable, "-c", RUN, str(small.home.root), small.as_of().isoformat()]
        running = subprocess.Popen(given, stdout=subprocess.PIPE, text=True)
        assert running.stdout is not None
        assert running.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0.0, 2.0))
        running.send_signal(signal.SIGKILL)
        kills += running.wait(60) == -signal.SIGKILL
        running.stdout.close()
        if kills == 6:
            small.register(*(entry(rng, k) for k in range(200, 250)))  # so that there is work again
    small.nightly()
    assert differing(small) == set()
