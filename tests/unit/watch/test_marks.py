"""Signal marks and their flags end to end: exports of two days through all steps, the second one full of instrument faults."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines import order
from pipelines.base.home import Home
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from pipelines.watch.line_day import signal_on, signals_on
from tests.plants import WIDE, home_of, plant_file, plant_toml

BEGIN = datetime(2026, 1, 5, tzinfo=UTC)
AS_OF = datetime(2026, 2, 1, tzinfo=UTC)
CHANGES = (date(2026, 1, 6), date(2026, 1, 7))
CLEAN, FAULTY = date(2026, 1, 5), date(2026, 1, 6)
N = 1440
START, STOP = 360, 1080  # the line runs from 06:00 to 18:00
SIGNALS: tuple[dict[str, Any], ...] = (
    {"role": "sludge_flow", "tag": "FT", "unit": "m3/h", "range": [-10, 100]},
    {"role": "polymer_neat_flow", "tag": "PF", "unit": "L/h", "range": [0, 100]},
    {"role": "pump_speed", "tag": "ST", "unit": "rpm", "range": [0, 1800]},
    {"role": "pump_power", "tag": "JT", "unit": "kW", "range": [0, 50]},
    {"role": "pump_discharge_pressure", "tag": "PT", "unit": "kPa", "range": [0, 1000]},
    {"role": "mixing_downstream_pressure", "tag": "PD", "unit": "kPa", "range": [0, 500]},
    {"role": "pump_run", "tag": "YI", "unit": "state"},
    {"role": "sludge_total", "tag": "FQ", "unit": "x10 m3", "rollover": 1000000},
)
PUMP = {"pump": {"id": "P-1", "kind": "displacement"}}
EXPORT = WIDE | {"files": "*.csv", "time_column": "time", "time_zone": "UTC"}


def columns(day: int) -> dict[str, np.ndarray]:
    """One quiet day, by tag."""
    rng = np.random.default_rng([11, day])
    on = (np.arange(N) >= START) & (np.arange(N) < STOP)
    swing = 1 + 0.06 * np.sin(np.arange(N) / 37)
    flow = np.where(on, 80 * swing + rng.normal(0, 0.5, N), 0.0)
    return {
        "FT": flow, "PF": np.where(on, 40 + rng.normal(0, 0.5, N), 0.0), "ST": np.where(on, 1200 * swing, 0.0),
        "JT": np.where(on, 15 + rng.normal(0, 0.2, N), 0.0), "PT": np.where(on, 300 + 0.02 * flow**2 + rng.normal(0, 3, N), 30.0),
        "PD": np.where(on, 120 + rng.normal(0, 2, N), 10.0), "YI": on.astype(float),
        "FQ": (5_000.0 if day == 0 else columns(day - 1)["FQ"][-1]) + np.append(0.0, np.cumsum(flow)[:-1]) / 600.0,  # of ten cubic metres
    }  # fmt: skip


def faulty() -> dict[str, np.ndarray]:
    c = columns(1)
    stopped = c["YI"] == 0
    c["YI"] = np.roll(c["YI"], -3)  # the clock of the run bit is three minutes fast
    c["PF"] = np.where(stopped, 0.0, 40.0)  # a set-point
    c["FT"] = c["FT"] + np.where(stopped, 1.2, 0.0)  # the zero is off by 1.2 of a span of 110
    c["FT"][600:605] = -3.0  # backflow
    logged, held = c["PT"][0], []
    for value in c["PT"]:  # a log of changes with a deadband, written on a grid
        logged = value if abs(value - logged) > 10 else logged
        held.append(logged)
    c["PT"] = np.array(held)
    c["PD"][700:708] = 500.0  # at the top of its range
    c["FQ"][800:] -= c["FQ"][800]  # reset
    c["FQ"][900:] += 40_000.0  # another register
    return c


def write(home: Home, day: int, c: dict[str, np.ndarray]) -> None:
    lines = [",".join(["time", *c])]
    for k in range(N):
        lines.append(",".join([f"{BEGIN + timedelta(days=day, minutes=k):%Y-%m-%d %H:%M:%S}", *(f"{v[k]:.4f}" for v in c.values())]))
    (home.inbox("p") / f"day_{day}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def home_at(root: Path) -> Home:
    return home_of(root, plant_toml(*SIGNALS, line=PUMP, layouts=(EXPORT,), time_zone="UTC"))


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Home:
    home = home_at(tmp_path_factory.mktemp("p"))
    write(home, 0, columns(0))
    write(home, 1, faulty())
    receipts = order.nightly(home, "p", AS_OF, publish_now=False).receipts
    assert [r.rows_set_aside for r in receipts] == [0, 0]
    return home


def ask(home: Home, sql: str, **values: Any) -> list[tuple[Any, ...]]:
    with Store(home.store("p"), "p") as store:
        return store.rows(sql, values)


def mark(home: Home, day: date, role: str, *names: str) -> tuple[Any, ...]:
    return ask(home, f"SELECT {', '.join(names)} FROM signal_marks WHERE operating_day = $d AND role = $r", d=day, r=role)[0]


def test_a_quiet_day_has_its_marks_and_no_flags(worked: Home) -> None:
    assert ask(worked, "SELECT detector FROM flags WHERE operating_day = $d", d=CLEAN) == []
    roles = [r for (r,) in ask(worked, "SELECT role FROM signal_marks WHERE operating_day = $d ORDER BY role", d=CLEAN)]
    assert roles == sorted(s["role"] for s in SIGNALS)
    assert mark(worked, CLEAN, "pump_run", "run_flow_lag_s", "stuck_minutes") == (pytest.approx(0.0, abs=1.0), 0)
    assert mark(worked, CLEAN, "sludge_total", "register_ratio") == (pytest.approx(1.0, abs=0.003),)
    assert mark(worked, CLEAN, "sludge_flow", "zero_offset_m3_h", "negative_minutes", "negative_m3", "is_resampled") == (0.0, 0, 0.0, False)


def test_a_faulty_day_has_one_flag_a_fault(worked: Home) -> None:
    found = ask(worked, "SELECT detector, role, severity, minutes FROM flags WHERE operating_day = $d ORDER BY detector, role", d=FAULTY)
    own = [f for f in found if f[0] not in ("flatline", "polymer outage", "dry run")]
    assert own == [
        ("clipped", "mixing_downstream_pressure", "check this week", 8),
        ("clock error", "pump_run", "check this week", 6),
        ("negative flow", "sludge_flow", "note", 5),
        ("resampled", "pump_discharge_pressure", "note", own[3][3]),
        ("set-point as value", "polymer_neat_flow", "check this week", own[4][3]),
        ("totaliser jump", "sludge_total", "check this week", 1),
        ("totaliser reset", "sludge_total", "note", 1),
        ("zero offset", "sludge_flow", "note", own[7][3]),
    ]


def test_the_marks_of_a_faulty_day_are_the_faults(worked: Home) -> None:
    assert mark(worked, FAULTY, "pump_run", "run_flow_lag_s") == (pytest.approx(180.0, abs=2.0),)
    offset, share, minutes, volume = mark(
        worked, FAULTY, "sludge_flow", "zero_offset_m3_h", "zero_offset_share", "negative_minutes", "negative_m3"
    )
    assert (offset, share) == (pytest.approx(1.2), pytest.approx(1.2 / 110))
    assert (minutes, volume) == (5, pytest.approx(5 * 3.0 / 60))
    assert mark(worked, FAULTY, "polymer_neat_flow", "is_setpoint_like", "repeat_share") == (True, 1.0)
    resampled, share = mark(worked, FAULTY, "pump_discharge_pressure", "is_resampled", "repeat_share")
    assert resampled
    assert share > 0.5
    assert mark(worked, FAULTY, "mixing_downstream_pressure", "clipped_minutes") == (8,)
    # the readings at the range top are uncertain, and so are their minutes
    assert ask(worked, "SELECT count(*) FROM readings WHERE tag = 'PD' AND quality = 1") == [(8,)]
    # the increments over reset and replacement are not in the ratio, the others are
    assert mark(worked, FAULTY, "sludge_total", "register_ratio") == (pytest.approx(1.0, abs=0.02),)


def test_neither_phantom_nor_negative_flow_is_in_the_totals(worked: Home) -> None:
    """720 minutes run on the line; 720 stand at 1.2 m3/h, 14.4 m3 that nobody fed; 5 ran at -3 m3/h, 0.25 m3 clipped."""
    fed = ask(worked, "SELECT feed_volume_all_m3 FROM kpi_day WHERE operating_day = $d", d=FAULTY)[0][0]
    minutes = ask(
        worked,
        "SELECT sum(greatest(sludge_flow_m3_h, 0)) FILTER (state IN ('processing', 'start-up', 'idle running') OR (state = 'unknown' AND sludge_flow_m3_h > 5)) "
        "/ 60, sum(sludge_flow_m3_h) / 60 "
        "FROM minutes WHERE operating_day = $d", d=FAULTY,
    )[0]  # fmt: skip
    assert fed == pytest.approx(minutes[0], rel=1e-12)
    by_hand = faulty()["FT"]
    running = np.clip(by_hand[START:STOP], 0.0, None).sum() / 60
    # the fast run bit cuts three minutes at the end and adds three still ones at the start
    assert fed == pytest.approx(running, abs=3 * 90 / 60)
    assert minutes[1] - fed > 14.4 - 0.25 - 1.0  # what adding up the meter would have counted


def test_the_marks_do_not_depend_on_the_order_of_the_days(worked: Home, tmp_path: Path) -> None:
    home = home_at(tmp_path / "other")
    write(home, 1, faulty())
    order.nightly(home, "p", AS_OF, publish_now=False)
    write(home, 0, columns(0))
    order.nightly(home, "p", AS_OF, publish_now=False)
    hashes = []
    for one in (worked, home):
        with Store(one.store("p"), "p") as store:
            store.con.execute("UPDATE signal_marks SET data_version = ''")  # the order of receipt changes no value
            hashes.append(content_hash(store.con, "signal_marks"))
    assert hashes[0] == hashes[1]


def test_the_signals_of_a_day_are_those_asked_for_one_by_one() -> None:
    spells = ({"until": CHANGES[0]}, {"since": CHANGES[0], "until": CHANGES[1]}, {"since": CHANGES[1]})
    power = {"role": "device_power", "unit": "kW", "range": [0, 9]}
    plant = plant_file(*SIGNALS, *(power | {"tag": f"J{k}"} | spell for k, spell in enumerate(spells)), time_zone="UTC")
    roles = [s["role"] for s in SIGNALS]
    for day in range(4):
        when = BEGIN + timedelta(days=day)
        together = signals_on(plant, "line-1", when)
        assert together == {role: s for role in (*roles, "device_power") if (s := signal_on(plant, "line-1", role, when)) is not None}
    assert signals_on(plant, "line-2", BEGIN) == {}
