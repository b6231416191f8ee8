"""Integrity over a store: a wrong unit is told, and any order of days gives the same tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipelines import watch
from pipelines.base import resources
from pipelines.plant import loader
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from tests.unit.watch.hand_minutes import DAYS, day_of, fill

PLANT = loader.load(resources.folder("sample_data") / "plants" / "alder-fork.toml")


def wrong_unit(columns: dict[str, np.ndarray]) -> None:
    """The feed was declared in L/s and is truly in m3/h: it reads 3.6 times as much."""
    columns["sludge_flow"] = columns["sludge_flow"] * 3.6


def test_a_feed_declared_in_the_wrong_unit_is_told_before_anyone_believes_a_dose(tmp_path: Path) -> None:
    with Store(tmp_path / "alder-fork.duckdb", "alder-fork") as store:
        fill(store, {k: {"line-1": wrong_unit} for k in range(DAYS)})
        watch.run(store, PLANT)
        rows = store.rows("SELECT line, verdict FROM meter_integrity WHERE role = 'sludge_flow' ORDER BY line, week_start_day")
        assert rows == [("line-1", "doubted")] * 3 + [("line-2", "agrees")] * 3
        flags = store.rows("SELECT line, role, severity, sentence, suggestion FROM flags WHERE detector = 'meter doubted'")
    assert [f[:3] for f in flags] == [("line-1", "sludge_flow", "check today")]
    assert "3.57 times the reference flow" in flags[0][3] or "3.5" in flags[0][3]
    assert flags[0][3].endswith("Numbers that rest on it are withheld.")
    assert flags[0][4].endswith("Never run the pump against a closed valve.")


def test_any_order_of_days_gives_the_same_verdicts(tmp_path: Path) -> None:
    found = []
    for name, orders in (("whole", [range(DAYS)]), ("piecemeal", [[15], [3, 4], range(5, 15), range(3)])):
        with Store(tmp_path / f"{name}.duckdb", "alder-fork") as store:
            fill(store, {k: {"line-1": wrong_unit} for k in (11, 12)})
            store.clear_days("watch")
            for days in orders:
                store.mark_days("watch", [day_of(k) for k in days])
                watch.run(store, PLANT)
            found.append([content_hash(store.con, t) for t in ("meter_days", "meter_integrity", "flags")])
    assert found[0] == found[1]
