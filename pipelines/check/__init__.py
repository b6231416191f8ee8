"""Check: text values to readings and results, each refused row set aside with one reason, every row accounted for.

Totaliser registers are kept as they are: whether an increment is possible depends on the readings around it, which may
come with a later file, so `align` judges increments (`pipelines.plant.registers`), not this step.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Self

import polars as pl

from pipelines.base import clock
from pipelines.base.errors import ExitCode, FlocledgerError, InternalError
from pipelines.base.prefetch import Prefetch
from pipelines.base.receipts import Receipt
from pipelines.check import borders, corrections, receipts, set_aside_values, touched
from pipelines.check.lab import results, revisions, sheet
from pipelines.check.readings import clock_steps, duplicates
from pipelines.check.readings.signals import Signals
from pipelines.check.readings.untied import parted
from pipelines.check.readings.values import Typed, typed
from pipelines.check.receipts import Tally
from pipelines.files.original import FileRefusedError, Original
from pipelines.files.pieces import Chunk, RawLines, Received
from pipelines.plant.model import Layout, PlantFile
from pipelines.store import Store, restatement

__all__ = ["AheadOfClockError", "Reading", "corrections", "is_loaded", "next_seq", "note", "refuse", "run"]


@dataclass(frozen=True)
class Piece:
    """A chunk with values, those of tied tags, its layout, what the values say, how many rows have some, and the days of the readings."""

    chunk: Chunk
    values: pl.DataFrame  # of tied tags
    untied: pl.DataFrame | None  # counts of untied ones
    layout: Layout
    said: Typed
    row_count: int
    operating_days: set[date]
    utc_days: set[date]


class AheadOfClockError(FlocledgerError):
    """Most rows of a file lie in the future; nothing of it was loaded."""

    exit_code = ExitCode.WARNINGS


class Reading:
    """A file of readings that is read and typed in its own threads, one piece ahead; it must be closed."""

    def __init__(self, received: Received, plant_file: PlantFile, received_utc: datetime) -> None:
        self.received, self.signals = received, Signals.of(plant_file)
        self.pieces = Prefetch(_pieces(received, self.signals, plant_file, received_utc), waiting=2)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.pieces.close()


def is_loaded(store: Store, load_id: str) -> bool:
    """Return whether this content was already loaded or set aside; a rebuild tries set-aside files again."""
    return bool(store.rows("SELECT 1 FROM loads WHERE load_id = $id", {"id": load_id}))


def next_seq(store: Store) -> int:
    """Return the next receipt number."""
    return int(store.rows("SELECT coalesce(max(received_seq), 0) + 1 FROM loads")[0][0])


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
    reading: Reading | None = None,
    is_new: bool = False,
    holds_old_days: bool = False,
) -> Receipt:
    """Check one opened file into the store, all in one transaction; returns its balanced receipt. `reading`: it is being read already.

    With `holds_old_days`, published days beyond the restatement horizon are not marked for a new pass but put on the list of days held.
    AheadOfClockError when most rows of a file that `is_new` lie after its receipt. FileRefusedError from the file's chunks leaves the store as it was. InternalError when the counts do not balance or
    rows do not fit their table.
    """
    started, tally, is_lab = clock.stopwatch(), Tally(), received.layout.is_lab
    with store.transaction():
        held = restatement.days_to_hold(store, plant_file) if holds_old_days else frozenset()
        if is_lab:
            _take_lab(store, plant_file, received, original.load_id, received_utc, tally, held)
        else:
            with reading or Reading(received, plant_file, received_utc) as begun:
                _take_readings(store, begun, original.load_id, tally)
        tally.explain_clock(received.clock_note)
        reasons = receipts.write_aside(store, original.load_id, tally.aside, raw_lines)
        if is_new:
            _not_ahead(reasons, tally, received_utc)
        receipt = receipts.receipt_of(original, received, tally, reasons, clock.stopwatch() - started)
        if not receipt.balances:
            raise InternalError(f"{original.file_name}: the receipt does not balance: {receipt}")
        if tally.first is not None and tally.last is not None and not is_lab:
            if tally.values_kept or tally.values_set_aside:
                touched.mark_hours(store, plant_file, tally.first, tally.last, held)
            store.mark_days("compute", tally.days - held)  # data_version changes even where no value does
            store.mark_days(restatement.STAGE, tally.days & held)
        touched.note_days(store, original.load_id, tally.days)
        receipts.write_load(
            store, original, archived_as, receipt, seq, received_utc, reads_as=plant_file.reads_as, spans_readings=not is_lab
        )
    return receipt


def _not_ahead(reasons: dict[str, int], tally: Tally, received_utc: datetime) -> None:
    """Raise AheadOfClockError when more than half of the rows lie after now: the clock of this machine is then more likely wrong than the file."""
    rows, ahead = tally.rows_read - tally.rows_dropped, reasons.get("time in the future", 0)
    if 2 * ahead > rows:
        raise AheadOfClockError(
            f"{ahead:,} of its {rows:,} rows lie after now ({received_utc:%Y-%m-%d %H:%M} UTC): set the clock of this machine, or mend the dates"
        )


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
    receipt = Receipt(original.load_id, original.file_name, "set aside", refused.reason, refused.detail, reasons={refused.reason: 1})
    with store.transaction():
        receipts.write_aside(
            store, original.load_id, [receipts.aside_whole_file(refused.reason, f"{original.file_name}: {refused.detail}")]
        )
        receipts.write_load(store, original, archived_as, receipt, seq, received_utc, reads_as=plant_file.reads_as, spans_readings=False)
    return receipt


def note(store: Store, original: Original, archived_as: str, detail: str, *, seq: int, received_utc: datetime) -> Receipt:
    """Note a file that has no rows of its own (an archive whose members have receipts), so that it is known again."""
    receipt = Receipt(original.load_id, original.file_name, "taken", detail=detail)
    with store.transaction():
        receipts.write_load(store, original, archived_as, receipt, seq, received_utc, reads_as=None, spans_readings=False)
    return receipt


def _pieces(received: Received, signals: Signals, plant_file: PlantFile, received_utc: datetime) -> Iterator[Chunk | Piece]:
    """Yield the chunks of a file; those with values as pieces."""
    chunks = Prefetch(received.chunks())
    try:
        for chunk in chunks:
            if not chunk.values.height:
                yield chunk
                continue
            layout = chunk.layout or received.layout
            values, codes, untied = parted(chunk.values, signals, layout)
            said = borders.fit_readings(plant_file.plant.id, typed(values, signals, layout, received_utc, chunk.written, codes=codes))
            minutes, row_count = touched.minutes_of(said.readings["time_utc"]), len(touched.distinct(values["line_no"].to_numpy()))
            yield Piece(
                chunk, values, untied, layout, said, row_count, plant_file.calendar.operating_days(minutes), touched.utc_days(minutes)
            )
    finally:
        chunks.close()


def _take_readings(store: Store, reading: Reading, load_id: str, tally: Tally) -> None:
    stored, back, utc_days = duplicates.Stored.of(store), [], set[date]()
    for piece in reading.pieces:
        tally.take(piece if isinstance(piece, Chunk) else piece.chunk)
        if isinstance(piece, Chunk):
            continue
        said = piece.said
        if piece.untied is not None:
            tally.untied.take(piece.untied)
            tally.rows_dropped += len(touched.distinct(piece.chunk.values["line_no"].to_numpy())) - piece.row_count
        if said.failed.height:
            set_aside_values.keep_values(store, piece.chunk, said.failed, reading.signals, piece.layout, load_id)
        outcome = duplicates.Outcome(0, 0, None)
        if said.readings.height:
            outcome = duplicates.merge(store, said.readings, load_id, stored, has_repeats=said.has_repeats)
            tally.span(said.readings["time_utc"])
            tally.days |= piece.operating_days
            utc_days |= piece.utc_days
        tally.settle(piece.values["line_no"], piece.row_count, said.failed, outcome, piece.chunk.written)
        if said.steps is not None:
            back.append(said.steps)
    tally.untied.write(store, load_id)
    tally.refuse_merged(reading.received.layout)
    clock_steps.write(store, load_id, back)
    store.mark_days("readings", utc_days)


def _take_lab(
    store: Store, plant_file: PlantFile, received: Received, load_id: str, received_utc: datetime, tally: Tally, held: frozenset[date]
) -> None:
    """Take a lab sheet as a whole: it is small, and a sample may be spread over it."""
    lines, found, unfit_all = [], [], []
    for chunk in received.chunks():
        tally.take(chunk)
        lines.append(chunk.values["line_no"])
        fine, unfit = results.results(chunk.values, chunk.layout or received.layout, plant_file, received_utc)
        found += fine
        unfit_all += unfit
        if unfit:
            set_aside_values.keep_results(
                store, chunk.values.to_dicts(), unfit, chunk.layout or received.layout, plant_file, load_id, received_utc
            )
    samples, clashing = sheet.averaged(found, plant_file)
    samples, misfitting = borders.fit_results(store.plant, samples)
    outcome, changed_days = revisions.merge(store, samples, load_id, plant_file)
    all_lines = results.all_lines(lines)
    tally.settle(all_lines, all_lines.n_unique(), results.failed_frame(unfit_all + clashing + misfitting), outcome)
    used = results.times(samples)
    tally.span(used)
    tally.days |= results.days(samples, plant_file)
    touched.mark_lab(store, changed_days | tally.days, held)
