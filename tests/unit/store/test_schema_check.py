"""The quick checks of frames say what the pandera schemas of the same columns say, rule by rule, for every table."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pandera.errors
import polars as pl
import pytest

from pipelines.base.errors import InternalError
from pipelines.store import schema_check
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


def broken(table: Table) -> list[tuple[str, pl.DataFrame]]:
    """One frame for each rule of each column, broken in the second row alone."""
    frame, out = good(table), []

    def put(column: Column, value: Any, rule: str) -> None:
        kind = table.polars_schema()[column.name]
        out.append((f"{column.name} {rule}", frame.with_columns(pl.Series(column.name, [plain(column), value], dtype=kind))))

    for c in table.columns:
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


def test_numbers_must_be_finite_which_pandera_does_not_ask() -> None:
    frame = good(TABLES["readings"])
    for wild in (float("nan"), float("inf"), float("-inf")):
        assert schema_check.misfits("readings", frame.with_columns(value=pl.Series([1.0, wild]))) == ["value is not finite"]


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
    with pytest.raises(InternalError, match=r"p: rows made for readings do not fit its schema: quality is above 2.*'failure_case'"):
        schema_check.require_schema("p", "readings", frame.with_columns(quality=pl.Series([0, 7], dtype=pl.UInt8)))
