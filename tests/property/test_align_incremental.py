"""Loads in any order and any pieces give the bits of one run over everything; so does any cut of the time axis.

Hours are marked as `check` marks them. Series are dense and sparse, with bad and uncertain readings, long gaps, lines,
a register, a tag replaced by another, and states held for hours.
"""

from __future__ import annotations

import random
import tempfile
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines import align
from pipelines.check import touched
from pipelines.store import Store
from pipelines.store.plant_store import content_hash
from schemas import TABLES
from tests import plants

T0 = datetime(2026, 3, 7, 3, 17, 12, tzinfo=UTC)  # the clock leaps on the 8th
SPAN_S = 60 * 3600
CHANGE = T0 + timedelta(hours=20, seconds=31)
LINE = {"feed_cutoff": "30 m3/h", "startup": "95 min", "polymer_cutoff": "300 L/h"}
SLOPED = {"interpolation": "sloped"}
LINES = [plants.LINE | LINE, plants.LINE | LINE | {"id": "line-2", "startup": "0 min"}]
SIGNALS: tuple[dict[str, Any], ...] = (
    plants.FLOW | {"until": CHANGE},
    plants.FLOW | SLOPED | {"tag": "FT2", "range": [0, 80], "since": CHANGE},
    {"role": "polymer_neat_flow", "tag": "FP", "unit": "m3/h", "range": [0, 1], "hold_limit": "5 h"},
    plants.RUN,
    {"role": "device_run", "tag": "YD", "unit": "state", "hold_limit": "90 min"},
    {"role": "sludge_total", "tag": "FQ", "unit": "m3", "rollover": 1000.0, "maximum_rate": "600 m3/h"},
    plants.SPEED | SLOPED | {"line": "line-2", "range": [0, 300]},
    plants.FLOW | {"line": "line-2", "hold_limit": "100 h"},
)
PLANT = plants.plant_file(*SIGNALS, blocks={"lines": LINES}, operating_day_start=time(6))
TAGS = ("FT", "FT2", "FP", "YI", "YD", "FQ", "ST")
FEW = settings(max_examples=7)


def series(rng: random.Random) -> pl.DataFrame:
    """Readings of every tag, at irregular times, some bad, some uncertain."""
    rows = []
    for tag in TAGS:
        at, total = rng.randint(0, 3600), rng.random() * 900
        gap = rng.choice([200, 900, 3000])
        while at < SPAN_S:
            quality = rng.choices([0, 1, 2], [12, 1, 1])[0]
            total = (total + rng.random() * 20) % 1000
            value = {"YI": float(rng.random() < 0.8), "YD": float(rng.random() < 0.9), "FQ": total, "FP": rng.random()}.get(
                tag, rng.random() * 100
            )
            rows.append((tag, T0 + timedelta(seconds=at, microseconds=rng.randint(0, 999_999)), None if quality == 2 else value, quality))
            at += 1 + int(rng.expovariate(1 / gap)) + (40_000 if rng.random() < 0.01 else 0)
    schema = {"tag": pl.String, "time_utc": pl.Datetime("us", "UTC"), "value": pl.Float64, "quality": pl.UInt8}
    return pl.DataFrame(rows, schema=schema, orient="row").with_columns(plant=pl.lit("p"), load_id=pl.lit("l"))


def load(store: Store, frame: pl.DataFrame, number: int) -> None:
    """Put readings into the store as a load, its hours marked by `check`."""
    times = frame["time_utc"].sort()
    first, last = times[0], times[-1]
    touched.mark_hours(store, PLANT, first, last)
    store.append("readings", frame.sort("tag", "time_utc"))
    counts = dict.fromkeys((c for c in TABLES["loads"].column_names if c.startswith(("rows_", "values_"))), 0)
    row = {
        "plant": "p", "load_id": str(number), "sha256": "-", "file_name": "-", "archived_as": "-", "file_bytes": 1, "received_utc": last,
        "received_seq": number + 1, "version": 1, "status": "taken", "first_utc": first, "last_utc": last,
    }  # fmt: skip
    store.append("loads", pl.DataFrame([row | counts], schema=TABLES["loads"].polars_schema()))


@FEW
@given(st.integers(0, 2**32), st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1), st.booleans()), min_size=1, max_size=4))
def test_loads_in_any_order_give_the_bits_of_one_run(seed: int, cuts: list[tuple[float, float, bool]]) -> None:
    """Each cut takes a stretch of time (of all tags, or of every second reading) as a load of its own; the rest comes last."""
    rest, parts = series(random.Random(seed)), []
    whole = rest
    for low, share, every in cuts:
        a, b = T0 + timedelta(seconds=low * SPAN_S), T0 + timedelta(seconds=(low + share * (1 - low)) * SPAN_S)
        taken = pl.col("time_utc").is_between(a, b) & (pl.lit(every) | (pl.int_range(pl.len()) % 2 == 0))
        flagged = rest.with_columns(taken=taken)
        parts.append(flagged.filter("taken").drop("taken"))
        rest = flagged.filter(~pl.col("taken")).drop("taken")
    with tempfile.TemporaryDirectory() as folder:
        with Store(Path(folder) / "whole.duckdb", "p") as store:
            load(store, whole, 0)
            align.run(store, PLANT)
            expected = content_hash(store.con, "minutes")
        with Store(Path(folder) / "parts.duckdb", "p") as store:
            for number, part in enumerate(p for p in [*parts, rest] if p.height):
                load(store, part, number)
                align.run(store, PLANT)
            assert content_hash(store.con, "minutes") == expected


def bits(frame: pl.DataFrame) -> list[bytes | list[object]]:
    return [
        np.ascontiguousarray(c.fill_null(float("nan")).to_numpy()).tobytes() if c.dtype == pl.Float64 else c.to_list()
        for c in frame.iter_columns()
    ]


@FEW
@given(st.integers(0, 2**32), st.integers(-600, 3600), st.integers(1, 1500))
def test_a_cut_of_the_time_axis_changes_no_bit_and_no_state(seed: int, start_min: int, length_min: int) -> None:
    begin = T0.replace(minute=0, second=0) - timedelta(hours=12)
    end = begin + timedelta(hours=100)
    first = begin + timedelta(hours=12, minutes=start_min)
    last = min(first + timedelta(minutes=length_min), end)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "p.duckdb", "p") as store:
        store.append("readings", series(random.Random(seed)))
        whole = align.aligned(store, PLANT, begin, end)
        part = align.aligned(store, PLANT, first, last)
    assert whole["state"].n_unique() >= 4  # the series are no trivial ones
    assert bits(part) == bits(whole.filter(pl.col("minute_utc").is_between(first, last, closed="left")))
