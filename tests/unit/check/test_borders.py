"""What no rule of reading foresaw is found by the schemas at the border: the row is set aside with words, its neighbours stay."""

from __future__ import annotations

from typing import Any

import polars as pl
import pytest

from pipelines import check
from pipelines.check import borders
from pipelines.check.lab import results as lab_rows
from pipelines.check.readings import ranges
from pipelines.check.readings.values import Typed
from pipelines.store import Store, schema_check
from tests.unit.check import test_lab_sheets as lab
from tests.unit.check import test_loads as loads
from tests.unit.check.test_lab_sheets import Take, take
from tests.unit.check.test_loads import chunk, counts

__all__ = ["take"]


def spoiling(**columns: pl.Expr) -> Any:
    """A `typed` whose readings of line 3 are spoilt."""
    plain = check.typed

    def spoilt(*args: Any, **kwargs: Any) -> Typed:
        said = plain(*args, **kwargs)
        at = pl.col("line_no") == 3
        changed = said.readings.with_columns(**{name: pl.when(at).then(new).otherwise(name) for name, new in columns.items()})
        return Typed(changed.cast({"quality": pl.UInt8}), said.has_repeats, said.failed, said.steps)

    return spoilt


@pytest.mark.parametrize(
    ("spoilt", "reason", "detail"),
    [
        ({"value": pl.lit(float("inf"))}, "value outside physical range", "value is inf, but must be a finite number"),
        ({"value": pl.lit(float("nan"))}, "value outside physical range", "value is NaN, but must be a finite number"),
        ({"quality": pl.lit(7)}, "unknown quality word", "quality is 7, but must be at most 2"),
        ({"quality": pl.lit(None)}, "unknown quality word", "quality is nothing, but must not be missing"),
    ],
)
def test_a_reading_that_fails_is_set_aside_and_leaves_a_bad_one(
    store: Store, monkeypatch: pytest.MonkeyPatch, spoilt: dict[str, pl.Expr], reason: str, detail: str
) -> None:
    monkeypatch.setattr(check, "typed", spoiling(**spoilt))
    receipt = loads.take(store, "a", chunk((2, 0, "FT", "50"), (3, 60, "FT", "51"), (4, 120, "FT", "52"), (5, 180, "FT", "word")))
    assert counts(receipt) == ((4, 2, 0, 0, 2), (4, 2, 0, 2))
    assert store.rows("SELECT line_no, reason, detail, value_count, tags, first_utc IS NOT NULL FROM set_aside ORDER BY ALL")[0] == (
        3, reason, detail, 1, "FT", True,
    )  # fmt: skip
    assert [(at, v is None, q) for _, at, v, q, _ in loads.readings(store)] == [
        (0.0, False, 0), (60.0, True, 2), (120.0, False, 0), (180.0, True, 2),
    ]  # fmt: skip


def test_a_reading_without_time_leaves_nothing_behind() -> None:
    rows = pl.DataFrame(
        {
            "line_no": pl.Series([2, 3], dtype=pl.UInt32), "tag": pl.Series(["FT", "FT"], dtype=pl.Enum(["FT"])),
            "time_utc": pl.Series([loads.T0, None], dtype=pl.Datetime("us", "UTC")), "value": [1.0, 2.0],
            "quality": pl.Series([0, 0], dtype=pl.UInt8), "is_mark": [False, False],
        }
    )  # fmt: skip
    fit = borders.fit_readings("p", Typed(rows, False, ranges.NOTHING_FAILED))
    assert fit.readings["line_no"].to_list() == [2]
    assert fit.failed.select("line_no", "name", "reason").rows() == [(3, "FT", "time stamp unreadable")]


def test_a_lab_result_that_fails_is_set_aside_and_the_others_stay(store: Store, take: Take, monkeypatch: pytest.MonkeyPatch) -> None:
    plain = lab_rows.to_stored

    def slipped(number: float, *args: Any, **kwargs: Any) -> tuple[str, float, str | None]:
        analyte, value, note = plain(number, *args, **kwargs)
        return analyte, float("inf") if value == 2.2 else value, note

    monkeypatch.setattr(lab_rows, "to_stored", slipped)
    receipt = take(lab.WIDE, "Date,TS\n1/5/2026,2.1\n1/6/2026,2.2\n1/7/2026,2.3\n")
    assert counts(receipt) == ((4, 2, 0, 1, 1), (3, 2, 0, 1))  # the header is dropped
    assert lab.aside(store) == [(3, "value outside physical range", "value is inf, but must be a finite number")]
    assert [v for (v,) in store.rows("SELECT value FROM lab_results ORDER BY 1")] == [2.1, 2.3]


def test_a_lab_sheet_that_fits_costs_no_pandera(take: Take, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schema_check, "failures", lambda *_: pytest.fail("pandera was asked"))
    take(lab.WIDE, "Date,TS\n1/5/2026,2.1\n")
