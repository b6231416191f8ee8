"""Lab results do not depend on the order in which sheets come, wherever the lab says when it reported.

Sheets of random rows: samples of moments, shifts and windows, non-detects, two methods, tickets, revisions, sets that
contradict themselves. What stands after any order of receipt is the same, and what a load changes is marked to be computed.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines import check, receive
from pipelines.ask import questions
from pipelines.store import Store
from pipelines.store.sql_files import create_macros_and_views
from tests.plants import DAY_AND_NIGHT, plant_file

HEAD = "Day,No,Where,What,Result,Unit,Method,Crew,From,To,Reported"
SHEET: dict[str, Any] = {
    "id": "lab", "kind": "lab long", "files": "*", "time_column": "Day", "time_format": "%Y-%m-%d", "point_column": "Where",
    "analyte_column": "What", "result_column": "Result", "unit_column": "Unit", "sample_column": "No", "method_column": "Method",
    "shift_column": "Crew", "from_column": "From", "to_column": "To", "reported_column": "Reported",
}  # fmt: skip
LAB: dict[str, Any] = {
    "methods": ["oven", "balance"],
    "sample_points": [{"names": [p], "line": "line-1", "point": p} for p in ("feed", "cake", "filtrate", "cake haul")],
    "analytes": [{"names": [a], "analyte": a} for a in ("ts", "tss", "wet_mass")],
}
PLANT = plant_file(
    layouts=(SHEET,), blocks={"lab": LAB}, time_zone="Europe/Copenhagen", operating_day_start="06:00:00", shifts=DAY_AND_NIGHT
)
STANDS = "SELECT * EXCLUDE (load_id, line_no) FROM lab_results ORDER BY sample_id, analyte"
HISTORY = "SELECT * EXCLUDE (load_id, line_no) FROM lab_results_history ORDER BY sample_id, analyte, revision"


def sheet(rng: np.random.Generator, number: int) -> str:
    """One sheet of a dozen rows over five days; every sheet is reported at a time of its own, so that no two tie."""
    rows = [HEAD]
    kinds = [("feed", "ts", "2.4", "%"), ("feed", "ts", "0.05", "%"), ("cake", "ts", "22", "%"), ("filtrate", "tss", "800", "mg/L"),
             ("filtrate", "tss", "<50", "mg/L"), ("cake haul", "wet_mass", "18", "t")]  # fmt: skip
    for _ in range(12):
        point, analyte, text, unit = kinds[int(rng.integers(len(kinds)))]
        day = date(2026, 1, 5) + timedelta(days=int(rng.integers(5)))
        sample = f"{point[:2]}{point[-1]}{int(rng.integers(6))}"
        crew, start, stop = [("", "", ""), ("night", "", ""), ("day", "", ""), ("", "02:00", "10:00"), ("", "20:00", "19:00")][
            int(rng.integers(5))
        ]
        method = str(rng.choice(["oven", "balance", ""])) if analyte == "ts" else ""
        rows.append(f"{day},{sample},{point},{analyte},{text},{unit},{method},{crew},{start},{stop},2026-01-{12 + number} 10:00")
    return "\n".join(rows) + "\n"


@pytest.fixture
def store() -> Iterator[Store]:
    with Store(Path(":memory:"), "p") as opened:
        yield opened


def take(store: Store, path: Path) -> None:
    opened = receive.open_file(path, path.name, PLANT)
    receipt = check.run(
        store, PLANT, receive.fingerprint(path), path.name, opened, lambda n: receive.raw_lines(path, opened.layout, n), seq=check.next_seq(store),
        received_utc=datetime(2026, 2, 1, tzinfo=UTC),
    )  # fmt: skip
    assert receipt.balances


def stands(sheets: list[Path]) -> tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]:
    with Store(Path(":memory:"), "p") as store:
        for path in sheets:
            take(store, path)
        return store.rows(STANDS), store.rows(HISTORY)


@pytest.mark.parametrize("seed", range(6))
def test_sheets_in_any_order_leave_the_same_results(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    sheets = [tmp_path / f"{n}.csv" for n in range(4)]
    for n, path in enumerate(sheets):
        path.write_text(sheet(rng, n), encoding="utf-8")
    first = stands(sheets)
    assert len(first[1]) > len(first[0]) > 8  # revisions there are
    for _ in range(2):
        assert stands([sheets[i] for i in rng.permutation(4)]) == first


def test_all_days_whose_results_a_sheet_puts_out_of_use_are_computed_again(store: Store, tmp_path: Path) -> None:
    """A filtrate as thick as the feed puts out of use a composite whose window began the day before: that day is marked too."""
    begun = tmp_path / "a.csv"
    begun.write_text(f"{HEAD}\n2026-01-06,F,feed,ts,2.4,%,,,2026-01-05 22:00,2026-01-06 16:00,\n", encoding="utf-8")
    take(store, begun)
    store.clear_days("compute")
    after = tmp_path / "b.csv"
    after.write_text(f"{HEAD}\n2026-01-06,X,filtrate,tss,30000,mg/L,,,,,\n", encoding="utf-8")
    take(store, after)
    assert store.rows("SELECT count(*) FROM lab_results WHERE is_used") == [(0,)]
    assert min(store.pending_days("compute")) == date(2026, 1, 5)


def test_a_ticket_number_met_on_two_days_is_shown_among_the_odd_samples(store: Store, tmp_path: Path) -> None:
    for n, day in enumerate(("2026-01-05", "2026-01-09")):
        path = tmp_path / f"{n}.csv"
        path.write_text(f"{HEAD}\n{day},1001,cake haul,wet_mass,{18 + n},t,,,,,\n", encoding="utf-8")
        take(store, path)
    create_macros_and_views(store.con)
    odd = questions.saved()["odd_samples"]
    rows = store.rows(odd.sql, odd.bind({}))
    assert rows == [
        ("p", "2026-01-05", "1001", "cake haul wet_mass", "18.0, 19.0", "one number on several days, the last counts: two tickets?")
    ]


@pytest.mark.parametrize(("years", "odd_days"), [((2025, 2026, 2026, 2026), ["2025-01-05"]), ((2026,) * 4, []), ((2025, 2026), [])])
def test_a_sample_far_from_all_others_of_its_sheet_is_odd(
    store: Store, tmp_path: Path, years: tuple[int, ...], odd_days: list[str]
) -> None:
    path = tmp_path / "sheet.csv"
    rows = [f"{year}-01-{5 + k:02d},S{k},feed,ts,2.4,%,,,,," for k, year in enumerate(years)]
    path.write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    take(store, path)
    create_macros_and_views(store.con)
    far = questions.saved()["sample_dates_far_apart"]
    assert [str(r[1]) for r in store.rows(far.sql, far.bind({}))] == odd_days
