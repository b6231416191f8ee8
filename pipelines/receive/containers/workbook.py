"""Workbooks (.xlsx, .xlsm): one sheet as lines of tab-separated text, line number = row number of the sheet.

The sheet is the one the layout names (`sheet`), else the first visible one; a hidden sheet is read only by name. A formula
counts by the value the spreadsheet program stored with it, and is set aside by words where it stored none; macros are never looked at. A merged area has its value in its
first cell, the others are blank; line breaks and tabs inside a cell become blanks; errors stay words (#N/A). Empty rows stay
empty lines, so every row keeps its number.

Read as a stream by an XML parser that refuses document types (no entities), bounded in cells, text and rows. A reader that
builds the sheet as a table is not fit for files of strangers: two cells in opposite corners make it reserve half a terabyte.
"""

from __future__ import annotations

import posixpath
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO
from xml.parsers import expat

from pipelines.base.sanitise import name as shown
from pipelines.files.original import FileRefusedError
from pipelines.plant.model import Layout
from pipelines.receive.containers.cells import DateWriter, NumberFormat, number_format
from pipelines.receive.containers.sheet import DELIMITER, Rows, Texts, whole_number
from pipelines.receive.containers.zip_files import checked, refused, seekable, sound

_XML_BYTES = 64 * 2**10  # taken at a time: what a part of this size can become stays small

Starts = Callable[[str, dict[str, str]], None]


def as_read(layout: Layout) -> Layout:
    """Return a layout as it reads the lines this module makes: tabs, no quotes."""
    return layout.model_copy(update={"encoding": "utf-8", "delimiter": DELIMITER, "quote": None, "escape": None})


def pieces(path: Path, layout: Layout, piece_bytes: int, skip_bytes: int = 0) -> Iterator[bytes]:
    """Yield the sheet as UTF-8 lines in pieces of about the size given; `skip_bytes` are left out at the beginning.

    FileRefusedError when the workbook cannot be read, has no such sheet, or passes a limit.
    """
    held: list[str] = []
    size = 0
    for line in _lines(path, layout):
        held.append(line)
        size += len(line)
        if size >= piece_bytes:
            yield from _cut("".join(held).encode("utf-8", "replace"), skip_bytes)
            skip_bytes = max(skip_bytes - sum(len(x.encode("utf-8", "replace")) for x in held), 0) if skip_bytes else 0
            held, size = [], 0
    if held:
        yield from _cut("".join(held).encode("utf-8", "replace"), skip_bytes)


def visible_sheets(path: Path) -> tuple[str, ...]:
    """Return the names of the visible sheets, as they stand in the workbook; FileRefusedError when it cannot be read."""
    with seekable(path) as source, checked(source) as archive:
        return _Book(archive).visible


def _cut(data: bytes, skip_bytes: int) -> Iterator[bytes]:
    if len(data) > skip_bytes:
        yield data[skip_bytes:] if skip_bytes else data


def _lines(path: Path, layout: Layout) -> Iterator[str]:
    with seekable(path) as source, checked(source) as archive:
        book = _Book(archive)
        part = book.sheet(layout.sheet)
        rows = Rows(book.shared(), book.formats(), DateWriter(layout, book.is_1904))
        for data in book.parsed(part, rows.start, rows.end, rows.text):
            del data
            yield from rows.taken()
        if not rows.is_closed:
            raise refused(f"the sheet in {shown(part)} is cut off")
        yield from rows.taken()


@dataclass
class _Sheet:
    name: str
    part: str
    is_visible: bool


