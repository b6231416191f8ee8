"""The aggregates, and with them the kernel of the minute grid, against the published example tables of OPC UA Part 13.

Source: `opcua_aggregates.json` beside this file: example data of OPC 10000-13 Annex A (Historian1 to 4) and a fifth
series, in machine-readable form from OPCFoundation/UA-.NETStandard-Samples, Workshop/HistoricalAccess/Tester/TestData.xml,
commit b5ba1ecc (OPC Foundation MIT License 1.00). Values there are rounded to 4 decimals; status words are compared
without their information bits. Every row of the aggregates that this project computes is reproduced; the other tables of the file are
named in LEFT_OUT with the reason.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines.align.segments import averaged, stretches
from tests.published.aggregates import AGGREGATES, aggregate

PUBLISHED = json.loads((Path(__file__).parent / "opcua_aggregates.json").read_text(encoding="utf-8"))
CODES = {"Good": 0, "Uncertain": 1, "Bad": 2}
TABLES = [table for table in PUBLISHED["processed"] if table["aggregate"] in AGGREGATES]
WRONG = "the tables of that file are known to be wrong"
NOT_MADE = "an aggregate the minutes do not use"
LEFT_OUT = {
    "StandardDeviationPopulation": WRONG, "StandardDeviationSample": WRONG, "VariancePopulation": WRONG, "VarianceSample": WRONG,
    "AnnotationCount": "exports carry no annotations", "NumberOfTransitions": "starts are counted on minutes, over operating days",
    "WorstQuality": NOT_MADE, "WorstQuality2": NOT_MADE, "Average": "an unweighted mean; minutes are time-weighted",
    "MinimumActualTime": NOT_MADE, "MaximumActualTime": NOT_MADE, "Minimum2": NOT_MADE, "Maximum2": NOT_MADE, "Range2": NOT_MADE,
    "MinimumActualTime2": NOT_MADE, "MaximumActualTime2": NOT_MADE, "StartBound": NOT_MADE, "EndBound": NOT_MADE, "DeltaBounds": NOT_MADE,
}  # fmt: skip
END_S = 100.0  # the examples ask for 0 to 100 s
ROUNDING = 0.5e-4 * (1 + 1e-9)


def series(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times [us], values (nan without), qualities of a raw series; states are 0 and 1."""
    rows = PUBLISHED["raw"][name]
    times = np.array([round(r["t"] * 1e6) for r in rows], dtype=np.int64)
    values = np.array([np.nan if r["value"] is None else float(r["value"]) for r in rows])
    return times, values, np.array([CODES[r["quality"]] for r in rows], dtype=np.uint8)


def computed(table: dict[str, Any]) -> list[tuple[float | None, str]]:
    return aggregate(
        *series(table["series"]),
        0,
        round(END_S * 1e6),
        round(table["interval_s"] * 1e6),
        table["aggregate"],
        stepped=table["stepped"],
        treat_uncertain_as_bad=table["treat_uncertain_as_bad"],
        percent_good=table["percent_good"],
        percent_bad=table["percent_bad"],
        use_sloped_extrapolation=table["use_sloped_extrapolation"],
    )


@pytest.mark.parametrize("table", TABLES, ids=lambda t: f"{t['series']}-{t['aggregate']}")
def test_published_table(table: dict[str, Any]) -> None:
    found = computed(table)
    assert len(found) == len(table["expected"])
    wrong = []
    for (value, status), row in zip(found, table["expected"], strict=True):
        same = (value is None) == (row["value"] is None) and (value is None or abs(value - row["value"]) <= ROUNDING)
        if not (same and status == row["status"]):
            wrong.append((row, value, status))
    assert wrong == []


def test_every_usable_table_is_compared() -> None:
    assert {t["aggregate"] for t in TABLES} == set(AGGREGATES)
    assert not set(AGGREGATES) & set(PUBLISHED["independent_check"]["unusable"])
    assert (len(TABLES), sum(len(t["expected"]) for t in TABLES)) == (79, 813)


def test_every_table_is_compared_or_left_out_with_a_reason() -> None:
    left = [t["aggregate"] for t in PUBLISHED["processed"] if t["aggregate"] not in AGGREGATES]
    assert set(left) == set(LEFT_OUT)
    assert {name for name, why in LEFT_OUT.items() if why == WRONG} == set(PUBLISHED["independent_check"]["unusable"])
    assert (len(left), len(TABLES) + len(left)) == (80, len(PUBLISHED["processed"]))


@pytest.mark.parametrize("table", [t for t in TABLES if t["aggregate"] == "TimeAverage2"], ids=lambda t: t["series"])
def test_the_call_the_minute_grid_makes_gives_the_published_averages(table: dict[str, Any]) -> None:
    """`stretches` and `averaged` as `grid` calls them (with its hold limit), on the published intervals."""
    times, values, quality = series(table["series"])
    if table["treat_uncertain_as_bad"]:
        quality = np.where(quality == 1, 2, quality).astype(np.uint8)
    edges = np.arange(0, 101, 5, dtype=np.int64) * 1_000_000
    known = stretches(times, values, quality, stepped=table["stepped"], hold_us=30 * 60_000_000)
    mean = averaged(known, edges).mean
    for index, row in enumerate(table["expected"]):
        if row["value"] is not None and row["t"] < times[-1] / 1e6:  # after the last reading the grid has its own rules
            assert mean[index] == pytest.approx(row["value"], abs=ROUNDING), row
