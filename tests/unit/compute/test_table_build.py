"""The SQL of the tables runs side by side, each file after those it reads from."""

from __future__ import annotations

import re
import threading
from pathlib import Path

import pytest

from pipelines import compute
from pipelines.base import resources
from pipelines.compute import table_build
from pipelines.store import Store
from schemas import TABLES


def text_of(name: str) -> str:
    return (resources.folder("sql") / "tables" / f"{name}.sql").read_text(encoding="utf-8")


def test_what_a_statement_reads_from_is_told_by_its_text() -> None:
    said = "-- as in work.old\nCREATE OR REPLACE TABLE work.new AS SELECT * FROM work.one JOIN main.two USING (k) WHERE k > (SELECT 1 FROM work.three)"
    assert table_build.reads_from(said) == {"new", "one", "three"}


def test_every_table_of_work_that_is_read_is_made_by_some_file_or_by_the_step() -> None:
    by_the_step = {
        "limits",
        "touched_days",
        "rolling_hour_days",
        "rolling_days",
        "long_spans",
        "needed_days",
        "touched_weeks",
        "plant_file",
        "register_days",
    }
    for name in table_build.TABLES:
        assert table_build.reads_from(text_of(name)) <= {*table_build.TABLES, *by_the_step}, name


def test_what_is_merged_comes_in_order_of_its_key() -> None:
    """`compute._merge` keeps the order in which a file puts its rows; all rows are of one plant."""
    for name in compute.MERGED:
        order = re.findall(r"ORDER BY ([^;)]+);", text_of(name))[-1]
        columns = [column.strip().split(".")[-1] for column in order.split(",")]
        key = [c for c in TABLES[name].key if c != "plant"]
        assert [c for c in columns if c != "plant"] == key, name


@pytest.fixture
def texts(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Give four files in the place of those of `sql/tables/`."""
    made = {
        "first": "CREATE OR REPLACE TABLE work.first AS SELECT 1 AS n",
        "last": "CREATE OR REPLACE TABLE work.last AS SELECT a.n + b.n AS n FROM work.left_one a, work.right_one b",
        "left_one": "CREATE OR REPLACE TABLE work.left_one AS SELECT n + 10 AS n FROM work.first",
        "right_one": "CREATE OR REPLACE TABLE work.right_one AS SELECT n + 100 AS n FROM work.first",
    }
    monkeypatch.setattr(table_build, "TABLES", tuple(made))
    monkeypatch.setattr(table_build, "_text", made.__getitem__)
    return made


def test_files_run_after_those_they_read_from_two_at_a_time(texts: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    events: list[str] = []
    both, run, text_to_name = threading.Barrier(2, timeout=10), table_build._run, {text: name for name, text in texts.items()}

    def seen(side: Store, text: str) -> object:
        name = text_to_name[text]
        events.append(f"begin {name}")
        if name in ("left_one", "right_one"):
            both.wait()  # both at once, or it breaks
        run(side, text)
        events.append(f"end {name}")
        return None

    monkeypatch.setattr(table_build, "_run", seen)
    with Store(tmp_path / "p.duckdb", "oak-run") as store:
        table_build.make_all(store)
        assert store.rows("SELECT n FROM work.last") == [(112,)]
    assert events[:2] == ["begin first", "end first"]
    assert events[-2:] == ["begin last", "end last"]


def test_an_error_in_a_file_is_raised_and_what_needs_it_is_not_run(texts: dict[str, str], tmp_path: Path) -> None:
    texts["right_one"] = "CREATE OR REPLACE TABLE work.right_one AS SELECT error('no such curve') AS n FROM work.first"
    with Store(tmp_path / "p.duckdb", "oak-run") as store:
        with pytest.raises(Exception, match="no such curve"):
            table_build.make_all(store)
        tables = {t for (t,) in store.rows("SELECT table_name FROM duckdb_tables() WHERE database_name = 'work'")}
    assert "first" in tables
    assert not tables & {"right_one", "last"}


def test_files_that_read_from_each_other_are_refused(texts: dict[str, str], tmp_path: Path) -> None:
    texts["first"] = "CREATE OR REPLACE TABLE work.first AS SELECT n FROM work.last"
    with Store(tmp_path / "p.duckdb", "oak-run") as store, pytest.raises(ValueError, match="cycle"):
        table_build.make_all(store)
