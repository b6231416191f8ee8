"""Content of a file as lines, for any container: text, compressed text, a member of an archive, a sheet of a workbook."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from pipelines.plant.model import Layout
from pipelines.receive.containers.zip_files import is_workbook
from pipelines.receive.text import dialect

_FIRST_BYTES = 64 * 2**10  # a first look needs no more at a time


class Content(Protocol):
    """Kind of content, determined once from the first bytes."""

    @property
    def path(self) -> Path: ...

    def as_read(self, layout: Layout) -> Layout:
        """Return the layout as it reads this content."""
        ...

    def pieces(self, layout: Layout, piece_bytes: int = dialect.PIECE_BYTES, skip_bytes: int = 0) -> Iterator[bytes]:
        """Yield the content as UTF-8 in pieces that end with a line, without its first `skip_bytes`."""
        ...


@dataclass(frozen=True)
class _Text:
    """Delimited text, packed or not."""

    path: Path

    def as_read(self, layout: Layout) -> Layout:
        return layout

    def pieces(self, layout: Layout, piece_bytes: int = dialect.PIECE_BYTES, skip_bytes: int = 0) -> Iterator[bytes]:
        return dialect.pieces(self.path, layout.encoding, piece_bytes, skip_bytes)


@dataclass(frozen=True)
class Workbook:
    """A workbook: it has no encoding, delimiter or quotes to declare."""

    path: Path

    def as_read(self, layout: Layout) -> Layout:
        from pipelines.receive.containers import workbook

        return workbook.as_read(layout)

    def pieces(self, layout: Layout, piece_bytes: int = dialect.PIECE_BYTES, skip_bytes: int = 0) -> Iterator[bytes]:
        from pipelines.receive.containers import workbook

        return workbook.pieces(self.path, layout, piece_bytes, skip_bytes)

    def sheet_pieces(self, sheet: str | None) -> Iterator[bytes]:
        """Yield a sheet no layout is known for: dates as ISO 8601 text."""
        looked_at = Layout(id="unseen", kind="wide", files="*", time_column="-", time_format="iso8601", sheet=sheet)
        return self.pieces(looked_at, _FIRST_BYTES)

    def visible_sheets(self) -> tuple[str, ...]:
        """Return the names of the visible sheets."""
        from pipelines.receive.containers import workbook

        return workbook.visible_sheets(self.path)


def content(path: Path) -> Content:
    """Return what a file holds; FileRefusedError when it is a document of another kind."""
    return Workbook(path) if is_workbook(path) else _Text(path)
