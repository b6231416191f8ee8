"""One small invented plant: a belt press fed at 60 m3/h with 50 L/h of neat polymer, a reading each ten minutes, a lab sheet.

By hand, for a day without faults: active polymer 0.05 m3/h x 1000 kg/m3 x 0.4 = 20 kg/h; dry solids 60 m3/h x 2 % = 1.2 t/h;
dose 20 / 1.2 = 16.667 kg/t.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines import order, publish
from pipelines.base.home import Home
from pipelines.runs.summary import Summary
from pipelines.store import Store, connect
from tests.plants import EMULSION, FLOW, RUN, home_of, plant_toml

PLANT = plant_toml(
    FLOW | {"range": [0, 120]},
    {"role": "polymer_neat_flow", "tag": "PT", "unit": "L/h", "range": [0, 200]},
    RUN,
    line={"startup": "0 min", "reference_flow": "60 m3/h"},
    layouts=(
        {"id": "export", "kind": "wide", "files": "export_*.csv", "time_column": "time", "time_format": "%Y-%m-%d %H:%M"},
        {
            "id": "lab", "kind": "lab wide", "files": "lab_*.csv", "time_column": "date", "time_format": "%Y-%m-%d",
            "results": [{"column": point, "line": "line-1", "point": point, "analyte": "ts", "unit": "%"} for point in ("feed", "cake")],
        },
    ),
    blocks={"lab": {"time_is_stated": False}, "polymers": [EMULSION]},
    time_zone="UTC",
)  # fmt: skip
DAY0 = datetime(2026, 1, 5, tzinfo=UTC)
EVERY_MIN = 10
Cells = dict[int, dict[str, str]]  # reading of the day (0 to 143) -> tag -> text in the place of the plain one


@dataclass
class Small:
    """The plant's home; `as_of` moves on a day a run, so that plant files are told apart by time."""

    home: Home
    runs: int = 0

    def register(self, *entries: str) -> None:
        """Write the plant file with a register of these [[corrections]] blocks (who, entered, reason are added)."""
        shared = 'reason = "transmitter was wrong"\nwho = "instrument technician"\nentered = 2026-01-20\n'
        blocks = "".join(f"\n[[corrections]]\n{entry.strip()}\n{shared}" for entry in entries)
        self.home.plant_file("p").write_text(PLANT + blocks, encoding="utf-8")

    def export(self, day: int, cells: Cells | None = None, name: str | None = None) -> None:
        """Put an operating day's export into the inbox."""
        rows = ["time,FT,PT,YI"]
        for k in range(24 * 60 // EVERY_MIN):
            at = DAY0 + timedelta(days=day, minutes=EVERY_MIN * k)
            plain = {"FT": "60", "PT": "50", "YI": "1"} | (cells or {}).get(k, {})
            rows.append(f"{at:%Y-%m-%d %H:%M},{plain['FT']},{plain['PT']},{plain['YI']}")
        self._deliver(name or f"export_{day}.csv", rows)

    def lab(self, *rows: str, name: str = "lab_0.csv") -> None:
        """Put a lab sheet into the inbox; a row is "2026-01-05,2.0,20"."""
        self._deliver(name, ["date,feed,cake", *rows])

    def _deliver(self, name: str, rows: list[str]) -> None:
        path = self.home.inbox("p") / name
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        os.utime(path, (1.7e9, 1.7e9))

    def as_of(self) -> datetime:
        self.runs += 1
        return datetime(2026, 2, 1, tzinfo=UTC) + timedelta(days=self.runs)

    def nightly(self, *, publish_now: bool = False) -> Summary:
        return order.nightly(self.home, "p", self.as_of(), publish_now=publish_now)

    def apply_decisions(self) -> Summary:
        return order.apply_decisions(self.home, "p", self.as_of())

    def rebuild(self) -> Summary:
        return order.rebuild(self.home, "p", as_of=self.as_of())

    def hashes(self) -> dict[str, str]:
        return publish.hashes(self.home)

    def same_as_rebuilt(self) -> None:
        """Compare every published table with a rebuild from archive, plant file and decisions."""
        self.apply_decisions()
        before = self.hashes()
        self.rebuild()
        after = self.hashes()
        assert {name for name in before if before[name] != after.get(name)} == set()
        assert set(before) == set(after)

    def ask(self, sql: str) -> list[tuple]:  # type: ignore[type-arg]
        """Ask the store: its tables are those that are published."""
        with Store(self.home.store("p"), "p") as store:
            return store.rows(sql)

    def published(self, sql: str) -> list[tuple]:  # type: ignore[type-arg]
        con = connect(self.home.database, read_only=True)
        try:
            return con.execute(sql).fetchall()
        finally:
            con.close()

    def dose(self, day: int = 0) -> float | None:
        value: float | None = self.ask(f"SELECT dose_active_kg_t FROM kpi_day ORDER BY operating_day LIMIT 1 OFFSET {day}")[0][0]
        return value


def made(root: Path) -> Small:
    return Small(home_of(root, PLANT))


@pytest.fixture
def make_small(tmp_path: Path) -> Callable[[str], Small]:
    return lambda name: made(tmp_path / name)


@pytest.fixture(scope="module")
def shared_small(tmp_path_factory: pytest.TempPathFactory) -> Small:
    """One home for the tests of a file that only read it."""
    return made(tmp_path_factory.mktemp("shared"))


@pytest.fixture
def small(make_small: Callable[[str], Small]) -> Small:
    return make_small("home")
