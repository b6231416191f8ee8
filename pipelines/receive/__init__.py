"""Receive: files of the drop folder to numbered values, still text, with their time in UTC. Nothing is judged here."""

from __future__ import annotations

import os
from pathlib import Path

from pipelines.plant.model import PlantFile
from pipelines.receive.containers.content import Workbook, content
from pipelines.receive.containers.zip_files import Member, members, opened
from pipelines.receive.inbox import (
    Archived,
    archive,
    archived,
    digest_in_name,
    fingerprint,
    is_plain_text,
    not_archived,
    readable_name,
    return_to_inbox,
    set_received,
    split_grown,
    waiting,
    was_written_on,
)
from pipelines.receive.shapes.header import find
from pipelines.receive.shapes.rows import FileRows
from pipelines.receive.text.dialect import Dialect
from pipelines.receive.text.raw_records import raw_lines
from pipelines.receive.text.reader import read_rows
from pipelines.receive.text.row_batch import OddRow, RowBatch

__all__ = [
    "Archived", "Dialect", "FileRows", "Member", "OddRow", "RowBatch", "Workbook", "archive", "archived", "content", "digest_in_name",
    "fingerprint", "members", "not_archived",
    "open_early", "open_file", "opened", "raw_lines", "read_rows", "return_to_inbox", "set_received", "split_grown", "waiting", "was_written_on",
]  # fmt: skip

EARLY_BYTES = 4 * 2**20  # a smaller file is hashed in the time that a thread takes to begin


def open_file(path: Path, file_name: str, plant_file: PlantFile, *, may_measure: bool = False) -> FileRows:
    """Open a file by the first layout that fits its name and header; FileRefusedError when none does.

    `may_measure`: chunks of clean measurements may come as numbers, with their texts on demand.
    """
    layout, header, source = find(path, file_name, plant_file)
    return FileRows(source, layout, header, plant_file.plant.time_zone, may_measure=may_measure)


def open_early(path: Path, plant_file: PlantFile) -> FileRows | None:
    """Open a large text file of the inbox, to be read while it is hashed and moved; None for any other file.

    Only where an open file may be moved. Whatever stops it stops it again, and is told, when it is checked in.
    """
    try:
        if os.name != "posix" or not is_plain_text(path) or path.stat().st_size < EARLY_BYTES:
            return None
        return open_file(path, readable_name(path.name), plant_file, may_measure=True)
    except Exception:
        return None
