"""The saved questions: one short statement each, explained, with typed parameters, and together an answer to what engineers ask."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest

from pipelines.ask import questions, render, sandbox
from pipelines.base import resources
from pipelines.base.errors import UsageError
from pipelines.store import connect
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES

SAVED = questions.saved()
MOST_LINES = 20  # of a statement, a column a line where it is long; the header is not counted
LONGER = {"wear_slope": 51, "dose_by_crew": 41, "discharge_pressure_curve": 29}  # intervals and fits take their lines
# The questions a process engineer asks most (common practice, no source), and the saved questions that answer each.
ASKED: dict[str, tuple[str, ...]] = {
    "1 dose by line and day, with tons and valid minutes": ("dose_by_day",),
    "2 rolling 7- and 28-day dose, ratio of totals": ("rolling_dose",),
    "3 the same per tonne, and neat": ("dose_metric",),
    "4 days that changed after results arrived late, and by how much": ("restated_days", "known_at"),
    "5 dose, cake and capture by feed TS before and after a change": ("dose_by_feed_ts",),
    "6 dose by crew and weekday, adjusted for feed TS": ("dose_by_crew",),
    "7 dose and cake by polymer, lot and delivery": ("dose_by_product", "dose_by_lot"),
    "8 mixing pressure at the reference flow by week, with count and interval": ("mixing_pressure_by_week",),
    "9 discharge pressure against flow by month": ("discharge_pressure_curve",),
    "10 minutes of dry run, deadhead, low suction a month, and the worst": ("episode_minutes_by_month", "worst_episodes"),
    "11 starts, run hours, short cycles, hours since service": ("starts_and_run_hours", "pump_starts_by_week", "service_hours"),
    "12 wear index at duty in a window of TS, and its slope": ("head_at_reference_speed", "wear_index_by_week", "wear_slope"),
    "13 slip of each displacement pump against commissioning": ("slip_at_pressure",),
    "14 polymer outages and cake and filtrate after them": ("outages_and_cake",),
    "15 feed solids against hauled solids": ("solids_balance_by_month",),
    "16 metered polymer against deliveries and stock": ("polymer_by_month",),
    "17 hours running idle, water and energy used in them": ("idle_hours",),
    "18 energy by week, split by drive": ("energy_by_week",),
    "19 total cost by week at current prices and at those of the baseline": ("cost_by_week", "cost_at_prices_of"),
    "20 samples without a run, unknown points, qualifiers": ("odd_samples", "sample_dates_far_apart"),
    "21 rows set aside in a week by reason and file, and what became of them": ("set_aside_rows",),
    "22 missing minutes by signal, longest gaps, share of processing": ("missing_minutes",),
    "23 steps of dose with a residence time of steady running": ("dose_response_steps",),
    "24 flags with dispositions, precision, days since the last true one": ("flags_and_dispositions",),
    "25 what is behind a printed number": ("behind_a_day", "uncertainty_budget"),
    "how well is it known": ("dose_with_uncertainty", "dose_uncertainty_by_week"),
    "two plants compared": ("compare_plants",),
    "the week with the highest dose and why": ("weeks_with_highest_dose",),
    "what if the feed had 2.4 %": ("dose_at_assumed_ts",),
    "which days can still change": ("provisional_days",),
}


def body(name: str) -> list[str]:
    return [line for line in SAVED[name].sql.splitlines() if line.strip() and not line.startswith("--")]


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A published file without a row."""
    path = tmp_path_factory.mktemp("empty") / "published.duckdb"
    con = connect(path)
    for table in TABLES.values():
        if table.published and table.view is None:
            con.execute(table.ddl())
    create_macros_and_views(con)
    con.close()
    return path


# Answers that someone acts on with a valve, a pump or a dose, and what their caution must say.
HAZARDS = {
    ("dose_ladders", "dose_response_steps", "dose_metric", "dose_at_assumed_ts"): ("permit", "handling limits", "stopping", "slippery"),
    ("wear_index_by_week", "wear_slope", "slip_at_pressure", "head_at_reference_speed", "discharge_pressure_curve", "service_hours"):
        ("isolate", "relieve pressure", "lock out", "dry", "closed valve"),
}  # fmt: skip


@pytest.mark.parametrize("names", HAZARDS)
def test_answers_that_send_someone_to_a_pump_or_a_dose_name_the_hazard(names: tuple[str, ...]) -> None:
    for name in names:
        assert all(word in questions.caution_of(name) for word in HAZARDS[names]), name
    assert questions.caution_of("energy_by_week") == questions.caution_of("SELECT 1") == ""


def test_every_question_asked_has_its_answer() -> None:
    named = [name for names in ASKED.values() for name in names]
    assert set(named) <= set(SAVED)
    assert len([k for k in ASKED if k.split(" ")[0].isdigit()]) == 25
    assert len(named) == len(set(named))


