"""Receive: files of the drop folder to numbered values, still text, with their time in UTC. Nothing is judged here."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipelines.plantfile import Layout, PlantFile
from pipelines.receive.header import dialect_of, find
from pipelines.receive.inbox import Archived, archive, archived, fingerprint, waiting
from pipelines.receive.reader import Dialect, OddRow, RowBatch, pieces, read_rows, records
from pipelines.receive.tables import FileRows

__all__ = [
    "Archived", "Dialect", "FileRows", "OddRow", "RowBatch", "archive", "archived", "fingerprint", "open_file", "raw_lines", "read_rows", "waiting",
]  # fmt: skip


def open_file(path: Path, file_name: str, plant_file: PlantFile) -> FileRows:
    """Open a file by the first layout that fits its name and header; FileRefusedError when none does."""
    layout, header = find(path, file_name, plant_file)
    return FileRows(path, layout, header, plant_file.plant.time_zone)


def raw_lines(path: Path, layout: Layout, line_numbers: Iterable[int]) -> dict[int, str]:
    """Return the raw records that begin at the given physical lines, without their line end."""
    wanted = set(line_numbers)
    found: dict[int, str] = {}
    if not wanted:
        return found
    last = max(wanted)
    for line, _, raw in records(pieces(path, layout.encoding), dialect_of(layout)):
        if line in wanted:
            found[line] = raw.rstrip("\r\n")
        if line >= last:
            break
    return found
