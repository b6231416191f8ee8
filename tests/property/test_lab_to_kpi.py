"""From a lab sheet to KPIs: a shift's samples make the shift's figures, non-detects bracket the capture, questions answer."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from pipelines import check, compute, receive
from pipelines.ask import questions
from pipelines.base import resources
from pipelines.plant import loader, model
from pipelines.plant.model import Layout, PlantFile
from pipelines.store import Store
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES
from schemas.roles import ROLES

DAY = date(2026, 1, 5)
BEGIN = datetime(2026, 1, 5, 11, tzinfo=UTC)  # 06:00 in the plant's winter
FLOWS = {"sludge_flow": 90.0, "polymer_neat_flow": 0.04, "polymer_solution_flow": 5.4, "wash_water_flow": 18.0}
HEAD = "Date,Shift,Feed,Cake,Filtrate,DL\n"
SHEET = HEAD + "01/05/2026,A,2.0,22,500,\n01/05/2026,B,3.0,24,,100\n"


@pytest.fixture(scope="module")
def plant() -> PlantFile:
    """The sample plant with a lab sheet that names shifts."""
    file = loader.load(resources.folder("sample_data") / "plants" / "alder-fork.toml")
    columns = (("Feed", "feed", "ts", "%"), ("Cake", "cake", "ts", "%"), ("Filtrate", "filtrate", "tss", "mg/L"))
    results = [{"column": c, "line": "line-1", "point": p, "analyte": a, "unit": u} for c, p, a, u in columns]
    results[2] |= {"limit_column": "DL", "qualifier_column": "Q"}
    layout = Layout.model_validate(
        {"id": "shifts", "kind": "lab wide", "files": "*", "time_column": "Date", "time_format": "%m/%d/%Y", "shift_column": "Shift", "crew_column": "Shift", "results": results}
    )  # fmt: skip
    halves = [{"name": "A", "start": "06:00", "end": "18:00"}, {"name": "B", "start": "18:00", "end": "06:00"}]
    known = file.plant.model_copy(update={"shifts": tuple(model.Shift.model_validate(s) for s in halves)})
    return file.model_copy(update={"layouts": (layout,), "plant": known})


def minutes() -> pl.DataFrame:
    schema = TABLES["minutes"].polars_schema()
    n = 1440
    given: dict[str, Any] = {
        "plant": ["alder-fork"] * n, "line": ["line-1"] * n, "operating_day": [DAY] * n, "state": ["processing"] * n, "is_uncertain": [False] * n,
        "minute_utc": [BEGIN + timedelta(minutes=k) for k in range(n)], "shift": ["A" if k < 720 else "B" for k in range(n)],
    }  # fmt: skip
    for role, flow in FLOWS.items():
        given |= {ROLES[role].column: [flow] * n, ROLES[role].coverage: [1.0] * n}
    return pl.DataFrame({c: given.get(c, [None] * n) for c in schema}, schema=schema)


@pytest.fixture(scope="module")
def store(plant: PlantFile, tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("kpi")
    path = folder / "lab.csv"
    path.write_text(SHEET.replace("DL\n", "DL,Q\n").replace("500,\n", "500,,\n").replace(",100\n", ",100,U\n"), encoding="utf-8")
    with Store(folder / "p.duckdb", "alder-fork") as made:
        made.append("minutes", minutes())
        opened = receive.open_file(path, path.name, plant)
        check.run(
            made, plant, receive.fingerprint(path), path.name, opened, lambda n: receive.raw_lines(path, opened.layout, n), seq=1,
            received_utc=datetime(2026, 1, 7, tzinfo=UTC),
        )  # fmt: skip
        compute.run(made, plant)
        create_macros_and_views(made.con)
        yield made


def test_each_shift_has_its_own_samples_and_the_day_the_mean_by_mass(store: Store) -> None:
    rows = store.rows(
        "SELECT shift, feed_ts_pct, cake_ts_pct, filtrate_tss_mg_l, cake_samples FROM kpi_shift WHERE line = 'line-1' ORDER BY 1"
    )
    assert rows == [("A", pytest.approx(2.0), 22.0, 500.0, 1), ("B", pytest.approx(3.0), 24.0, 50.0, 1)]
    day = store.rows("SELECT feed_ts_pct, dry_solids_t, dry_solids_held_t, is_provisional FROM kpi_day WHERE line = 'line-1'")[0]
    # equal flow in both halves: (2.0 + 3.0)/2; dry solids 90 m3/h x 24 h x 2.5 % at SG 1 (the plant file's constant)
    assert day[0] == pytest.approx(2.5)
    assert day[1] == pytest.approx(90 * 24 * 0.025 * store.rows("SELECT any_value(sludge_sg) FROM line_settings")[0][0])
    assert day[2:] == (0.0, False)


def test_non_detects_bracket_the_capture_of_the_day(store: Store) -> None:
    kpi, ratio = store.rows("SELECT capture_pct, dilution_ratio FROM kpi_day WHERE line = 'line-1'")[0]
    zero, half, limit, below = store.rows(
        "SELECT capture_at_zero_pct, capture_at_half_pct, capture_at_limit_pct, non_detects FROM capture_nondetects WHERE period_kind = 'day'"
    )[0]
    assert (half, below) == (pytest.approx(kpi, rel=1e-12), 1)
    assert zero > half > limit
    # by hand: X of 500 with 0, 50 and 100 mg/L: 250, 275, 300 mg/L = 0.025, 0.0275, 0.03 %; feed 2.5, cake 23
    by_hand = [100 * (1 - x / 2.5 * (1 + ratio)) / (1 - x / 23) for x in (0.025, 0.0275, 0.03)]
    assert (zero, half, limit) == tuple(pytest.approx(r, rel=1e-9) for r in by_hand)


def test_saved_questions_on_the_lab_answer(store: Store) -> None:
    found = {}
    for name in ("nondetects", "lab_methods", "odd_samples"):
        question = questions.saved()[name]
        found[name] = store.rows(question.sql, question.bind({}))
    week = found["nondetects"][0]
    assert (len(found["nondetects"]), week[3], week[4], week[5:9]) == (1, 2, 1, (250.0, 275.0, 300.0, 300.0))
    assert found["lab_methods"] == []
    assert [(r[3], r[5]) for r in found["odd_samples"]] == [("filtrate tss", "qualifier U")]


def test_crews_of_shifts_have_the_dose_of_their_shift(store: Store) -> None:
    question = questions.saved()["dose_by_crew"]
    assert store.rows(question.sql, question.bind({})) == []  # of one day of a weekday nothing is said
    store.con.execute("BEGIN")
    store.con.execute("DELETE FROM line_events")  # the sample plant's pump is changed later on
    for week in range(1, 5):
        back = f"INTERVAL {week} WEEK"
        store.con.execute(
            f"INSERT INTO kpi_shift SELECT * REPLACE ((operating_day - {back})::DATE AS operating_day, period_start_utc - {back} AS period_start_utc, "
            f"period_end_utc - {back} AS period_end_utc) FROM kpi_shift WHERE operating_day = $d",
            {"d": DAY},
        )
        store.con.execute(
            f"INSERT INTO lab_results SELECT * REPLACE ((operating_day - {back})::DATE AS operating_day, from_utc - {back} AS from_utc, to_utc - {back} AS to_utc, "
            f"sample_id || '{week}' AS sample_id) FROM lab_results WHERE operating_day = $d",
            {"d": DAY},
        )
    rows = store.rows(question.sql, question.bind({}))
    store.con.execute("ROLLBACK")
    # the same polymer and flow in both shifts, feed of 2 and 3 %: the doses are as 3 to 2
    assert [(r[1], r[3], r[7]) for r in rows] == [("A", 5, pytest.approx(2.0)), ("B", 5, pytest.approx(3.0))]
    assert rows[0][4] / rows[1][4] == pytest.approx(1.5)


def test_the_lab_tables_fit_their_schemas(store: Store) -> None:
    for table in ("lab_results", "lab_results_history"):
        TABLES[table].pandera_schema().validate(store.frame(f"SELECT * FROM {table}"), lazy=True)
