"""Compute gives the same bits however the days are cut, marks what follows, and leaves no half work.

Seventeen days of two lines with noise, outages, held and doubled samples, from a seeded generator; the plant file is the sample
plant's. The oracle is one run over everything; the increments begin empty (days grow, samples come late) or from other
minutes (days are mended in any order).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipelines import compute
from pipelines.base import resources
from pipelines.base.errors import InternalError
from pipelines.plant import loader
from pipelines.plant.logs import Arrangement, Ladder
from pipelines.plant.model import PlantFile
from pipelines.report.weekly.read import iso_week
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from schemas import TABLES
from schemas.roles import ROLES

PLANT = "alder-fork"
LINES = ("line-1", "line-2")
FIRST = datetime(2026, 1, 5, 11, tzinfo=UTC)  # 06:00 in the plant's winter
DAYS = 17
MADE = tuple(compute.MERGED)
TYPICAL = {
    "sludge_flow": 90.0, "polymer_neat_flow": 0.04, "polymer_solution_flow": 5.4, "wash_water_flow": 18.0, "pump_power": 14.7, "device_power": 11.0,
    "pump_suction_pressure": 40.0, "pump_discharge_pressure": 325.0, "mixing_upstream_pressure": 305.0, "mixing_downstream_pressure": 130.0,
    "pump_speed": 1200.0,
}  # fmt: skip
# Basis of a sample -> its span in hours of its operating day (stated: a moment); windows reach over the edges of the day.
SPANS = {"stated": (0, 0), "day": (0, 24), "shift": (1, 9), "composite": (-5, 13), "composite long": (-30, 42)}


def day(k: int) -> date:
    return FIRST.date() + timedelta(days=k)


def made_minutes(seed: int, n_days: int = DAYS) -> pl.DataFrame:
    """Whole operating days of both lines; some runs cross from one day into the next, some days stand still."""
    n = n_days * 1440
    frames = []
    for index, line in enumerate(LINES):
        rng = np.random.default_rng([seed, index])
        minute = np.arange(n) % 1440
        begins = np.repeat(np.maximum(0, rng.integers(-200, 300, n_days)), 1440)
        ends = np.repeat(rng.integers(400, 1700, n_days), 1440)  # past 1440: on to the end of the day
        on = (minute >= begins) & (minute < ends) & (rng.random(n) > 0.003) & np.repeat(rng.random(n_days) > 0.1, 1440)
        state = np.where(on, np.where(minute < begins + 15, "start-up", "processing"), "stopped").astype(object)
        state[rng.random(n) < 0.002] = "unknown"
        columns: dict[str, Any] = {
            "minute_utc": pl.datetime_range(FIRST, FIRST + timedelta(minutes=n - 1), "1m", time_unit="us", eager=True),
            "operating_day": pl.Series([day(k) for k in range(n_days)]).gather(np.arange(n) // 1440),
            "shift": pl.Series(["day", None]).gather(np.where((minute >= 60) & (minute < 540), 0, 1)),
            "state": pl.Series(state.tolist()),
        }
        for role, typical in TYPICAL.items():
            columns[ROLES[role].column] = on * typical * (1.0 + 0.1 * rng.standard_normal(n))
            columns[ROLES[role].coverage] = np.where(rng.random(n) < 0.02, rng.random(n), 1.0)
        columns["pump_run_share"], columns["pump_run_coverage"] = on.astype(float), (rng.random(n) > 0.001).astype(float)
        frames.append(pl.DataFrame(columns).with_columns(plant=pl.lit(PLANT), line=pl.lit(line), is_uncertain=pl.lit(False)))
    return whole("minutes", pl.concat(frames))


def made_samples(seed: int) -> pl.DataFrame:
    """From none to four samples of each kind on each day, often several of the same moment; some of a shift or a longer window."""
    rng, rows = np.random.default_rng(seed), []
    for k, line, (point, analyte, mean) in [
        (k, line, p) for k in range(DAYS) for line in LINES for p in (("feed", "ts", 2.4), ("cake", "ts", 22.0), ("filtrate", "tss", 900.0))
    ]:
        drawn = int(rng.integers(0, 5)) if rng.random() < 0.7 else 0
        for i in range(max(drawn, 2 * (7 <= k < 14))):  # the ladder's days have samples
            begin = FIRST + timedelta(days=k)
            basis = str(rng.choice(list(SPANS), p=[0.45, 0.3, 0.15, 0.06, 0.04]))
            start, end = (begin + timedelta(hours=h) for h in SPANS[basis])
            if basis == "stated":
                start = end = begin + timedelta(minutes=30 * int(rng.integers(0, 30)))
            rows.append(
                {
                    "plant": PLANT, "sample_id": f"{line} {point} {k} {i}", "analyte": analyte, "line": line, "point": point, "from_utc": start,
                    "to_utc": end, "time_basis": basis.split()[0], "operating_day": day(k),
                    "value": mean * (1.0 + 0.05 * rng.standard_normal()), "unit": "-", "is_used": bool(rng.random() < 0.95), "replicates": 1,
                    "revision": 1, "reported_utc": start, "load_id": f"lab {k}", "line_no": 1,
                }
            )  # fmt: skip
    return pl.DataFrame(rows, schema=TABLES["lab_results"].polars_schema())


def whole(table: str, frame: pl.DataFrame) -> pl.DataFrame:
    types = TABLES[table].polars_schema()
    return frame.with_columns([pl.lit(None).alias(c) for c in types if c not in frame.columns]).select(list(types)).cast(types)  # type: ignore[arg-type]


def put_minutes(store: Store, minutes: pl.DataFrame, days: list[date]) -> None:
    """Replace the minutes of the days, and mark them and the day after as align does."""
    store.con.execute("DELETE FROM minutes WHERE operating_day IN (SELECT unnest($d))", {"d": days})
    store.append("minutes", minutes.filter(pl.col("operating_day").is_in(days)))
    store.append("load_days", pl.DataFrame([(PLANT, f"scada {d}", d) for d in days], TABLES["load_days"].polars_schema(), orient="row"))
    store.mark_days("compute", {d + timedelta(days=k) for d in days for k in (0, 1)})


def put_samples(store: Store, samples: pl.DataFrame, days: list[date]) -> None:
    """Add the samples of the days, and mark them, those their windows reach back to, and the 14 days after as check does."""
    store.append("lab_results", samples.filter(pl.col("operating_day").is_in(days)))
    store.append("load_days", pl.DataFrame([(PLANT, f"lab {d}", d) for d in days], TABLES["load_days"].polars_schema(), orient="row"))
    store.mark_days("compute", {d + timedelta(days=k) for d in days for k in range(-2, 15)})


AGAIN = (day(1), day(8))


def put_loads_without_news(store: Store) -> None:
    """Say that one more load speaks of some days without changing a value: only those days are marked, as check does."""
    store.append("load_days", pl.DataFrame([(PLANT, f"again {d}", d) for d in AGAIN], TABLES["load_days"].polars_schema(), orient="row"))
    store.mark_days("compute", AGAIN)


def hashes(store: Store) -> dict[str, str]:
    return {table: content_hash(store.con, table) for table in MADE}


@pytest.fixture(scope="module")
def plant_file() -> PlantFile:
    """The sample plant's, with a dose ladder of which two steps cross from one day into the next, and arrangements that alternate."""
    loaded = loader.load(resources.folder("sample_data") / "plants" / f"{PLANT}.toml")
    steps = [datetime(2026, 1, 13 + k // 2, 8 + 12 * (k % 2)) for k in range(4)]  # noqa: DTZ001 - plant time
    ladder = Ladder(line="line-1", name="a", steps=tuple(steps), until=datetime(2026, 1, 15, 8))  # noqa: DTZ001
    # begin, end, transition [h after the first minute]: one change within a day, a gap, a transition of a whole day
    spells = [("a", 0, 60, 0), ("b", 60, 150, 4), ("a", 170, 300, 24), ("b", 300, 2000, 0)]
    arrangements = [
        Arrangement.model_validate(
            {
                "line": LINES[0], "name": name, "from": FIRST + timedelta(hours=start), "until": FIRST + timedelta(hours=end),
                "transition": f"{hours} h",
            }
        )
        for name, start, end, hours in spells
    ]  # fmt: skip
    return loaded.model_copy(update={"ladders": (ladder,), "arrangements": tuple(arrangements)})


@pytest.fixture(scope="module")
def minutes() -> pl.DataFrame:
    return made_minutes(1)


@pytest.fixture(scope="module")
def samples() -> pl.DataFrame:
    return made_samples(2)


@pytest.fixture(scope="module")
def at_once(
    minutes: pl.DataFrame, samples: pl.DataFrame, plant_file: PlantFile, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, str]:
    with Store(tmp_path_factory.mktemp("whole") / "p.duckdb", PLANT) as store:
        put_minutes(store, minutes, [day(k) for k in range(DAYS)])
        put_samples(store, samples, [day(k) for k in range(DAYS)])
        put_loads_without_news(store)
        receipt = compute.run(store, plant_file)
        assert receipt.days == DAYS
        assert all(receipt.rows[t] == store.rows(f"SELECT count(*) FROM {t}")[0][0] > 0 for t in MADE)
        for table in MADE:
            TABLES[table].pandera_schema().validate(store.frame(f"SELECT * FROM {table}"), lazy=True)
            keys = ", ".join(TABLES[table].key)
            assert store.rows(f"SELECT {keys} FROM {table} GROUP BY ALL HAVING count(*) > 1") == []
        held = store.rows("SELECT count(*) FROM kpi_day WHERE dry_solids_held_t > 0")[0][0]
        assert held > 3  # the data do hold what the comparison is about
        notes = {
            note
            for table in ("kpi_hour", "kpi_day", "kpi_week")
            for (note,) in store.rows(f"SELECT DISTINCT arrangement_note FROM {table}")
        }
        assert notes >= {
            None,
            "mixed: a; b",
            "mixed: not declared; b",
            "in transition",
            "partly in transition",
        }, notes
        for figure, table in (("wear_index", "pump_weeks"), ("cake_ts_pct", "dose_steps"), ("feed_on_utc", "line_day")):
            assert store.rows(f"SELECT count({figure}) FROM {table}")[0][0] > 0, figure
        assert (
            store.rows(
                "SELECT count(*) FROM runs WHERE end_utc > (SELECT min(period_end_utc) FROM kpi_day d WHERE d.operating_day = runs.operating_day)"
            )[0][0]
            > 0
        )
        return hashes(store)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "p.duckdb", PLANT) as made:
        yield made


def test_growing_day_by_day_with_late_samples_gives_the_same_bits(
    store: Store, minutes: pl.DataFrame, samples: pl.DataFrame, plant_file: PlantFile, at_once: dict[str, str]
) -> None:
    rng, k, reported = np.random.default_rng(5), 0, 0
    while reported < DAYS:
        end = min(DAYS, k + int(rng.integers(1, 5)))
        if end > k:
            put_minutes(store, minutes, [day(i) for i in range(k, end)])
        late = DAYS if k == DAYS else max(reported, end - 3)  # samples come up to three days after their minutes
        put_samples(store, samples, [day(i) for i in range(reported, late)])
        k, reported = end, late
        compute.run(store, plant_file)
    assert hashes(store) != at_once
    put_loads_without_news(store)
    compute.run(store, plant_file)
    assert hashes(store) == at_once


@pytest.mark.parametrize("seed", [2])
def test_mending_days_in_any_order_gives_the_same_bits(
    store: Store,
    minutes: pl.DataFrame,
    samples: pl.DataFrame,
    plant_file: PlantFile,
    at_once: dict[str, str],
    seed: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(seed)
    monkeypatch.setattr(compute, "PIECE_DAYS", int(rng.integers(3, 9)))
    put_minutes(store, made_minutes(100 + seed), [day(k) for k in range(DAYS)])
    store.con.execute("DELETE FROM load_days")
    compute.run(store, plant_file)
    wrong = hashes(store)
    assert all(wrong[t] != at_once[t] for t in MADE)
    order = [day(int(k)) for k in rng.permutation(DAYS)]
    while order:
        size = int(rng.integers(2, 9))
        put_minutes(store, minutes, order[:size])
        put_samples(store, samples, order[:size])
        order = order[size:]
        compute.run(store, plant_file)
    assert hashes(store) != at_once
    put_loads_without_news(store)
    compute.run(store, plant_file)
    assert hashes(store) == at_once


def test_a_changed_day_alone_reaches_the_spans_that_end_27_days_later(tmp_path: Path, plant_file: PlantFile) -> None:
    """Day 0 changes, and only day 0 is marked (align marks the day after too, which would hide a reach of 26 days)."""
    hour = pl.col("minute_utc").dt.hour() == 13
    before, after = (made_minutes(seed, 29).filter(hour) for seed in (7, 8))
    with Store(tmp_path / "mended.duckdb", PLANT) as store:
        put_minutes(store, before, [day(0), day(27), day(28)])
        compute.run(store, plant_file)
        put_minutes(store, after, [day(0)])
        for stage in ("compute", "watch", "publish"):
            store.clear_days(stage)
        store.mark_days("compute", [day(0)])
        compute.run(store, plant_file)
        assert store.pending_days("publish") == [day(k) for k in range(28)]
        mended = spans_of_28_days(store)
    with Store(tmp_path / "at once.duckdb", PLANT) as store:
        put_minutes(store, after, [day(0)])
        put_minutes(store, before, [day(27), day(28)])
        compute.run(store, plant_file)
        assert mended == spans_of_28_days(store)
    assert len({feed for last, feed in mended if last in (day(27), day(28))}) == 4  # two lines, with and without day 0


def spans_of_28_days(store: Store) -> list[tuple[Any, ...]]:
    return store.rows("SELECT operating_day, feed_volume_all_m3 FROM kpi_rolling WHERE window_name = '28 d' ORDER BY operating_day, line")


def test_same_days_again_change_nothing_and_nothing_pending_is_nothing_done(
    store: Store, minutes: pl.DataFrame, plant_file: PlantFile
) -> None:
    put_minutes(store, minutes, [day(k) for k in range(5)])
    compute.run(store, plant_file)
    before = hashes(store)
    store.mark_days("compute", [day(1), day(4)])
    assert compute.run(store, plant_file).days == 2
    assert hashes(store) == before
    idle = compute.run(store, plant_file)
    assert (idle.days, idle.rows) == (0, {})


def test_lists_of_the_next_steps_are_cut_to_the_days_that_exist(store: Store, minutes: pl.DataFrame, plant_file: PlantFile) -> None:
    put_minutes(store, minutes, [day(k) for k in range(DAYS)])
    compute.run(store, plant_file)
    for stage in ("watch", "publish"):
        store.clear_days(stage)
    store.mark_days("compute", [day(-3), day(2), day(DAYS)])
    assert compute.run(store, plant_file).days == 1
    assert store.pending_days("compute") == []
    assert store.pending_days("watch") == [day(k) for k in range(2, 17)]
    assert store.pending_days("publish") == [day(k) for k in range(2, DAYS)]


def test_a_break_leaves_the_days_on_the_list_and_the_tables_as_they_were(
    store: Store, minutes: pl.DataFrame, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_minutes(store, minutes, [day(k) for k in range(3)])
    pending = store.pending_days("compute")

    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(store, "mark_days", broken)
        with pytest.raises(KeyboardInterrupt):
            compute.run(store, plant_file)
    assert store.pending_days("compute") == pending
    assert all(store.rows(f"SELECT count(*) FROM {t}")[0][0] == 0 for t in MADE)
    compute.run(store, plant_file)
    assert store.pending_days("compute") == []
    assert store.rows("SELECT count(*) FROM kpi_day")[0][0] == 6


def test_a_file_that_does_not_make_its_table_is_refused(
    store: Store, minutes: pl.DataFrame, plant_file: PlantFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_minutes(store, minutes, [day(0)])
    monkeypatch.setattr(compute, "TABLES", dict(TABLES) | {"kpi_day": TABLES["kpi_week"]})
    with pytest.raises(InternalError, match=r"kpi_day\.sql does not have the columns"):
        compute.run(store, plant_file)


def test_threads_are_given_back(store: Store, minutes: pl.DataFrame, plant_file: PlantFile) -> None:
    store.con.execute("SET threads = 3")
    put_minutes(store, minutes, [day(0)])
    compute.run(store, plant_file)
    assert store.rows("SELECT current_setting('threads')")[0][0] == 3


def test_a_run_of_many_days_is_the_same_whatever_day_came_last(tmp_path: Path, plant_file: PlantFile) -> None:
    """Whole days inside a known run are not read again: mending one inside, at an edge, or with a stop must still give all of it."""
    stop = FIRST + timedelta(days=5, hours=6)
    is_off = (pl.col("minute_utc") < FIRST + timedelta(hours=9)) | (pl.col("minute_utc") >= FIRST + timedelta(days=11, hours=3))
    ran = pl.when(is_off).then(0.0).otherwise(1.0)
    steady = made_minutes(3, 12).with_columns(pump_run_share=ran, pump_run_coverage=pl.lit(1.0))
    stopped = steady.with_columns(pump_run_share=pl.when(pl.col("minute_utc") == stop).then(0.0).otherwise("pump_run_share"))
    found = {}
    for name, steps in {
        "at once": [(stopped, range(12))],
        "day by day": [(stopped, [k]) for k in range(12)],
        "mended": [(steady, range(12)), (stopped, [5]), (steady, [0, 11]), (stopped, [3])],
        "stop taken back": [(stopped, range(12)), (steady, [5])],
        "never stopped": [(steady, range(12))],
    }.items():
        with Store(tmp_path / f"{name}.duckdb", PLANT) as store:
            for minutes, days in steps:
                put_minutes(store, minutes, [day(k) for k in days])
                compute.run(store, plant_file)
            found[name] = store.rows("SELECT * FROM runs ORDER BY ALL"), content_hash(store.con, "runs")
    assert found["at once"] == found["day by day"] == found["mended"]
    assert found["stop taken back"] == found["never stopped"]
    lengths = [(line, round(hours * 60)) for _, line, _, _, _, hours, *_ in found["at once"][0]]
    assert lengths == [(line, minutes) for line in LINES for minutes in (4 * 1440 + 15 * 60 + 360, 6 * 1440 - 360 + 3 * 60 - 1)]


def test_weeks_of_another_weekday_and_runs_of_a_line_that_is_gone_go(store: Store, minutes: pl.DataFrame, plant_file: PlantFile) -> None:
    days = [day(k) for k in range(DAYS)]
    put_minutes(store, minutes, days)
    compute.run(store, plant_file)
    plant = plant_file.plant.model_copy(update={"week_start": "wednesday"})
    put_minutes(store, minutes.filter(pl.col("line") == LINES[0]), days)
    compute.run(store, plant_file.model_copy(update={"plant": plant, "lines": plant_file.lines[:1], "service": ()}))
    for table in ("kpi_week", "pump_weeks"):
        assert store.rows(f"SELECT DISTINCT isodow(week_start_day) FROM {table}") == [(3,)]
    assert store.rows("SELECT DISTINCT line FROM runs") == [(LINES[0],)]
    named = store.rows("SELECT DISTINCT week_start_day, iso_week FROM kpi_week")
    assert [name for _, name in named] == [iso_week(start) for start, _ in named]  # the page and the table name a week alike
