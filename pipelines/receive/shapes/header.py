"""Find the layout of a file and its header: columns by name, never by position."""

from __future__ import annotations

import fnmatch
import re
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from pipelines.base.sanitise import name as shown
from pipelines.files.original import FileRefusedError
from pipelines.plant.model import Layout, PlantFile
from pipelines.receive.containers.content import Content, content
from pipelines.receive.containers.zip_files import located
from pipelines.receive.shapes.sections import Tables, fits, has_values
from pipelines.receive.shapes.unit_row import compare_units
from pipelines.receive.text.dialect import Dialect
from pipelines.receive.text.reader import records

SEARCHED_RECORDS = 200  # a header further down than this is not looked for
MOST_COLUMNS = 5_000  # a wider export is no plant's; its cost grows with the square
_HEAD_BYTES = 256 * 2**10
_HEAD_FIELDS = MOST_COLUMNS * SEARCHED_RECORDS  # fields held while the header is looked for
Record = tuple[int, list[str], str]  # physical line, fields, raw text


@dataclass(frozen=True)
class Header:
    """Where the columns of a file stand and where its data begin."""

    columns: tuple[str, ...]
    above: tuple[tuple[str, ...], ...]  # title, header and unit records, fields trimmed
    first_data_line: int
    first_data_byte: int  # of the text in UTF-8, without byte order mark
    units: dict[str, str]  # column -> unit word, from the unit row
    tables: Tables | None = None  # tells where a further table begins

    @property
    def records_before_data(self) -> int:
        return len(self.above)

    @property
    def least(self) -> int:
        """Return the number of columns without the unnamed ones at the end: what a record must have."""
        return max((i + 1 for i, name in enumerate(self.columns) if name), default=1)

    def at(self, name: str | None) -> int:
        """Return the position of a column; ValueError when there is none of that name."""
        return self.columns.index(name) if name is not None else -1


def dialect_of(layout: Layout) -> Dialect:
    """Return the dialect a layout declares."""
    return Dialect(layout.encoding, layout.delimiter, layout.quote, layout.escape)


def candidates(file_name: str, plant_file: PlantFile) -> list[Layout]:
    """Return the layouts whose file pattern fits the name, compressed or not."""
    return [x for x in plant_file.layouts if _fits(file_name, x)]


def _fits(file_name: str, layout: Layout) -> bool:
    """Return whether a file's name fits; of a member (`week.zip/monday.csv`) its own, or both where the layout has `member`."""
    archive, *inside = re.split(r"(?<=\.zip)/", file_name, maxsplit=1, flags=re.IGNORECASE)
    member = "".join(inside)
    if layout.member is None:
        return _matches(member.rpartition("/")[2] if inside else file_name, layout.files)
    return bool(inside) and _matches(archive, layout.files) and any(_matches(m, layout.member) for m in (member, member.rpartition("/")[2]))


def _matches(name: str, pattern: str) -> bool:
    return fnmatch.fnmatchcase(name.lower().removesuffix(".gz"), pattern.lower().removesuffix(".gz"))


def find(path: Path, file_name: str, plant_file: PlantFile) -> tuple[Layout, Header, Content]:
    """Return what the file holds, with the layout whose header comes first in the file; of several that fit one row, the first of the plant file.

    FileRefusedError: "unknown layout" says which columns were missing, "file not readable" when no fitting layout can
    read the file at all, "unit row disagrees with plant file" names column, found and expected unit.
    """
    fitting = candidates(file_name, plant_file)
    if not fitting:
        raise FileRefusedError("unknown layout", f"no layout of the plant file has a pattern that fits {shown(file_name)}")
    if located(path)[0].stat().st_size == 0:
        raise FileRefusedError("file not readable", "the file is empty")
    source = content(path)
    fitting = [source.as_read(layout) for layout in fitting]
    heads: dict[_Way, list[Record] | FileRefusedError] = {}
    missing, unread = [], []
    found: tuple[int, Layout, list[Record]] | None = None
    by_number: tuple[Layout, list[Record]] | None = None  # a layout of files without a header row
    for layout in fitting:
        way = _way(layout)
        if way not in heads:
            heads[way] = _head(source, layout)
        head = heads[way]
        if isinstance(head, FileRefusedError):
            unread.append(head)
            continue
        if layout.column_names:
            by_number = by_number or (layout, head)
            continue
        index = next((i for i in range(len(head)) if fits(names_at(i, head, layout), layout, plant_file)), None)
        if index is None:
            missing.append(f"{layout.id}: {_lacking(head, layout, plant_file)}")
        elif found is None or head[index][0] < found[2][found[0]][0]:
            found = index, layout, head
    if found is not None:
        index, layout, head = found
        alike = tuple(x for x in fitting if _way(x) == _way(layout) and x.is_lab == layout.is_lab)
        if len(head[index][1]) > MOST_COLUMNS:
            raise FileRefusedError("file not readable", f"{len(head[index][1])} columns; at most {MOST_COLUMNS} are read")
        tables = Tables((layout, *(x for x in alike if x is not layout)), plant_file)
        return layout, header_at(index, head, layout, tables), source
    if by_number is not None:
        return by_number[0], _without_header(*by_number, plant_file), source
    if not missing:
        raise unread[0]
    raise FileRefusedError("unknown layout", "; ".join([*missing, *(f"not readable: {e.detail}" for e in unread)]))


