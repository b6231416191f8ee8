"""Load the files of a plant's inbox into its store: archive, receive, check, one transaction a file."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from pipelines import check, receive
from pipelines.base.errors import Notice
from pipelines.base.home import Home
from pipelines.base.receipts import Receipt
from pipelines.check import AheadOfClockError, Reading
from pipelines.files.original import Original
from pipelines.intake.file_problems import FileProblems, refusal
from pipelines.intake.incoming import Incoming
from pipelines.plant.model import PlantFile
from pipelines.store import Store


def load_inbox(
    home: Home, store: Store, plant_file: PlantFile, received_utc: datetime, incoming: Incoming | None = None
) -> tuple[list[Receipt], list[Notice]]:
    """Load every complete file of the inbox, one transaction a file; a bad file never stops the others."""
    receipts: list[Receipt] = []
    problems = FileProblems(home, store.plant)
    for kept in receive.archived(home, store.plant):  # archived, but the run was killed before its rows stood
        if not check.is_loaded(store, kept.sha256[:16]):
            folder = home.archive(store.plant)
            original, path = kept.original(folder), folder / kept.archived_as
            receipts += check_in(store, plant_file, original, path, kept.seq, kept.received_utc, None, problems, holds_old_days=True)
    for path in changed_sizes(home, store, problems):
        receipts += load_file(home, store, plant_file, receive.fingerprint(path), received_utc, None, problems)
    with incoming or Incoming(home, plant_file, received_utc) as files:
        for path, why in files.left:
            problems.stays(path, why)
        for path, fingerprint, reading in files:
            try:
                original = fingerprint()
            except OSError as error:
                problems.not_opened(path, error)
                continue
            receipts += load_file(home, store, plant_file, original, received_utc, reading, problems)
    return receipts, problems.notices


def changed_sizes(home: Home, store: Store, problems: FileProblems) -> list[Path]:
    """Compare the archive with the receipts; report files of another size, and return what writers added to them, to be taken in."""
    sql = "SELECT archived_as, file_name, file_bytes FROM loads WHERE NOT contains(archived_as, '/')"
    sizes = {archived_as: (name, size) for archived_as, name, size in store.rows(sql)}
    there = {kept.archived_as: kept for kept in receive.archived(home, store.plant)}
    whole = []
    for archived_as, (file_name, size) in sizes.items():
        kept = there.get(archived_as)
        now = (home.archive(store.plant) / archived_as).stat().st_size if kept is not None else None
        if now == size:
            continue
        path = receive.split_grown(home, store.plant, kept, size) if kept is not None else None
        problems.changed_size(file_name, archived_as, size, now, is_taken=path is not None)
        whole += [path] if path is not None else []
    return whole


def load_file(
    home: Home,
    store: Store,
    plant_file: PlantFile,
    original: Original,
    received_utc: datetime,
    reading: Reading | None = None,
    problems: FileProblems | None = None,
) -> list[Receipt]:
    """Move one file into the archive and check its content into the store; known content changes nothing."""
    if reading is not None:
        reading.pieces.wait()  # it has the file open now, under whatever name
    if check.is_loaded(store, original.load_id):
        original.path.unlink()  # the same bytes are in the archive
        return [Receipt(original.load_id, original.file_name, "known already")]
    seq = check.next_seq(store)
    archived_as = receive.archive(home, store.plant, original, seq, received_utc)
    if problems is not None and receive.was_written_on(home.archive(store.plant) / archived_as, original):
        problems.written_on(original, archived_as)
    try:
        archived = home.archive(store.plant) / archived_as
        return check_in(store, plant_file, original, archived, seq, received_utc, reading, problems, is_new=True, holds_old_days=True)
    except AheadOfClockError as ahead:
        path = receive.return_to_inbox(home, store.plant, archived_as, original.file_name)
        if problems is None:
            raise
        problems.stays(path, str(ahead))
        return []


def check_in(
    store: Store,
    plant_file: PlantFile,
    original: Original,
    archived: Path,
    seq: int,
    received_utc: datetime,
    reading: Reading | None = None,
    problems: FileProblems | None = None,
    *,
    is_new: bool = False,
    holds_old_days: bool = False,
) -> list[Receipt]:
    """Check an archived original into the store, or set it aside whole with its reason; one receipt a load.

    Of a ZIP archive each member is a load of its own, numbered from the archive's number on; the archive's own receipt, which
    says that all of it was looked at, comes last. Of a file that `is_new` most rows must not lie after now: AheadOfClockError. An error nobody foresaw sets a file aside too when there are `problems` to tell it.
    """
    try:
        members = receive.members(archived, original.file_name)
    except Exception as error:
        refused = refusal(error, original, problems)
        return [check.refuse(store, plant_file, original, archived.name, refused, seq=seq, received_utc=received_utc)]
    if members is None:
        return [
            check_one(
                store,
                plant_file,
                original,
                archived,
                archived.name,
                seq,
                received_utc,
                reading,
                problems,
                is_new=is_new,
                holds_old_days=holds_old_days,
            )
        ]
    receipts: list[Receipt] = []
    for number, member in enumerate(members, 1):
        one = member.original(archived, original.file_name)
        if check.is_loaded(store, one.load_id):
            receipts.append(Receipt(one.load_id, one.file_name, "known already"))
            continue
        archived_as = f"{archived.name}/{member.name}"
        receipts.append(
            check_one(
                store,
                plant_file,
                one,
                one.path,
                archived_as,
                seq + number,
                received_utc,
                None,
                problems,
                is_new=is_new and not receipts,
                holds_old_days=holds_old_days,
            )
        )
    said = f"an archive of {len(members)} file{'s' if len(members) > 1 else ''}; each has a receipt of its own"
    return [*receipts, check.note(store, original, archived.name, said, seq=seq, received_utc=received_utc)]


def check_one(
    store: Store,
    plant_file: PlantFile,
    original: Original,
    path: Path,
    archived_as: str,
    seq: int,
    received_utc: datetime,
    reading: Reading | None = None,
    problems: FileProblems | None = None,
    *,
    is_new: bool = False,
    holds_old_days: bool = False,
) -> Receipt:
    """Check one file, or one member of an archive, into the store, or set it aside whole with its reason."""
    try:
        received = reading.received if reading is not None else receive.open_file(path, original.file_name, plant_file, may_measure=True)

        def raw(line_numbers: Any) -> dict[int, str]:
            return receive.raw_lines(path, received.layout, line_numbers)

        receipt = check.run(
            store, plant_file, original, archived_as, received, raw, seq=seq, received_utc=received_utc, reading=reading, is_new=is_new,
            holds_old_days=holds_old_days,
        )  # fmt: skip
        if receipt.detail and problems is not None:
            problems.clock_disproved(original.file_name, receipt.detail)
        return receipt
    except Exception as error:
        refused = refusal(error, original, problems)
        return check.refuse(store, plant_file, original, archived_as, refused, seq=seq, received_utc=received_utc)