class _Book:
    """The parts of a workbook that say where its cells are and what they mean."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        self.names = {n.lower(): n for n in archive.namelist()}
        self.root = next((t for t in self._targets("", "officedocument")), "xl/workbook.xml")
        self.is_1904, self._sheets = self._read_root()

    def sheet(self, wanted: str | None) -> str:
        """Return the part of the sheet a layout names, or of the first visible sheet."""
        if wanted is not None:
            named = [s for s in self._sheets if s.name.strip().lower() == wanted.strip().lower()]
            if not named:
                names = ", ".join(repr(shown(s.name)) for s in self._sheets[:20])
                raise FileRefusedError("unknown layout", f"the workbook has no sheet {wanted!r}; its sheets are {names}")
            return named[0].part
        first = next((s for s in self._sheets if s.is_visible), None)
        if first is None:
            raise refused("the workbook has no visible sheet; name one in the layout (sheet = ...)")
        return first.part

    @property
    def visible(self) -> tuple[str, ...]:
        return tuple(s.name for s in self._sheets if s.is_visible)

    def shared(self) -> list[str]:
        """Return the texts that cells refer to by number."""
        part = next(iter(self._targets(self.root, "sharedstrings")), None)
        if part is None:
            return []
        found = Texts()
        for _ in self.parsed(part, found.start, found.end, found.text):
            pass
        return found.texts

    def formats(self) -> list[NumberFormat | None]:
        """Return what each cell style makes of a number: None, or a date."""
        part = next(iter(self._targets(self.root, "styles")), None)
        codes: dict[int, str] = {}
        styles: list[int] = []
        inside = [""]

        def start(name: str, attributes: dict[str, str]) -> None:
            if name in ("cellXfs", "cellStyleXfs", "dxfs"):
                inside[0] = name
            elif name == "numFmt" and inside[0] != "dxfs":
                codes[whole_number(attributes.get("numFmtId"))] = attributes.get("formatCode", "")
            elif name == "xf" and inside[0] == "cellXfs":
                styles.append(whole_number(attributes.get("numFmtId")))

        if part is not None:
            for _ in self.parsed(part, start):
                pass
        known = {n: number_format(n, codes.get(n)) for n in set(styles)}
        return [known[n] for n in styles]

    def parsed(
        self, part: str, start: Starts, end: Callable[[str], None] | None = None, text: Callable[[str], None] | None = None
    ) -> Iterator[None]:
        """Parse a part; yields after every piece of it. Names come without their namespace."""
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = lambda name, attributes: start(name.rpartition(":")[2] if ":" in name else name, attributes)
        if end is not None:
            parser.EndElementHandler = lambda name: end(name.rpartition(":")[2] if ":" in name else name)
        if text is not None:
            parser.CharacterDataHandler = text
        parser.StartDoctypeDeclHandler = _refuse_doctype
        try:
            with self._open(part) as stream:
                while data := stream.read(_XML_BYTES):
                    parser.Parse(data, False)
                    yield
                parser.Parse(b"", True)
                yield
        except (expat.ExpatError, ValueError) as error:
            raise refused(f"{shown(part)} is not sound XML: {error}"[:300]) from error

    def _open(self, part: str) -> IO[bytes]:
        name = self.names.get(part.lower())
        if name is None:
            raise refused(f"the workbook has no part {shown(part)}")
        return sound(self.archive, self.archive.getinfo(name))

    def _targets(self, part: str, kind: str) -> Iterator[str]:
        """Yield the parts a part refers to by relations of a kind."""
        yield from (target for _, target, is_kind in self._relations(part, kind) if is_kind)

    def _relations(self, part: str, kind: str) -> list[tuple[str, str, bool]]:
        folder, name = posixpath.split(part)
        relations = posixpath.join(folder, "_rels", f"{name}.rels")
        if relations.lower() not in self.names:
            return []
        found: list[tuple[str, str, bool]] = []

        def start(name: str, attributes: dict[str, str]) -> None:
            if name == "Relationship" and attributes.get("TargetMode", "").lower() != "external":
                target = posixpath.normpath(posixpath.join("/", folder, attributes.get("Target", ""))).lstrip("/")
                found.append((attributes.get("Id", ""), target, attributes.get("Type", "").lower().endswith(f"/{kind}")))

        for _ in self.parsed(relations, start):
            pass
        return found

    def _read_root(self) -> tuple[bool, list[_Sheet]]:
        parts = {key: target for key, target, is_sheet in self._relations(self.root, "worksheet") if is_sheet}
        sheets: list[_Sheet] = []
        is_1904 = [False]

        def start(name: str, attributes: dict[str, str]) -> None:
            if name == "workbookPr":
                is_1904[0] = attributes.get("date1904", "").lower() in ("1", "true", "on")
            elif name == "sheet":
                key = next((v for k, v in attributes.items() if k.rpartition(":")[2] == "id" and ":" in k), "")
                if key in parts:  # charts and dialogs are sheets of another kind
                    sheets.append(_Sheet(attributes.get("name", ""), parts[key], attributes.get("state", "visible") == "visible"))

        for _ in self.parsed(self.root, start):
            pass
        return is_1904[0], sheets


def _refuse_doctype(*_: object) -> None:
    raise refused("the workbook declares a document type; no spreadsheet program writes one")
