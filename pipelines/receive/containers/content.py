"""A file's content as lines, whatever it comes in: text, packed text, a member of an archive, a sheet of a workbook."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipelines.plant.model import Layout
from pipelines.receive.containers.zip_files import is_workbook
from pipelines.receive.text import dialect

_FIRST_BYTES = 64 * 2**10  # a first look needs no more at a time


def as_read(path: Path, layout: Layout) -> Layout:
    """Return the layout as it reads this file: a workbook has no encoding, delimiter or quotes to declare."""
    if not is_workbook(path):
        return layout
    from pipelines.receive.containers import workbook

    return workbook.as_read(layout)


def pieces(path: Path, layout: Layout, piece_bytes: int = dialect.PIECE_BYTES, skip_bytes: int = 0) -> Iterator[bytes]:
    """Yield the content as UTF-8 in pieces that end with a line, as `dialect.pieces` does."""
    if not is_workbook(path):
        return dialect.pieces(path, layout.encoding, piece_bytes, skip_bytes)
    from pipelines.receive.containers import workbook

    return workbook.pieces(path, layout, piece_bytes, skip_bytes)


def sheet_pieces(path: Path, sheet: str | None) -> Iterator[bytes]:
    """Yield a sheet of a workbook no layout is known for: dates as ISO 8601 text."""
    from pipelines.receive.containers import workbook

    looked_at = Layout(id="unseen", kind="wide", files="*", time_column="-", time_format="iso8601", sheet=sheet)
    return workbook.pieces(path, looked_at, _FIRST_BYTES)


def visible_sheets(path: Path) -> tuple[str, ...]:
    """Return the names of a workbook's visible sheets; of another file none."""
    if not is_workbook(path):
        return ()
    from pipelines.receive.containers import workbook

    return workbook.visible_sheets(path)
