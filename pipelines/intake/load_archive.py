"""Take the archived originals of a plant into a fresh store, after a check that none is missing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from pipelines import receive
from pipelines.base import sanitise
from pipelines.base.errors import DataMissingError, Notice, UsageError
from pipelines.base.home import Home
from pipelines.base.receipts import Receipt, ReceiptTime
from pipelines.intake import load_files, untied_tags
from pipelines.intake.file_problems import FileProblems
from pipelines.plant.model import PlantFile
from pipelines.store import Store

_SHOWN = 5  # missing originals named in a message


def check_complete(home: Home, plant: str, taken_in: Sequence[str] | None, *, without_missing: bool) -> list[Notice]:
    """Return notices when originals that were taken in before (`taken_in`: their names in the archive) are not there now.

    DataMissingError names them unless the rebuild is to go on `without_missing` ones. None for `taken_in`: nothing is left that
    could say what was taken in, which is a notice too.
    """
    if taken_in is None:
        sentence = "no earlier store and no published file is left to compare the archive with: whether originals are missing is not known"
        return [Notice("archive.not_compared", sentence, {})]
    there = {kept.sha256 for kept in receive.archived(home, plant)}
    missing = sorted(name for name in taken_in if (digest := receive.digest_in_name(name)) is not None and digest not in there)
    if not missing:
        return []
    named = ", ".join(sanitise.name(name) for name in missing[:_SHOWN]) + (
        f" and {len(missing) - _SHOWN} more" if len(missing) > _SHOWN else ""
    )
    sentence = f"{len(missing)} original{'s' if len(missing) > 1 else ''} taken in before {'are' if len(missing) > 1 else 'is'} missing from {home.archive(plant)}: {named}"
    if not without_missing:
        remedy = "restore them from the backup of the archive; to go on without their data, add --without-missing"
        raise DataMissingError(f"{sentence}; nothing was changed", remedy=remedy)
    return [Notice("archive.missing", f"{sentence}; their data are gone from every table", {"missing": missing})]


def correct_receipt_times(home: Home, plant: str, corrections: Sequence[ReceiptTime]) -> None:
    """Give archived originals another time of receipt, as after a run with a wrong clock; UsageError when a number fits none."""
    kept = receive.archived(home, plant)
    for one in corrections:
        chosen = [a for a in kept if one.first_seq <= a.seq <= one.last_seq]
        if not chosen:
            said = str(one.first_seq) if one.first_seq == one.last_seq else f"{one.first_seq}-{one.last_seq}"
            raise UsageError(
                f"the archive of {plant} has no receipt {said}", remedy=f"the names in {home.archive(plant)} begin with the number"
            )
        for archived in chosen:
            receive.set_received(home, plant, archived, one.received_utc)


def load_archive(home: Home, store: Store, plant_file: PlantFile, *, call: Callable[..., Any]) -> tuple[list[Receipt], list[Notice]]:
    """Check every archived original into the store, in the order of receipt; returns receipts and notices."""
    receipts: list[Receipt] = []
    problems, folder = FileProblems(home, store.plant), home.archive(store.plant)
    for kept in receive.archived(home, store.plant):
        if not kept.is_as_it_came(folder):
            problems.not_as_it_came(kept.file_name, kept.archived_as)
        original, path = kept.original(folder), folder / kept.archived_as
        receipts += call(load_files.check_in, store, plant_file, original, path, kept.seq, kept.received_utc, None, problems)
    for name in receive.not_archived(home, store.plant):
        problems.not_of_archive(name)
    return receipts, [*problems.notices, *untied_tags.first_met(store, receipts)]
