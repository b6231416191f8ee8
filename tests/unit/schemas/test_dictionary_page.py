"""The data dictionary page is that of the schemas, complete, and says what the published file says."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipelines.publish import describe
from pipelines.store import connect
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES, page
from schemas.model import Table
from schemas.views.registry import VIEWS


def test_the_page_is_up_to_date() -> None:
    assert page.PATH.read_text(encoding="utf-8") == page.page(), "run `python -m schemas`"


@pytest.mark.parametrize("lacking", ["unit", "description"])
def test_a_column_that_says_nothing_stops_the_page(lacking: str, monkeypatch: pytest.MonkeyPatch) -> None:
    table: Table = TABLES["kpi_day"]
    first, *rest = table.columns
    poor = replace(table, columns=(replace(first, **{lacking: " "}), *rest))
    monkeypatch.setitem(TABLES, "kpi_day", poor)
    with pytest.raises(ValueError, match=rf"kpi_day\.plant has no {lacking}"):
        page.page()


def test_every_published_table_and_view_has_its_section_and_all_columns() -> None:
    text = page.page()
    sections = {block.split("\n", 1)[0]: block for block in text.split("\n## ")[1:]}
    shown = {t.name: t for t in [*TABLES.values(), *VIEWS.values()] if t.published}
    assert sections.keys() == shown.keys()
    for name, table in shown.items():
        found = [line.split(" | ")[0].removeprefix("| ") for line in sections[name].splitlines() if line.startswith("| ")][1:]
        assert found == list(table.column_names), name


def test_the_published_dictionary_says_the_same() -> None:
    con = connect()
    for table in TABLES.values():
        if table.published and table.view is None:
            con.execute(table.ddl())
    create_macros_and_views(con)
    describe._dictionary(con)
    rows = con.execute("SELECT table_name, column_name, unit, description FROM dictionary").fetchall()
    in_parquet_only = [t for t in TABLES.values() if t.published and t.view is not None]
    shown = len(rows) + sum(len(t.columns) for t in in_parquet_only)
    assert shown == page.page().count("\n| ") - len({r[0] for r in rows}) - len(in_parquet_only)  # less the header row of each section
    assert all(unit.strip() and words.strip() for _, _, unit, words in rows)
    con.close()