@pytest.mark.parametrize("name", SAVED)
def test_a_question_is_one_short_explained_statement(name: str) -> None:
    question = SAVED[name]
    assert question.question.endswith("?"), question.question
    assert len(question.explains) > 20
    assert len(body(name)) <= LONGER.get(name, MOST_LINES)
    assert "".join(body(name)).replace("; ", "").count(";") == 1  # a semicolon within a sentence has a blank behind it
    used = {p.name for p in question.parameters if f"${p.name}" in "\n".join(body(name))}
    assert used == {p.name for p in question.parameters}
    assert all(len(p.meaning) > 5 for p in question.parameters)


@pytest.mark.parametrize("name", SAVED)
def test_a_question_runs_with_its_defaults_on_an_empty_file(empty: Path, name: str) -> None:
    found = sandbox.run(empty, SAVED[name].sql, SAVED[name].bind({}))
    assert found.height == 0
    assert len(found.columns) >= 3
    assert len(set(found.columns)) == len(found.columns)


@pytest.mark.parametrize("name", SAVED)
def test_an_answer_is_written_in_every_format(empty: Path, tmp_path: Path, name: str) -> None:
    found = sandbox.run(empty, SAVED[name].sql, SAVED[name].bind({}))
    for as_text in (render.as_table, render.as_csv, render.as_json):
        assert as_text(found)
    render.to_file(found, "parquet", tmp_path / "answer.parquet")
    filled = pl.DataFrame({n: pl.Series([_any(kind)], dtype=kind) for n, kind in found.schema.items()})
    head, row = csv.reader(io.StringIO(render.as_csv(filled)))
    assert len(row) == len(head) == len(found.columns)
    if any(kind.is_numeric() for kind in filled.dtypes):
        render.to_file(filled, "svg", tmp_path / "answer.svg")


def _any(kind: pl.DataType) -> object:
    """A value of the type: a moment, a text, else one."""
    if isinstance(kind, pl.Datetime):
        return datetime(2026, 3, 1, 7, 30, tzinfo=UTC if kind.time_zone else None)
    return date(2026, 3, 1) if kind == pl.Date else "x" if kind == pl.String else True if kind == pl.Boolean else 1


def test_units_stand_in_the_names_of_number_columns(empty: Path) -> None:
    """A column of doubles says its unit, or is a share, a count, a ratio or an uncertainty beside a named number."""
    ends = (
        "_t", "_kg", "_kg_t", "_m3", "_m3_h", "_h", "_min", "_pct", "_kpa", "_psi", "_ft", "_gpm", "_kwh", "_kwh_t", "_per_t", "_per_dry_ton", "_tons",
        "_share", "minutes", "precision", "r_squared", "active_fraction", "value", "_u", "_u_random", "_u_systematic", "_abs", "k_kpa_per_m3_h_squared",
        "_lb_neat", "_mg_l", "_lag_s", "_pct_of_displaced", "_index", "_p25", "_p75", "_se", "_ratio", "_closure", "_score", "_part", "completeness",
        "coverage", "validity", "timeliness", "_raw", "difference", "_95",  # the last three are in the unit column beside them
    )  # fmt: skip
    wrong = []
    for name, question in SAVED.items():
        found = sandbox.run(empty, question.sql, question.bind({}))
        wrong += [f"{name}.{c}" for c, kind in found.schema.items() if kind.is_float() and not c.endswith(ends)]
    assert wrong == []


def test_parameters_are_typed_and_named() -> None:
    question = SAVED["dose_by_day"]
    assert question.bind({"since": "2026-02-01"}) == {"plant": None, "since": date(2026, 2, 1)}
    with pytest.raises(UsageError, match="is not a date"):
        question.bind({"since": "yesterday"})
    with pytest.raises(UsageError, match="has no parameter day"):
        question.bind({"day": "2026-02-01"})
    with pytest.raises(UsageError, match="is not a number"):
        SAVED["dose_at_assumed_ts"].bind({"ts": "two"})


def test_a_parameter_is_a_value_and_never_sql(empty: Path) -> None:
    question = SAVED["dose_by_day"]
    found = sandbox.run(empty, question.sql, question.bind({"plant": "x' OR 1=1; DROP TABLE kpi_day --"}))
    assert found.height == 0


def test_header_lines_are_the_only_comments_and_parse() -> None:
    for path in resources.sql_files("questions"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.startswith("--"):
                assert line.startswith(("-- question: ", "-- explains: ", "-- caution: ", "-- param ")), f"{path.name}: {line}"
        declared = path.read_text(encoding="utf-8").count("-- param ")
        assert declared == len(questions.parse(path).parameters), path.name
