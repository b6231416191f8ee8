"""Receive: files of the drop folder to numbered values, still text, with their time in UTC. Nothing is judged here."""

from __future__ import annotations

from pathlib import Path

from pipelines.plantfile import PlantFile
from pipelines.receive.containers import Member, is_workbook, members, opened
from pipelines.receive.content import sheet_pieces
from pipelines.receive.dialect import Dialect
from pipelines.receive.header import find
from pipelines.receive.inbox import Archived, archive, archived, fingerprint, waiting
from pipelines.receive.raw import raw_lines
from pipelines.receive.reader import OddRow, RowBatch, read_rows
from pipelines.receive.rows import FileRows

__all__ = [
    "Archived", "Dialect", "FileRows", "Member", "OddRow", "RowBatch", "archive", "archived", "fingerprint", "is_workbook", "members",
    "open_file", "opened", "raw_lines", "read_rows", "sheet_pieces", "waiting",
]  # fmt: skip


def open_file(path: Path, file_name: str, plant_file: PlantFile) -> FileRows:
    """Open a file by the first layout that fits its name and header; FileRefusedError when none does."""
    layout, header = find(path, file_name, plant_file)
    return FileRows(path, layout, header, plant_file.plant.time_zone)
