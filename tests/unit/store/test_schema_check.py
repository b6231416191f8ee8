"""The quick checks of frames say what the pandera schemas of the same columns say, rule by rule, for every table."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pandera.errors
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.base.errors import InternalError, PlantFileError
from pipelines.store import schema_check
from pipelines.store.schema_check import Failure
from schemas import TABLES, Column, Table

PLAIN: dict[str, Any] = {
    "text": "word", "double": 1.0, "bigint": 1, "int": 1, "code": 1, "bool": True, "date": date(2026, 1, 1), "instant": datetime(2026, 1, 1, tzinfo=UTC),
}  # fmt: skip


def plain(column: Column) -> Any:
    """A value that keeps every rule of the column."""
    if column.isin is not None:
        return column.isin[0]
    bound = column.ge if column.ge is not None else column.le
    return PLAIN[column.type] if bound is None else type(PLAIN[column.type])(bound)


def good(table: Table) -> pl.DataFrame:
    return pl.DataFrame([{c.name: plain(c) for c in table.columns}] * 2, schema=table.polars_schema())


def first_met() -> dict[str, list[Column]]:
    """Columns by table, each declaration once: the tables of KPIs share most of theirs."""
    seen, out = set[Column](), {}
    for table in TABLES.values():
        out[table.name] = [c for c in table.columns if c not in seen]
        seen.update(table.columns)
    return out


FIRST_MET = first_met()


def broken(table: Table) -> list[tuple[str, pl.DataFrame]]:
    """One frame for each rule of each column that no table before has, broken in the second row alone."""
    frame, out = good(table), []

    def put(column: Column, value: Any, rule: str) -> None:
        kind = table.polars_schema()[column.name]
        out.append((f"{column.name} {rule}", frame.with_columns(pl.Series(column.name, [plain(column), value], dtype=kind))))

    for c in FIRST_MET[table.name]:
        if not c.nullable:
            put(c, None, "is null")
        if c.isin is not None:
            put(c, "no such word", "is not in its list")
        if c.ge is not None and not (c.type == "code" and c.ge == 0):
            put(c, type(PLAIN[c.type])(c.ge) - 1, "is below")
        if c.le is not None:
            put(c, type(PLAIN[c.type])(c.le) + 1, "is above")
        kind = pl.Int64 if c.type != "bigint" else pl.Float64
        out.append((f"{c.name} is ", frame.with_columns(pl.Series(c.name, [1, 1], dtype=kind))))
    out += [("columns", frame.drop(frame.columns[-1])), ("columns", frame.with_columns(extra=pl.lit(1)))]
    if frame.width > 1:
        out.append(("columns", frame[frame.columns[::-1]]))
    return out


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda t: t.name)
def test_both_take_and_refuse_the_same_frames(table: Table) -> None:
    schema = table.pandera_schema()
    assert schema_check.misfits(table.name, good(table)) == []
    schema.validate(good(table))
    for phrase, frame in broken(table):
        found = schema_check.misfits(table.name, frame)
        assert len(found) == 1, (phrase, found)
        assert phrase in found[0]
        name = phrase.split()[0]
        part = (schema, frame) if name == "columns" else (schema.select_columns([name]), frame.select(name))  # one column: quicker
        with pytest.raises((pandera.errors.SchemaError, pandera.errors.SchemaErrors)):
            part[0].validate(part[1])


def test_numbers_must_be_finite_to_both() -> None:
    frame = good(TABLES["readings"])
    for wild, word in ((float("nan"), "NaN"), (float("inf"), "inf"), (float("-inf"), "-inf")):
        wrong = frame.with_columns(value=pl.Series([1.0, wild]))
        assert schema_check.misfits("readings", wrong) == ["value is not finite"]
        assert schema_check.failures("readings", wrong) == [Failure("value", 1, word, "must be a finite number")]


def test_text_may_come_as_a_dictionary_and_is_held_to_its_list() -> None:
    frame = good(TABLES["flags"])
    words = pl.Enum(["note", "sometimes"])
    assert schema_check.misfits("flags", frame.with_columns(severity=pl.Series(["note", "note"], dtype=words))) == []
    assert schema_check.misfits("flags", frame.with_columns(severity=pl.Series(["note", "sometimes"], dtype=words))) == [
        "severity is not in its list"
    ]


def test_an_empty_frame_fits_and_a_misfit_names_its_rows() -> None:
    frame = good(TABLES["readings"])
    schema_check.require_schema("p", "readings", frame.head(0))
    with pytest.raises(
        InternalError,
        match=r"p: rows made for readings do not fit its schema: quality is above 2 \(row 1: quality = 7: must be at most 2\)",
    ):
        schema_check.require_schema("p", "readings", frame.with_columns(quality=pl.Series([0, 7], dtype=pl.UInt8)))


BORDERS = ("readings", "lab_results", "polymers", "prices", "planned_times", "line_settings", "service_log", "uncertainty_inputs")


def cells(column: Column) -> st.SearchStrategy[Any]:
    """Values at, beside and beyond the bounds of a column, wild numbers and nothing."""
    edges = [float(b) for b in (column.ge, column.le) if b is not None]
    near = [e + d for e in edges or [0.0] for d in (-1.0, 0.0, 1.0)]
    if column.type == "text":
        return st.sampled_from([*(column.isin or ()), "no such word", "", None])
    if column.type == "double":
        return st.sampled_from([*near, *(e + 1e-9 for e in edges), float("nan"), float("inf"), float("-inf"), -0.0, None])
    if column.type in ("bigint", "int", "code"):
        low = 0 if column.type == "code" else -(2**31)
        return st.sampled_from([*(max(low, int(n)) for n in near), None])
    return st.sampled_from([PLAIN[column.type], None])


@st.composite
def frames(draw: st.DrawFn) -> tuple[str, pl.DataFrame]:
    """A table and a frame for it of up to five rows, fit for most columns and drawn wild in up to three of them; now and then of a wrong shape."""
    table = TABLES[draw(st.sampled_from(BORDERS))]
    types, height = table.polars_schema(), draw(st.integers(0, 5))
    wild = draw(st.sets(st.sampled_from(table.column_names), max_size=3))
    data = {
        c.name: pl.Series(
            c.name, [draw(cells(c)) if c.name in wild else plain(c) for _ in range(height)], dtype=types[c.name]
        )
        for c in table.columns
    }  # fmt: skip
    frame = pl.DataFrame(data)
    shape = draw(st.sampled_from(["as it is"] * 9 + ["lacks one", "has one more", "turned", "other type"]))
    name = draw(st.sampled_from(table.column_names))
    changed = {
        "lacks one": lambda: frame.drop(name), "has one more": lambda: frame.with_columns(extra=1), "turned": lambda: frame[frame.columns[::-1]],
        "other type": lambda: frame.with_columns(pl.lit(None, dtype=pl.Duration).alias(name)),
    }  # fmt: skip
    return table.name, changed[shape]() if shape in changed else frame


@given(frames())
def test_the_fast_pass_and_pandera_reach_one_verdict_on_any_frame(drawn: tuple[str, pl.DataFrame]) -> None:
    table, frame = drawn
    quick, thorough = schema_check.misfits(table, frame), schema_check.failures(table, frame)
    assert bool(quick) == bool(thorough), (quick, thorough)
    if quick and all(f.row is not None for f in thorough):  # and on the columns at fault
        assert {q.split()[0] for q in quick} == {f.column for f in thorough}
    rows = {f.row for f in thorough if f.row is not None}
    if rows and all(f.row is not None for f in thorough):  # without the rows that pandera names, nothing is wrong
        rest = frame.filter(~pl.int_range(pl.len()).is_in(list(rows)))
        assert schema_check.misfits(table, rest) == []


def test_failing_rows_are_told_once_each_by_position() -> None:
    frame = pl.concat([good(TABLES["readings"])] * 2).with_columns(
        value=pl.Series([1.0, float("nan"), None, 4.0]), quality=pl.Series([0, 9, 2, 9], dtype=pl.UInt8)
    )
    assert [(f.row, f.column) for f in schema_check.failing_rows("p", "readings", frame)] == [(1, "value"), (3, "quality")]
    with pytest.raises(InternalError, match="rows made for readings do not fit its schema"):
        schema_check.failing_rows("p", "readings", frame.drop("value"))


def test_pandera_is_not_asked_where_the_fast_pass_finds_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schema_check, "failures", lambda *_: pytest.fail("asked"))
    assert schema_check.failing_rows("p", "readings", good(TABLES["readings"])) == []


def test_a_failing_row_of_a_plant_table_names_column_row_value_and_rule() -> None:
    frame = good(TABLES["polymers"])
    schema_check.require_plant_rows("p", "polymers", frame)
    wrong = frame.with_columns(line=pl.Series(["line-1", "line-2"]), active_fraction=pl.Series([0.4, 1.5]))
    with pytest.raises(PlantFileError) as error:
        schema_check.require_plant_rows("p", "polymers", wrong)
    text = str(error.value)
    assert text.startswith(
        "p.toml: table polymers, row 2 (line line-2, from_utc 2026-01-01 00:00:00+00:00): active_fraction = 1.5: must be at most 1"
    )
    assert "remedy: correct the plant-file entry that sets active_fraction" in text
