"""Texts of an export through `typed`: what a value, or each row of a few, becomes in a small US plant."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.check.readings.signals import Signals
from pipelines.check.readings.values import Typed, typed
from pipelines.plant.model import Layout, PlantFile
from tests import plants

NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
RECEIVED = datetime(2026, 1, 6, 4, tzinfo=UTC)
FLOW = plants.GPM
GPM = 0.22712470704  # m3/h: 231 in3 x 60 = 0.003785411784 m3 x 60, exact


def plant(*signals: dict[str, Any], start: str = "06:00:00") -> PlantFile:
    return plants.plant_file(*signals, line=plants.US, units="US", operating_day_start=start)


def layout(**more: Any) -> Layout:
    return Layout.model_validate(plants.LONG | more)


def rows(*values: tuple[Any, ...]) -> pl.DataFrame:
    """Rows of (tag, text[, quality[, time[, time_reason]]]), one line each, ten seconds apart."""
    filled = [(*v, *(None, NOON + timedelta(seconds=10 * i), None)[len(v) - 2 :]) for i, v in enumerate(values)]
    schema = {
        "tag": pl.String,
        "text": pl.String,
        "quality_text": pl.String,
        "time_utc": pl.Datetime("us", "UTC"),
        "time_reason": pl.String,
    }
    frame = pl.DataFrame(filled, schema=schema, orient="row").with_row_index("line_no", offset=2)
    return frame.select("line_no", "time_utc", "time_reason", "tag", "text", "quality_text")


def check(frame: pl.DataFrame, *signals: dict[str, Any], **layout_keys: Any) -> Typed:
    return typed(frame, Signals.of(plant(*signals)), layout(**layout_keys), RECEIVED)


def value(text: str, signal: dict[str, Any] = FLOW, **layout_keys: Any) -> float | str | None:
    """The SI value of one text, or the reason it was set aside for."""
    done = check(rows((signal["tag"], text)), signal, **layout_keys)
    if done.failed.height:
        assert done.readings["quality"].to_list() == [2]  # it leaves a bad reading without value behind
        assert done.readings["value"].to_list() == [None]
        assert done.readings["is_mark"].to_list() == [True]
        return str(done.failed["reason"][0])
    return done.readings["value"][0]