_Way = tuple[Dialect, str | None]


def _way(layout: Layout) -> _Way:
    """Return what decides how a file becomes records: layouts that share it share the head."""
    return dialect_of(layout), layout.sheet


def _head(source: Content, layout: Layout) -> list[Record] | FileRefusedError:
    """Return the first records, as many as are searched for a header, fewer when they are very wide."""
    head: list[Record] = []
    fields = 0
    try:
        for record in islice(records(source.pieces(layout, _HEAD_BYTES), dialect_of(layout)), SEARCHED_RECORDS):
            head.append(record)
            fields += len(record[1])
            if fields > _HEAD_FIELDS:
                break
    except FileRefusedError as error:
        return error
    return head


def _names(fields: list[str]) -> tuple[str, ...]:
    return tuple(f.strip().lstrip("\ufeff") for f in fields)


def names_at(index: int, head: list[Record], layout: Layout) -> tuple[str, ...]:
    """Return the names of columns that the header would have whose first row is record `index`; none when the head ends before it."""
    rows = [_names(fields) for _, fields, _ in head[index : index + layout.header_rows]]
    if len(rows) < layout.header_rows:
        return ()
    return rows[0] if len(rows) == 1 else joined_names(rows)


def joined_names(rows: list[tuple[str, ...]]) -> tuple[str, ...]:
    """Return the names of columns under a header of several rows: the texts of each column joined by a blank, from above.

    A group's name counts for the blank cells to its right, as of merged cells, where a row below has text; one with nothing
    below it (a cell merged downwards) is the name of its own column alone.
    """
    width = max(map(len, rows))
    cells = [[*row, *[""] * (width - len(row))] for row in rows]
    for above, row in enumerate(cells[:-1]):
        group, ended = "", False
        for at in range(width):
            below = any(lower[at] for lower in cells[above + 1 :])
            if row[at]:
                group, ended = row[at], not below
            elif group and below and not ended:
                row[at] = group
    return tuple(" ".join(dict.fromkeys(row[at] for row in cells if row[at])) for at in range(width))


def _without_header(layout: Layout, head: list[Record], plant_file: PlantFile) -> Header:
    """Return the header of a file that has none: its columns are named by the layout, its first record is data."""
    columns = tuple(name.strip() for name in layout.column_names)
    widths = {len(fields) for _, fields, _ in head}
    if head and len(columns) not in widths:
        told = ", ".join(map(str, sorted(widths)[:3]))
        raise FileRefusedError("unknown layout", f"{layout.id}: its rows have {told} fields, column_names has {len(columns)}")
    return Header(columns, (), 1, 0, {}, Tables((layout,), plant_file))


def _lacking(head: list[Record], layout: Layout, plant_file: PlantFile) -> str:
    """Return what was missing in the record that comes closest to a header."""
    wanted = best = layout.header_columns
    for index in range(len(head)):
        columns = names_at(index, head, layout)
        lacking = [name for name in wanted if name not in columns]
        twice = [name for name in wanted if columns.count(name) > 1]
        if not lacking and twice:
            return f"column {twice[0]!r} stands in the header more than once"
        if not lacking and not has_values(columns, layout, plant_file):
            return "none of the columns the plant file names stands beside the time column"
        best = min(best, lacking, key=len)
    return f"no row within the first {SEARCHED_RECORDS} holds " + ", ".join(repr(name) for name in best)


def header_at(index: int, head: list[Record], layout: Layout, tables: Tables) -> Header:
    """Return the header that record `index` is, its unit row compared with the plant file."""
    columns, depth = names_at(index, head, layout), layout.unit_row or 0
    index += layout.header_rows - 1
    after = head[index + 1 : index + 1 + depth]
    words = dict(zip(columns, (f.strip() for f in after[-1][1]), strict=False)) if depth and len(after) == depth else {}
    above = tuple(tuple(f.strip() for f in fields) for _, fields, _ in head[: index + 1 + len(after)])
    last_line, _, raw = head[index + len(after)]
    ends = raw.replace("\r\n", "\n").replace("\r", "\n").count("\n")
    size = sum(len(text.encode("utf-8")) for _, _, text in head[: len(above)])
    compare_units(words, layout, tables.plant_file)
    return Header(columns, above, last_line + max(ends, 1), size, words, tables)
