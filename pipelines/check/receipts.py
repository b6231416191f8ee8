"""Count every row and value of a file once, write refused rows with their reason, and balance the receipt."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime

import polars as pl

from pipelines.base.receipts import Receipt
from pipelines.check import row_schemas
from pipelines.check.readings import sorting
from pipelines.check.readings.duplicates import Outcome
from pipelines.check.readings.untied import Untied
from pipelines.files.original import FileRefusedError, Original
from pipelines.files.pieces import Chunk, RawLines, Received, Written
from pipelines.plant.model import Layout
from pipelines.store import Store
from schemas import TABLES
from schemas.vocabulary import REASONS

RULE_VERSION = 3  # raised when a row rule changes its verdict on the same row
RAW_TEXT_KEPT = 4_000  # characters of a set-aside row that are stored; the archive has all of it
MOST_REPEATED, MOST_CONTESTED = 0.5, 0.1  # share of a file's stamps from which on rows of several units are merged (rule of this project)
FEW_REPEATED = 5  # so few repeated stamps are repetitions, in however short a file
TAGS_KEPT = 20  # names listed in a set-aside row


@dataclass
class Tally:
    """Counts of one file while its chunks are processed. A row is never split between chunks."""

    rows_read: int = 0
    rows_dropped: int = 0
    rows_kept: int = 0
    rows_duplicate: int = 0
    rows_set_aside: int = 0
    values_read: int = 0
    values_kept: int = 0
    values_duplicate: int = 0
    values_set_aside: int = 0
    values_superseded: int = 0
    untied: Untied = field(default_factory=Untied)
    keys: int = 0  # tags and times of the file; how many stand in it more than once, and with differing values
    keys_repeated: int = 0
    keys_contested: int = 0
    aside: list[pl.DataFrame] = field(default_factory=list)  # rows for set_aside, without raw text
    days: set[date] = field(default_factory=set)
    rows_exact: int = 0
    exact_seconds: float = 0.0
    layouts: dict[str, None] = field(default_factory=dict)  # ids in the order met
    first: datetime | None = None
    last: datetime | None = None

    def take(self, chunk: Chunk) -> None:
        """Count what receive already knows of a chunk: rows read, dropped, and refused as rows."""
        self.rows_read += chunk.rows_read
        self.rows_dropped += chunk.rows_dropped
        self.rows_set_aside += chunk.refused.height
        self.values_read += chunk.values.height
        self.rows_exact += chunk.rows_exact
        self.exact_seconds += chunk.exact_seconds
        if chunk.layout is not None:
            self.layouts[chunk.layout.id] = None
        if chunk.refused.height:
            self.aside.append(
                chunk.refused.select(
                    "line_no", "reason", "detail", is_partial=pl.lit(False), value_count=pl.lit(0, dtype=pl.Int32),
                    tags=pl.lit(None, dtype=pl.String), first_utc=pl.lit(None, dtype=pl.Datetime("us", "UTC")), raw_text="raw_text",
                )
            )  # fmt: skip

    def explain_clock(self, note: str | None) -> None:
        """Add the finding on the clock to each row at a time that the declared zone skips."""
        if note is not None:
            told = pl.when(pl.col("reason") == "local time does not exist").then(pl.concat_str("detail", pl.lit(f"; {note}")))
            self.aside = [rows.with_columns(detail=told.otherwise("detail")) for rows in self.aside]

    def refuse_merged(self, layout: Layout) -> None:
        """Refuse a file in which most tags and times stand more than once with differing values: rows of several units merged."""
        is_most = self.keys_repeated > MOST_REPEATED * self.keys and self.keys_contested > MOST_CONTESTED * self.keys
        if layout.repeated_stamps == "refuse" and self.keys_repeated >= FEW_REPEATED and is_most:
            raise FileRefusedError(
                "several values under one stamp",
                f"{self.keys_repeated:,} of {self.keys:,} stamps of a tag stand more than once, {self.keys_contested:,} with differing values; "
                "if a column says which unit, station or press a row is of, declare it (entity_column); if stamps are cut short "
                'and the last value under one counts, declare repeated_stamps = "last counts"',
            )

    def span(self, times: pl.Series) -> None:
        """Widen first and last to the times of usable rows."""
        self.first, self.last = sorting.widened(self.first, self.last, times)

    def settle(self, lines: pl.Series, row_count: int, failed: pl.DataFrame, outcome: Outcome, written: Written | None = None) -> None:
        """Count the rows (`row_count` of them have values) and values of a chunk.

        A row is set aside when all its values are, kept when one was kept, else a duplicate: so which rows count as set
        aside does not depend on what came before.
        `lines` is the line number of each value, `failed` has line_no, time_utc, name, reason, detail of values set aside.
        `written` tells their raw text where it is at hand.
        """
        self.values_kept += outcome.kept
        self.values_superseded += outcome.superseded
        self.keys += outcome.keys
        self.keys_repeated += outcome.repeated
        self.keys_contested += outcome.contested
        self.values_duplicate += outcome.duplicates
        self.values_set_aside += failed.height
        if failed.height == 0 and outcome.duplicates == 0:
            self.rows_kept += row_count
            return
        per_line = _per_line(lines, row_count, failed, outcome)
        aside = pl.col("aside") == pl.col("values")
        kept = pl.col("values") > pl.col("lost")
        counts = per_line.select(kept=kept.sum(), aside=aside.sum(), duplicate=(~kept & ~aside).sum()).row(0, named=True)
        self.rows_kept += row_count - per_line.height + counts["kept"]
        self.rows_set_aside += counts["aside"]
        self.rows_duplicate += counts["duplicate"]
        if failed.height:
            rows = _aside_rows(failed, per_line)
            if written is not None:
                rows = rows.drop("raw_text").join(written.raw(rows["line_no"]), on="line_no", how="left", maintain_order="left")
                rows = rows.rename({"raw": "raw_text"})
            self.aside.append(rows)


def _per_line(lines: pl.Series, row_count: int, failed: pl.DataFrame, outcome: Outcome) -> pl.DataFrame:
    """Return line_no, aside, lost, values of each line with a value that was not kept.

    How many of its values were set aside, were set aside or duplicate, and how many it has.
    """
    one, none = pl.lit(1, dtype=pl.Int32), pl.lit(0, dtype=pl.Int32)
    parts = [failed.select("line_no", aside=one)]
    if outcome.lines is not None:
        parts.append(outcome.lines.filter(pl.col("is_duplicate") & ~pl.col("is_mark")).select("line_no", aside=none))
    lost = pl.concat(parts)
    if row_count == len(lines):  # one value a row, as in every long file
        return lost.with_columns(lost=one, values=one)
    counted = lost.group_by("line_no").agg(pl.col("aside").sum(), lost=pl.len().cast(pl.Int32))
    values = lines.to_frame("line_no").join(counted, on="line_no", how="semi").group_by("line_no").agg(values=pl.len().cast(pl.Int32))
    return counted.join(values, on="line_no")


def _aside_rows(failed: pl.DataFrame, per_line: pl.DataFrame) -> pl.DataFrame:
    """Return one row a line with its primary reason: the first in the order of the closed list."""
    rank = pl.col("reason").replace_strict(list(REASONS), list(range(len(REASONS))), return_dtype=pl.Int32)
    ranked = failed.with_columns(rank=rank).sort("line_no", "rank", "name", nulls_last=True, maintain_order=True)
    rows = ranked.group_by("line_no", maintain_order=True).agg(
        pl.col("reason").first(), pl.col("detail").first(), value_count=pl.len().cast(pl.Int32),
        tags=pl.col("name").drop_nulls().unique(maintain_order=True).head(TAGS_KEPT).sort().str.join(", "), first_utc=pl.col("time_utc").first(),
    )  # fmt: skip
    partial = per_line.select("line_no", is_partial=pl.col("values") > pl.col("aside"))
    return rows.join(partial, on="line_no", how="left", maintain_order="left").select(
        "line_no", "reason", "detail", "is_partial", "value_count", pl.when(pl.col("tags") != "").then("tags"), "first_utc", raw_text=pl.lit(None, dtype=pl.String)
    )  # fmt: skip


def write_aside(store: Store, load_id: str, parts: list[pl.DataFrame], raw_lines: RawLines | None = None) -> dict[str, int]:
    """Write the set-aside rows of a load with their raw text; returns rows by primary reason, most frequent first."""
    if not parts:
        return {}
    rows = pl.concat(parts).sort("line_no", maintain_order=True)
    wanted = rows.filter(pl.col("raw_text").is_null() & (pl.col("line_no") > 0))["line_no"].to_list()
    if raw_lines is not None and wanted:
        raw = raw_lines(wanted)
        found = pl.Series("found", [raw.get(n) for n in rows["line_no"]], dtype=pl.String)
        rows = rows.with_columns(raw_text=pl.coalesce("raw_text", found))
    table = rows.select(
        plant=pl.lit(store.plant), load_id=pl.lit(load_id), line_no=pl.col("line_no").cast(pl.Int64), reason="reason", detail="detail", is_partial="is_partial",
        value_count="value_count", tags="tags", first_utc="first_utc", raw_text=pl.col("raw_text").str.slice(0, RAW_TEXT_KEPT),
        rule_version=pl.lit(RULE_VERSION, dtype=pl.Int32), disposition=pl.lit(None, dtype=pl.String), disposition_role=pl.lit(None, dtype=pl.String),
        disposition_note=pl.lit(None, dtype=pl.String), disposition_utc=pl.lit(None, dtype=pl.Datetime("us", "UTC")),
    )  # fmt: skip
    row_schemas.append(store, "set_aside", table)
    return dict(sorted(Counter(rows["reason"].to_list()).items(), key=lambda item: (-item[1], REASONS.index(item[0]))))


def aside_whole_file(reason: str, detail: str) -> pl.DataFrame:
    """Return the one set-aside row (line 0) of a file refused whole."""
    row = {
        "line_no": 0, "reason": reason, "detail": detail, "is_partial": False, "value_count": 0, "tags": None, "first_utc": None, "raw_text": None,
    }  # fmt: skip
    schema = {name: dtype for name, dtype in TABLES["set_aside"].polars_schema().items() if name in row}
    return pl.DataFrame([row], schema=schema)


def receipt_of(original: Original, received: Received, tally: Tally, reasons: dict[str, int], seconds: float) -> Receipt:
    """Return the receipt of a file taken in."""
    return Receipt(
        load_id=original.load_id,
        file_name=original.file_name,
        status="taken",
        detail=received.clock_note,
        layout=", ".join(tally.layouts or [received.layout.id]),
        reader=received.reader,
        rows_read=tally.rows_read,
        rows_kept=tally.rows_kept,
        rows_duplicate=tally.rows_duplicate,
        rows_dropped=tally.rows_dropped,
        rows_set_aside=tally.rows_set_aside,
        values_read=tally.values_read,
        values_kept=tally.values_kept,
        values_duplicate=tally.values_duplicate,
        values_set_aside=tally.values_set_aside,
        values_untied=tally.untied.values,
        values_superseded=tally.values_superseded,
        first_utc=tally.first,
        last_utc=tally.last,
        reasons=reasons,
        seconds=seconds,
        rows_exact=tally.rows_exact,
        exact_seconds=tally.exact_seconds,
    )


def write_load(
    store: Store,
    original: Original,
    archived_as: str,
    receipt: Receipt,
    seq: int,
    received_utc: datetime,
    *,
    reads_as: str | None,
    spans_readings: bool,
) -> None:
    """Write the row of `loads`. First and last time are those of readings: a lab sheet does not stretch the minutes."""
    earlier = store.rows("SELECT count(*) FROM loads WHERE file_name = $n", {"n": original.file_name})[0][0]
    counts = {k: getattr(receipt, k) for k in TABLES["loads"].column_names if k.startswith(("rows_", "values_"))}
    row = {
        "plant": store.plant, "load_id": original.load_id, "sha256": original.sha256, "file_name": original.file_name, "archived_as": archived_as, "reads_as": reads_as,
        "file_bytes": original.file_bytes, "layout": receipt.layout, "reader": receipt.reader, "received_utc": received_utc, "received_seq": seq,
        "version": earlier + 1, "status": receipt.status, "reason": receipt.reason, "detail": receipt.detail,
        "first_utc": receipt.first_utc if spans_readings else None, "last_utc": receipt.last_utc if spans_readings else None, **counts,
    }  # fmt: skip
    store.append("loads", pl.DataFrame([row], schema=TABLES["loads"].polars_schema()))
