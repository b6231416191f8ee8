"""Keep the meaning of set-aside values beside their rows, so that a later decision or correction needs no file.

Only values whose place is known are kept: a reading with tag and time, a lab result with sample, point and analyte.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from pipelines.base import units
from pipelines.check import row_schemas
from pipelines.check.lab import qualifiers, result_units, results, sample_times
from pipelines.check.lab.qualifiers import RowError
from pipelines.check.lab.result_units import STORED_UNIT, VS_OF_WET
from pipelines.check.lab.sheet import Refused
from pipelines.check.readings import numbers
from pipelines.check.readings.signals import NO_SIGNAL, Signals
from pipelines.check.readings.values import LEAVES_A_MARK
from pipelines.files.pieces import Chunk
from pipelines.plant.corrections import measure_of_analyte
from pipelines.plant.model import Layout, PlantFile
from pipelines.store import Store
from schemas import TABLES

NO_MEASUREMENT = (
    "transmitter failure level",
    "unknown state word",
    "text in number",
    "unit implausible",
)  # the number, if any, is no value


def keep_values(store: Store, chunk: Chunk, failed: pl.DataFrame, signals: Signals, layout: Layout, load_id: str) -> None:
    """Keep the values of a chunk that were set aside at a tag and time that can be trusted."""
    marks = failed.filter(pl.col("reason").is_in(LEAVES_A_MARK)).select("line_no", "reason", "time_utc", tag="name")
    if marks.height == 0:
        return
    told = chunk.values if chunk.written is None else chunk.written.texts(marks["line_no"])
    texts = told.select("line_no", "tag", "text").join(marks.select("line_no", "tag"), on=["line_no", "tag"], how="semi")
    texts = texts.unique(["line_no", "tag"], keep="last", maintain_order=True).with_columns(
        number=numbers.as_written(layout).cast(pl.Float64, strict=False)
    )
    rows = marks.unique(["line_no", "tag"], keep="last", maintain_order=True).join(
        texts, on=["line_no", "tag"], how="left", maintain_order="left"
    )
    rows = rows.sort("tag", "line_no")
    kept = rows.select(
        pl.lit(store.plant).alias("plant"),
        pl.lit(load_id).alias("load_id"),
        pl.col("line_no").cast(pl.Int64),
        "tag",
        "time_utc",
        "text",
        _in_si(rows, signals),
        "reason",
    )
    row_schemas.append(store, "set_aside_values", kept)


def _in_si(rows: pl.DataFrame, signals: Signals) -> pl.Series:
    """Return the number of each row (sorted by tag) in the SI unit of its signal; null where it is no measurement."""
    out = np.full(rows.height, np.nan)
    times, number = rows["time_utc"].to_physical().to_numpy(), rows["number"].fill_null(float("nan")).to_numpy()
    factor, offset = signals.table["factor"].to_numpy(), signals.table["offset"].to_numpy()
    recoded = np.isinf(signals.table["plain_low"].to_numpy())  # numbers of such states do not mean what they say
    code = {tag: k for k, tag in enumerate(signals.tags)}
    for (tag,), part in rows.with_row_index("at").group_by("tag", maintain_order=True):
        at = part["at"].to_numpy()
        which = signals.number(code[str(tag)], times[at])
        known = (which != NO_SIGNAL) & ~recoded[which]
        out[at[known]] = number[at[known]] * factor[which[known]] + offset[which[known]]
    usable = ~rows["reason"].is_in(NO_MEASUREMENT).to_numpy() & np.isfinite(out)
    return pl.Series("value", np.where(usable, out, np.nan)).fill_nan(None)


def keep_results(
    store: Store,
    rows: Iterable[dict[str, Any]],
    refused: Iterable[Refused],
    layout: Layout,
    plant_file: PlantFile,
    load_id: str,
    received_utc: datetime,
) -> None:
    """Keep the lab results of a sheet that were set aside though their sample, point and analyte are known."""
    reasons = {(r.line_no, r.name): r.reason for r in refused}
    if not reasons:
        return
    kept = []
    for row in rows:
        name = row["column"] or row["analyte_text"] or ""
        reason = reasons.get((row["line_no"], name))
        result = None if reason is None else _result(row, layout, plant_file, received_utc)
        if result is not None:
            kept.append({**result, "plant": store.plant, "load_id": load_id, "subject": name, "text": row["text"], "reason": reason})
    schema = TABLES["set_aside_results"].polars_schema()
    frame = pl.DataFrame([{name: k[name] for name in schema} for k in kept], schema=schema)
    frame = frame.unique(TABLES["set_aside_results"].key, keep="last", maintain_order=True)
    if frame.height:
        row_schemas.append(store, "set_aside_results", frame)


def _result(row: dict[str, Any], layout: Layout, plant_file: PlantFile, received_utc: datetime) -> dict[str, Any] | None:
    """Return the result a refused row would be; None when its sample, point or analyte is not known."""
    if row["time_reason"] or row["time_utc"] is None:
        return None
    try:
        identity = results.identity(row, layout, plant_file)
    except RowError:
        return None
    if identity["from_utc"] > received_utc + results.FUTURE_MARGIN:
        return None
    if identity["analyte"] == VS_OF_WET:
        return None  # it needs the TS of its sample beside it
    analyte, value, note = _number(row, identity, layout, plant_file)
    value = value if value is not None and math.isfinite(value) else None  # an exponent near the end of what numbers can say
    reported = sample_times.reported(row["reported_text"], layout, plant_file)
    return {
        **dict.fromkeys(TABLES["set_aside_results"].column_names), **identity, "analyte": analyte, "value": value, "unit": STORED_UNIT[analyte],
        "replicates": 1, "is_estimated": False, "note": note, "crew": row["crew"] or None, "lot": row.get("lot") or None,
        "reported_utc": reported or received_utc, "line_no": row["line_no"],
    }  # fmt: skip


def _number(row: dict[str, Any], identity: dict[str, Any], layout: Layout, plant_file: PlantFile) -> tuple[str, float | None, str | None]:
    """Return (analyte stored, value in its unit or None, note): plausible or not, but never one its qualifier rejects."""
    analyte = "ts" if identity["analyte"] == "moisture" else identity["analyte"]
    try:
        number = qualifiers.read(row["text"] or "", row["qualifier_text"], layout)
    except RowError:
        return analyte, None, None
    if number.is_limit:
        return analyte, None, None
    try:
        return result_units.to_stored(
            number.value, identity["analyte"], identity["point"], identity["unit_text"], density_kg_m3=identity["density_kg_m3"],
            is_us=plant_file.plant.units == "US",
        )  # fmt: skip
    except RowError:
        pass
    if identity["unit_text"] is None:
        return analyte, None, None
    try:
        value = measure_of_analyte(analyte).stored_value(number.value, units.unit(identity["unit_text"]).name)
    except (KeyError, ValueError):
        return analyte, None, None
    return analyte, 100.0 - value if identity["analyte"] == "moisture" else value, None
