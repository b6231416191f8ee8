"""Watch over a store: quiet days, planted faults, dispositions, and the same flags whatever the order of the days.

The minutes are made here by hand for the invented plant of two belt presses; no generator and no other step takes part,
but for the data version, which compute must give alike.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipelines import compute, watch
from pipelines.plant import model
from pipelines.plant.logs import Arrangement
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from schemas import TABLES
from tests.unit.watch.hand_minutes import DAY, DAYS, Change, at, begin, day_of, fill, found, put, readings, refused, set_part


def throttled(columns: dict[str, np.ndarray]) -> None:
    columns["mixing_upstream_pressure"][200:400] += 82.7  # 12 psi


def opened(columns: dict[str, np.ndarray]) -> None:
    columns["mixing_upstream_pressure"][200:400] -= 82.7


def frozen(columns: dict[str, np.ndarray]) -> None:
    columns["sludge_flow"][200:380] = columns["sludge_flow"][200]


def taken_out(columns: dict[str, np.ndarray]) -> None:
    columns["mixing_upstream_pressure"] -= 0.6 * (columns["mixing_upstream_pressure"] - columns["mixing_downstream_pressure"])


def dry(columns: dict[str, np.ndarray]) -> None:
    part = slice(300, 304)
    columns["sludge_flow"][part], columns["pump_power"][part], columns["pump_suction_pressure"][part] = 0.0, 3.0, -5.0


def no_record(columns: dict[str, np.ndarray]) -> None:
    columns["sludge_flow_coverage"][200:240] = 0.0
    columns["state"][200:240] = "unknown"


FAULTS: list[tuple[str, Change, str | None, str, tuple[int, int]]] = [
    ("flatline", frozen, "sludge_flow", "check today", (200, 380)),
    ("dry run", dry, None, "check today", (300, 304)),
    ("dry run", set_part("sludge_flow", slice(300, 304), 0.0), None, "check this week", (300, 304)),
    ("polymer outage", set_part("polymer_neat_flow", slice(250, 275), 0.0), "polymer_neat_flow", "check today", (250, 275)),
    ("mixing pressure high", throttled, None, "check this week", (200, 400)),
    ("mixing pressure low", opened, None, "check this week", (200, 400)),
]


def test_quiet_days_have_no_flags_and_the_lists_move_on(store: Store, plant_file: PlantFile) -> None:
    fill(store)
    receipt = watch.run(store, plant_file)
    assert found(store) == []
    assert (receipt.step, receipt.days, receipt.rows) == ("watch", DAYS, {"flags": 0, "signal_marks": 320})  # 2 lines, 16 days, 10 signals
    assert store.pending_days("watch") == []
    assert store.pending_days("publish") == [day_of(k) for k in range(DAYS)]
    assert watch.run(store, plant_file).days == 0


@pytest.mark.parametrize(("detector", "change", "role", "severity", "span"), FAULTS, ids=lambda f: f if isinstance(f, str) else "")
def test_planted_fault_is_flagged_once_and_only_on_its_line(
    store: Store, plant_file: PlantFile, detector: str, change: Change, role: str | None, severity: str, span: tuple[int, int]
) -> None:
    fill(store, {DAY: {"line-1": change}})
    watch.run(store, plant_file)
    (flag,) = found(store)
    assert (flag["detector"], flag["role"], flag["severity"], flag["line"]) == (detector, role, severity, "line-1")
    assert (flag["start_utc"], flag["end_utc"]) == (at(DAY, span[0]), at(DAY, span[1]))
    assert flag["operating_day"] == day_of(DAY)
    assert 1 <= flag["minutes"] <= span[1] - span[0]
    assert list(json.loads(flag["evidence"])) == sorted(json.loads(flag["evidence"]))
    TABLES["flags"].pandera_schema().validate(store.frame("SELECT * FROM flags"))


def test_sentence_speaks_the_plants_units(store: Store, plant_file: PlantFile) -> None:
    """25 minutes at some 90 m3/h are some 37 m3, 9,900 gal; 82.7 kPa are 12 psi."""
    fill(store, {DAY: {"line-1": set_part("polymer_neat_flow", slice(250, 275), 0.0), "line-2": throttled}})
    watch.run(store, plant_file)
    mixing, polymer = (next(f for f in found(store) if f["detector"].startswith(w))["sentence"] for w in ("mixing", "polymer"))
    assert re.search(r"1[12](\.\d)? psi above the curve", mixing)
    assert "3.3 h" in mixing
    assert "25 min" in polymer
    assert " gal in all" in polymer


def test_gap_counts_from_the_reading_that_was_due(store: Store, plant_file: PlantFile) -> None:
    """Readings each minute to minute 179, held to 209: what is unknown from 210 to 219 makes a gap of 40 minutes."""
    fill(store, {DAY: {"line-1": lambda c: (no_record(c), c["sludge_flow_coverage"].__setitem__(slice(200, 210), 1.0))[0]}})
    tag = next(s.tag for s in plant_file.signals if s.line == "line-1" and s.role == "sludge_flow")
    readings(store, tag, [(at(DAY, m), 90.0, 0) for m in (*range(100, 180), *range(240, 300))])
    watch.run(store, plant_file)
    (flag,) = found(store)
    assert (flag["detector"], flag["start_utc"], flag["end_utc"]) == ("data gap", at(DAY, 180), at(DAY, 240))
    assert json.loads(flag["evidence"]) == {"minutes_unknown": 30, "minutes_without_record": 60}


def silent_while_running(columns: dict[str, np.ndarray]) -> None:
    """No measurement of the line from the start of the operating day on, while the held run bit says that the pump ran."""
    for role in [c for c in columns if f"{c}_coverage" in columns and c not in ("pump_run", "device_run")]:
        columns[f"{role}_coverage"][:800] = 0.0
    columns["pump_run"][:800], columns["state"][:800] = 1.0, "unknown"


def test_a_silence_of_a_line_whose_pump_was_last_on_is_one_flag(store: Store, plant_file: PlantFile) -> None:
    fill(store, {DAY: {"line-1": silent_while_running}})
    tag = next(s.tag for s in plant_file.signals if s.line == "line-1" and s.role == "sludge_flow")
    readings(store, tag, [(at(DAY - 1, m), 90.0, 0) for m in range(100, 180)] + [(at(DAY, 1439), 90.0, 0)])
    watch.run(store, plant_file)
    (flag,) = (f for f in found(store) if f["detector"] == "data gap")
    assert (flag["start_utc"], flag["end_utc"]) == (at(DAY, 0), at(DAY, 800))
    assert flag["sentence"].startswith("Nothing was recorded of the line for 13.3 h")


@pytest.mark.parametrize(
    ("bad", "reason", "quality", "flagged"),
    [
        (5, "value outside transmitter range", 2, True),
        (2, "value outside physical range", 2, True),
        (2, "transmitter failure level", 2, True),
        (1, "value outside transmitter range", 2, False),  # one minute
        (5, "text in number", 2, False),  # another reason
        (5, "value outside transmitter range", 0, False),  # a later file brought a good value
    ],
)
def test_out_of_range(store: Store, plant_file: PlantFile, bad: int, reason: str, quality: int, flagged: bool) -> None:
    tag = next(s.tag for s in plant_file.signals if s.line == "line-1" and s.role == "sludge_flow")
    other = next(s.tag for s in plant_file.signals if s.line == "line-2" and s.role == "sludge_flow")
    fill(store, days=2)
    times = [at(1, 200 + k) for k in range(bad)]
    readings(store, tag, [(at(1, m), 90.0, 0) for m in (*range(150, 200), *range(200 + bad, 260))])
    readings(store, tag, [(t, None if quality else 90.0, quality) for t in times])
    refused(store, tag, times, reason)
    refused(store, other, [at(1, 900)], reason)  # no reading stands there
    watch.run(store, plant_file)
    assert [(f["detector"], f["role"], f["start_utc"], f["end_utc"], f["severity"]) for f in found(store)] == (
        [("out of range", "sludge_flow", at(1, 200), at(1, 200 + bad), "check today")] if flagged else []
    )


def test_long_time_out_of_range_is_not_called_a_gap_as_well(store: Store, plant_file: PlantFile) -> None:
    fill(store, {1: {"line-1": no_record}}, days=2)
    tag = next(s.tag for s in plant_file.signals if s.line == "line-1" and s.role == "sludge_flow")
    times = [at(1, 200 + k) for k in range(40)]
    readings(store, tag, [(at(1, 199), 90.0, 0), *[(t, None, 2) for t in times], (at(1, 240), 90.0, 0)])
    refused(store, tag, times, "value outside transmitter range")
    watch.run(store, plant_file)
    assert [(f["detector"], f["minutes"]) for f in found(store)] == [("out of range", 40)]


def test_signal_that_stood_still_is_no_witness_against_another(store: Store, plant_file: PlantFile) -> None:
    """The flow jumps when it comes back to life; a discharge pressure steady at that time is not to blame."""

    def change(columns: dict[str, np.ndarray]) -> None:
        frozen(columns)
        columns["pump_discharge_pressure"][372:410] = 300.0

    fill(store, {DAY: {"line-1": change}})
    watch.run(store, plant_file)
    assert [f["role"] for f in found(store)] == ["sludge_flow"]


def test_dispositions_stay_with_their_flag(store: Store, plant_file: PlantFile) -> None:
    faults: dict[str, Change] = {"line-1": set_part("polymer_neat_flow", slice(250, 275), 0.0), "line-2": throttled}
    fill(store, {DAY: faults})
    watch.run(store, plant_file)
    store.con.execute("UPDATE flags SET disposition = 'confirmed', disposition_role = 'operator', disposition_note = 'tote was empty'")
    put(store, DAY, {"line-1": set_part("polymer_neat_flow", slice(250, 290), 0.0)})  # lasts longer; the throttling is gone
    watch.run(store, plant_file)
    (flag,) = found(store)
    assert (flag["minutes"], flag["disposition"], flag["disposition_role"], flag["disposition_note"]) == (
        40,
        "confirmed",
        "operator",
        "tote was empty",
    )


def test_flag_belongs_to_one_operating_day(store: Store, plant_file: PlantFile) -> None:
    """A fault over the change of day makes a flag on each side of it."""

    def runs_on(columns: dict[str, np.ndarray]) -> None:
        for name in columns:
            columns[name][:] = columns[name][300]
        columns["sludge_flow"] += np.sin(np.arange(1440))

    def late(columns: dict[str, np.ndarray]) -> None:
        runs_on(columns)
        columns["polymer_neat_flow"][1430:] = 0.0

    def early(columns: dict[str, np.ndarray]) -> None:
        runs_on(columns)
        columns["polymer_neat_flow"][:10] = 0.0

    fill(store, {0: {"line-1": late}, 1: {"line-1": early}}, days=2)
    watch.run(store, plant_file)
    outages = [(f["operating_day"], f["start_utc"], f["end_utc"]) for f in found(store) if f["detector"] == "polymer outage"]
    assert outages == [(day_of(0), at(0, 1430), at(0, 1440)), (day_of(1), at(1, 0), at(1, 10))]


def test_logged_change_starts_the_curve_anew(store: Store, plant_file: PlantFile) -> None:
    """Without the event the days after are off the old curve; with it they make a new one."""
    fill(store, {k: {"line-1": taken_out} for k in (13, 14, 15)})
    watch.run(store, plant_file)
    assert {(f["operating_day"], f["detector"]) for f in found(store)} == {(day_of(k), "mixing pressure low") for k in (13, 14, 15)}
    logged = model.Event(line="line-1", at=day_of(13), what="valve taken out")
    store.mark_days("watch", [day_of(k) for k in range(DAYS)])
    watch.run(store, plant_file.model_copy(update={"events": (logged,), "arrangements": ()}))
    assert found(store) == []


def test_each_arrangement_has_its_own_curve_though_they_alternate(store: Store, plant_file: PlantFile) -> None:
    """Two weeks of the old arrangement but for days 5 to 9, then the new one again: it is held against its own days, not against the last."""
    new = {*range(5, 10), 15}
    fill(store, {k: {"line-1": taken_out} for k in new})
    spells = ((0, 5, "old"), (5, 10, "new"), (10, 15, "old"), (15, 16, "new"))
    arms = tuple(
        Arrangement.model_validate({"line": "line-1", "name": name, "from": day_of(a), "until": day_of(b)}) for a, b, name in spells
    )
    declared = plant_file.model_copy(update={"arrangements": arms, "pumps": ()})
    watch.run(store, declared)
    assert found(store) == []

    def tighter(columns: dict[str, np.ndarray]) -> None:
        taken_out(columns)
        columns["mixing_upstream_pressure"] += 60.0

    put(store, 15, {"line-1": tighter})
    watch.run(store, declared)
    assert [(f["operating_day"], f["detector"]) for f in found(store)] == [(day_of(15), "mixing pressure high")]


def test_data_version_is_that_of_compute(store: Store, plant_file: PlantFile) -> None:
    fill(store, {1: {"line-1": set_part("polymer_neat_flow", slice(250, 275), 0.0)}}, days=2)
    loads = pl.DataFrame(
        [{"plant": "alder-fork", "load_id": x * 16, "operating_day": day_of(k)} for x, k in (("b", 1), ("a", 1), ("c", 0))],
        schema=TABLES["load_days"].polars_schema(),
    )
    store.append("load_days", loads)
    used = {"plant": "alder-fork", "plant_file_id": "f" * 16, "first_used_utc": begin(0), "toml": ""}
    store.append("plant_file_versions", pl.DataFrame([used], schema=TABLES["plant_file_versions"].polars_schema()))
    store.mark_days("compute", [day_of(0), day_of(1)])
    compute.run(store, plant_file)
    watch.run(store, plant_file)
    by_hand = hashlib.md5(("a" * 16 + "b" * 16 + "f" * 16).encode()).hexdigest()[:12]
    assert [f["data_version"] for f in found(store)] == [by_hand]
    assert store.rows("SELECT DISTINCT data_version FROM kpi_day WHERE operating_day = $d", {"d": day_of(1)}) == [(by_hand,)]


def test_incremental_equals_rebuild_in_any_order_of_days(tmp_path: Path, plant_file: PlantFile) -> None:
    """Days come one by one in a shuffled order, some twice, with a watch after each; then all at once in another store."""
    changes: dict[int, dict[str, Change]] = {
        3: {"line-1": throttled},
        6: {"line-2": frozen},
        9: {"line-1": dry, "line-2": set_part("polymer_neat_flow", slice(250, 275), 0.0)},
        14: {"line-1": opened, "line-2": throttled},
        15: {"line-1": throttled},
    }
    hashes = []
    for name, orders in (("one-by-one", [*np.random.default_rng(3).permutation(DAYS), 9, 3]), ("whole", [None])):
        with Store(tmp_path / f"{name}.duckdb", "alder-fork") as store:
            for k in orders:
                if k is None:
                    fill(store, changes)
                else:
                    put(store, int(k), changes.get(int(k)))
                watch.run(store, plant_file)
            hashes.append((content_hash(store.con, "flags"), store.rows("SELECT count(*) FROM flags")[0][0]))
    assert hashes[0] == hashes[1]
    assert hashes[1][1] >= 6


def test_days_without_minutes_are_taken_off_the_list_with_their_flags(store: Store, plant_file: PlantFile) -> None:
    fill(store, {1: {"line-1": set_part("polymer_neat_flow", slice(250, 275), 0.0)}}, days=2)
    watch.run(store, plant_file)
    store.con.execute("DELETE FROM minutes WHERE operating_day = $d", {"d": day_of(1)})
    store.mark_days("watch", [day_of(1), day_of(400)])
    assert watch.run(store, plant_file).days == 0
    assert found(store) == []
    assert store.pending_days("watch") == []
