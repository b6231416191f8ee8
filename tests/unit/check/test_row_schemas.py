"""Frames out of their schema are found before they are written: every value, not types alone."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import polars as pl
import pytest

from pipelines.base.errors import InternalError
from pipelines.check import row_schemas

TAG = pl.Enum(["FT"])
FINE = pl.DataFrame(
    {
        "plant": ["p"] * 2,
        "tag": pl.Series(["FT", "FT"], dtype=TAG),
        "time_utc": pl.Series([datetime(2026, 1, 1, tzinfo=UTC)] * 2, dtype=pl.Datetime("us", "UTC")),
        "value": [1.0, None],
        "quality": pl.Series([0, 2], dtype=pl.UInt8),
        "load_id": ["a", "a"],
    }
)


def test_readings_that_fit_with_text_or_dictionary() -> None:
    row_schemas.require_schema("p", "readings", FINE)
    row_schemas.require_schema("p", "readings", FINE.with_columns(pl.col("tag").cast(pl.String)))


@pytest.mark.parametrize(
    "wrong",
    [
        {"value": pl.Series([1.0, float("nan")])},
        {"value": pl.Series([float("-inf"), 1.0])},
        {"value": pl.Series([1, 2])},
        {"quality": pl.Series([0, 3], dtype=pl.UInt8)},
        {"tag": pl.Series(["FT", None], dtype=TAG)},
        {"load_id": pl.Series(["a", None])},
        {"time_utc": pl.Series([datetime(2026, 1, 1)] * 2, dtype=pl.Datetime("us"))},  # noqa: DTZ001
        {"extra": pl.Series([1, 2])},
    ],
    ids=["nan", "infinite", "whole numbers", "quality 3", "no tag", "no load", "no zone", "another column"],
)
def test_readings_that_do_not(wrong: dict[str, Any]) -> None:
    with pytest.raises(InternalError, match="rows made for readings do not fit"):
        row_schemas.require_schema("p", "readings", FINE.with_columns(**wrong))


def test_a_word_outside_the_closed_vocabulary() -> None:
    with pytest.raises(InternalError, match="no such word"):
        row_schemas.require_schema(
            "p",
            "readings_history",
            FINE.with_columns(pl.col("tag").cast(pl.String), superseded_by=pl.lit("b"), superseded_reason=pl.lit("no such word")),
        )
