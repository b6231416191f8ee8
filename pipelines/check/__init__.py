"""Check: text values to readings and results, each refused row set aside with one reason, every row accounted for."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines import clock
from pipelines.check import lab, lab_store, versions
from pipelines.check.values import Rules, typed
from pipelines.chunks import Chunk, FileRefusedError, Original, RawLines, Receipt, Received
from pipelines.errors import InternalError
from pipelines.plantfile import Layout, PlantFile
from pipelines.store import Store
from schemas import TABLES
from schemas.vocabulary import REASONS

RULE_VERSION = 1  # raised when a row rule changes its verdict on the same row
RAW_TEXT_KEPT = 4_000  # characters of a set-aside row that are stored; the archive has all of it
REACHES_BACK = timedelta(minutes=30)  # a sloped value reaches back to the reading before
REACHES_ON = timedelta(hours=24)  # a state is held so long
LAB_REACHES_DAYS = 14  # a held feed TS relaxes to a median of so many days

__all__ = ["known", "next_seq", "refuse", "run"]


def known(store: Store, load_id: str) -> bool:
    """Tell whether a content was taken in (or set aside) before."""
    return bool(store.rows("SELECT 1 FROM loads WHERE load_id = $id", {"id": load_id}))


def next_seq(store: Store) -> int:
    """Return the next number of receipt."""
    return int(store.rows("SELECT coalesce(max(received_seq), 0) + 1 FROM loads")[0][0])


@dataclass
class _Tally:
    """Counts of one file while its chunks go through."""

    rows_read: int = 0
    rows_dropped: int = 0
    rows_refused: int = 0
    values_read: int = 0
    kept: int = 0
    lines: list[pl.DataFrame] = field(default_factory=list)  # line_no, kept, duplicate, aside of lines with trouble
    aside: list[pl.DataFrame] = field(default_factory=list)  # line_no, reason, detail, name, time_utc of values set aside
    refused: list[pl.DataFrame] = field(default_factory=list)
    days: set[Any] = field(default_factory=set)
    first: datetime | None = None
    last: datetime | None = None

    def span(self, times: pl.Series) -> None:
        low, high = times.min(), times.max()
        if isinstance(low, datetime) and isinstance(high, datetime):
            self.first = low if self.first is None else min(self.first, low)
            self.last = high if self.last is None else max(self.last, high)


def run(
    store: Store,
    plant_file: PlantFile,
    original: Original,
    archived_as: str,
    received: Received,
    raw_lines: RawLines,
    *,
    seq: int,
    received_utc: datetime,
) -> Receipt:
    """Check one opened file into the store, all in one transaction; returns its balanced receipt.

    FileRefusedError from the file's chunks leaves the store as it was. InternalError when the counts do not balance.
    """
    started, tally = clock.stopwatch(), _Tally()
    with store.transaction():
        found: list[dict[str, Any]] = []
        rules = Rules.of(plant_file)
        for chunk in received.chunks():
            tally.rows_read += chunk.rows_read
            tally.rows_dropped += chunk.rows_dropped
            tally.rows_refused += chunk.refused.height
            tally.refused.append(chunk.refused)
            tally.values_read += chunk.values.height
            if received.layout.is_lab:
                found += _take_lab(chunk, received.layout, plant_file, received_utc, tally)
            else:
                _take_readings(store, chunk, rules, received.layout, plant_file, received_utc, original.load_id, tally)
        if received.layout.is_lab:
            _finish_lab(store, found, original.load_id, tally)
        aside = _set_aside(store, original.load_id, tally, raw_lines)
        receipt = _receipt(original, received, tally, aside, clock.stopwatch() - started)
        if not receipt.balances:
            raise InternalError(f"{original.file_name}: the receipt does not balance: {receipt}")
        _write_load(store, original, archived_as, receipt, seq, received_utc)
        _mark(store, plant_file, received.layout, tally, original.load_id)
    return receipt


def refuse(
    store: Store,
    plant_file: PlantFile,
    original: Original,
    archived_as: str,
    refused: FileRefusedError,
    *,
    seq: int,
    received_utc: datetime,
) -> Receipt:
    """Set a whole file aside with its reason; it stays in the archive and a rebuild tries it again."""
    del plant_file
    receipt = Receipt(original.load_id, original.file_name, "set aside", refused.reason, refused.detail, reasons={refused.reason: 1})
    row = _aside_row(store.plant, original.load_id, 0, refused.reason, f"{original.file_name}: {refused.detail}", is_partial=False, count=0)
    with store.transaction():
        store.append("set_aside", pl.DataFrame([row], schema=TABLES["set_aside"].polars_schema()))
        _write_load(store, original, archived_as, receipt, seq, received_utc)
    return receipt


def _take_readings(
    store: Store, chunk: Chunk, rules: Rules, layout: Layout, plant_file: PlantFile, received_utc: datetime, load_id: str, tally: _Tally
) -> None:
    frame = typed(chunk.values, rules, layout, received_utc)
    troubled = frame["reason"].null_count() < frame.height
    failed = frame.filter(pl.col("reason").is_not_null()) if troubled else frame.head(0)
    if troubled:
        tally.aside.append(failed.select("line_no", "reason", "detail", "time_utc", name="tag"))
    usable = pl.col("reason").is_null() | (
        pl.col("time_utc").is_not_null() & pl.col("signal").is_not_null() & ~pl.col("reason").is_in(_NO_MARKER)
    )
    readings = (frame.filter(usable) if troubled else frame).select(
        "line_no", "tag", "time_utc", "value", "quality", is_marker=pl.col("reason").is_not_null()
    )
    if readings.height:
        outcome = versions.merge(store, readings, load_id)
        tally.kept += outcome.kept
        duplicates = outcome.duplicates.filter(~pl.col("is_marker"))
        tally.span(readings["time_utc"])
        tally.days |= operating_days(readings["time_utc"], plant_file)
    else:
        duplicates = pl.DataFrame(schema={"line_no": pl.UInt32, "is_marker": pl.Boolean})
    if troubled or duplicates.height:
        tally.lines.append(_line_counts(frame, failed, duplicates))


# A value refused for one of these has no time or tag that can be trusted: it leaves no bad reading behind.
_NO_MARKER = ["time stamp unreadable", "local time does not exist", "ambiguous local time", "time in the future", "unknown tag"]


def _line_counts(frame: pl.DataFrame, failed: pl.DataFrame, duplicates: pl.DataFrame) -> pl.DataFrame:
    """Return values, aside and duplicate per line that has any trouble."""
    lines = pl.concat([failed.select("line_no"), duplicates.select("line_no")]).unique()
    total = frame.join(lines, on="line_no", how="semi").group_by("line_no").agg(values=pl.len().cast(pl.Int64))
    aside = failed.group_by("line_no").agg(aside=pl.len().cast(pl.Int64))
    twice = duplicates.group_by("line_no").agg(duplicate=pl.len().cast(pl.Int64))
    return total.join(aside, on="line_no", how="left").join(twice, on="line_no", how="left").fill_null(0)


def _take_lab(chunk: Chunk, layout: Layout, plant_file: PlantFile, received_utc: datetime, tally: _Tally) -> list[dict[str, Any]]:
    found, refused = lab.results(chunk.values, layout, plant_file, received_utc)
    schema = {"line_no": pl.UInt32, "reason": pl.String, "detail": pl.String, "time_utc": pl.Datetime("us", "UTC"), "name": pl.String}
    tally.aside.append(pl.DataFrame([(r.line_no, r.reason, r.detail, None, r.analyte) for r in refused], schema=schema, orient="row"))
    return found


def _finish_lab(store: Store, found: list[dict[str, Any]], load_id: str, tally: _Tally) -> None:
    grouped = lab.averaged(found)
    duplicates = lab_store.merge(store, grouped, load_id)
    twice = Counter(line for row in duplicates for line in row["lines"])
    tally.kept = len(found) - sum(twice.values())
    aside = Counter(line for frame in tally.aside for line in frame["line_no"].to_list())
    total = Counter(r["line_no"] for r in found) + aside
    troubled = [(line, total[line], aside[line], twice[line]) for line in total if aside[line] or twice[line]]
    tally.lines.append(
        pl.DataFrame(troubled, schema={"line_no": pl.UInt32, "values": pl.Int64, "aside": pl.Int64, "duplicate": pl.Int64}, orient="row")
    )
    tally.days |= {r["operating_day"] for r in found}


@dataclass(frozen=True)
class _Aside:
    rows_whole: int
    rows_duplicate: int
    values: int
    values_duplicate: int
    reasons: dict[str, int]


def _set_aside(store: Store, load_id: str, tally: _Tally, raw_lines: RawLines) -> _Aside:
    """Write the set-aside rows, one a line with its primary reason, and return the counts."""
    lines = pl.concat(tally.lines).group_by("line_no").sum() if tally.lines else None
    values = pl.concat(tally.aside) if tally.aside else None
    rows: list[dict[str, Any]] = []
    if values is not None and values.height and lines is not None:
        rank = values.with_columns(rank=pl.col("reason").replace_strict(list(REASONS), list(range(len(REASONS))), return_dtype=pl.Int32))
        per_line = rank.sort("line_no", "rank", "name").group_by("line_no", maintain_order=True).agg(
            pl.col("reason").first(), pl.col("detail").first(), pl.col("time_utc").first(), names=pl.col("name").unique(maintain_order=True), count=pl.len()
        )  # fmt: skip
        counted = per_line.join(lines, on="line_no", how="left", maintain_order="left")
        rows = [
            _aside_row(
                store.plant,
                load_id,
                r["line_no"],
                r["reason"],
                r["detail"],
                is_partial=r["values"] > r["aside"],
                count=r["count"],
                tags=", ".join(n or "" for n in r["names"][:20]),
                first_utc=r["time_utc"],
            )
            for r in counted.to_dicts()
        ]
    whole = [
        _aside_row(store.plant, load_id, r["line_no"], r["reason"], r["detail"], is_partial=False, count=0, raw_text=r["raw_text"])
        for f in tally.refused
        for r in f.to_dicts()
    ]
    raw = raw_lines([r["line_no"] for r in rows])
    written = [{**r, "raw_text": raw.get(r["line_no"], "")[:RAW_TEXT_KEPT]} for r in rows] + [
        {**r, "raw_text": (r["raw_text"] or "")[:RAW_TEXT_KEPT]} for r in whole
    ]
    if written:
        store.append("set_aside", pl.DataFrame(written, schema=TABLES["set_aside"].polars_schema()).sort("line_no"))
    counts = lines.to_dicts() if lines is not None else []
    return _Aside(
        rows_whole=sum(1 for c in counts if c["aside"] and c["aside"] + c["duplicate"] == c["values"]),
        rows_duplicate=sum(1 for c in counts if not c["aside"] and c["duplicate"] == c["values"]),
        values=values.height if values is not None else 0,
        values_duplicate=sum(c["duplicate"] for c in counts),
        reasons=dict(Counter(r["reason"] for r in written).most_common()),
    )


def _aside_row(
    plant: str,
    load_id: str,
    line_no: int,
    reason: str,
    detail: str | None,
    *,
    is_partial: bool,
    count: int,
    tags: str = "",
    first_utc: datetime | None = None,
    raw_text: str | None = None,
) -> dict[str, Any]:
    return {
        "plant": plant, "load_id": load_id, "line_no": line_no, "reason": reason, "detail": detail, "is_partial": is_partial, "value_count": count,
        "tags": tags or None, "first_utc": first_utc, "raw_text": raw_text, "rule_version": RULE_VERSION,
        "disposition": None, "disposition_role": None, "disposition_note": None,
    }  # fmt: skip


def _receipt(original: Original, received: Received, tally: _Tally, aside: _Aside, seconds: float) -> Receipt:
    set_aside = aside.rows_whole + tally.rows_refused
    return Receipt(
        load_id=original.load_id,
        file_name=original.file_name,
        status="taken",
        layout=received.layout.id,
        reader=received.reader,
        rows_read=tally.rows_read,
        rows_kept=tally.rows_read - tally.rows_dropped - set_aside - aside.rows_duplicate,
        rows_duplicate=aside.rows_duplicate,
        rows_dropped=tally.rows_dropped,
        rows_set_aside=set_aside,
        values_read=tally.values_read,
        values_kept=tally.kept,
        values_duplicate=aside.values_duplicate,
        values_set_aside=aside.values,
        first_utc=tally.first,
        last_utc=tally.last,
        reasons=aside.reasons,
        seconds=seconds,
    )


def _write_load(store: Store, original: Original, archived_as: str, receipt: Receipt, seq: int, received_utc: datetime) -> None:
    earlier = store.rows("SELECT count(*) FROM loads WHERE file_name = $n", {"n": original.file_name})[0][0]
    counts = {k: getattr(receipt, k) for k in TABLES["loads"].column_names if k.startswith(("rows_", "values_"))}
    row = {
        "plant": store.plant, "load_id": original.load_id, "sha256": original.sha256, "file_name": original.file_name, "archived_as": archived_as,
        "file_bytes": original.file_bytes, "layout": receipt.layout, "reader": receipt.reader, "received_utc": received_utc, "received_seq": seq,
        "version": earlier + 1, "status": receipt.status, "reason": receipt.reason, "detail": receipt.detail,
        "first_utc": receipt.first_utc, "last_utc": receipt.last_utc, **counts,
    }  # fmt: skip
    store.append("loads", pl.DataFrame([row], schema=TABLES["loads"].polars_schema()))


def operating_days(times: pl.Series, plant_file: PlantFile) -> set[Any]:
    """Return the operating days that UTC times fall on."""
    start = plant_file.plant.operating_day_start
    minutes = times.dt.truncate("1m").unique()
    local = minutes.dt.convert_time_zone(plant_file.plant.time_zone).dt.replace_time_zone(None)
    return set((local - timedelta(hours=start.hour, minutes=start.minute)).dt.date().unique().drop_nulls().to_list())


def _mark(store: Store, plant_file: PlantFile, layout: Layout, tally: _Tally, load_id: str) -> None:
    """Put what the load touched on the work lists."""
    del plant_file
    days = sorted(tally.days)
    frame = pl.DataFrame(
        {"plant": [store.plant] * len(days), "load_id": [load_id] * len(days), "operating_day": days},
        schema=TABLES["load_days"].polars_schema(),
    )
    store.append("load_days", frame)
    if layout.is_lab:
        store.mark_days("compute", {d + timedelta(days=k) for d in days for k in range(LAB_REACHES_DAYS + 1)})
    elif tally.first is not None and tally.last is not None:
        store.mark_hours(tally.first - REACHES_BACK, tally.last + REACHES_ON)
        store.mark_days("compute", days)  # data_version changes even where no value does
