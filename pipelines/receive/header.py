"""Find the layout of a file and its header: columns by name, never by position."""

from __future__ import annotations

import fnmatch
from collections import defaultdict
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from pipelines import units
from pipelines.chunks import FileRefusedError
from pipelines.plantfile import Layout, PlantFile, Signal
from pipelines.receive.containers import located
from pipelines.receive.content import as_read, pieces
from pipelines.receive.dialect import Dialect
from pipelines.receive.reader import records
from pipelines.shown import name as shown

SEARCHED_RECORDS = 200  # a header further down than this is not looked for
MOST_COLUMNS = 5_000  # a wider export is no plant's; its cost grows with the square
_HEAD_BYTES = 256 * 2**10
_HEAD_FIELDS = MOST_COLUMNS * SEARCHED_RECORDS  # fields held while the header is looked for
_WORDLESS = ("", "-", "onoff", "on/off", "state", "text", "bool")  # unit words that say nothing to compare


@dataclass(frozen=True)
class Header:
    """Where the columns of a file stand and where its data begin."""

    columns: tuple[str, ...]
    above: tuple[tuple[str, ...], ...]  # title, header and unit records, fields trimmed
    first_data_line: int
    first_data_byte: int  # of the text in UTF-8, without byte order mark
    units: dict[str, str]  # column -> unit word, from the unit row

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
    """Tell whether a file's name fits; of a member (`week.zip/monday.csv`) its own, or both where the layout has `member`."""
    archive, slash, member = file_name.partition(".zip/")
    if layout.member is None:
        return _matches(file_name.rpartition("/")[2] if slash else file_name, layout.files)
    return (
        bool(slash)
        and _matches(f"{archive}.zip", layout.files)
        and any(_matches(m, layout.member) for m in (member, member.rpartition("/")[2]))
    )


def _matches(name: str, pattern: str) -> bool:
    return fnmatch.fnmatchcase(name.lower().removesuffix(".gz"), pattern.lower().removesuffix(".gz"))


def find(path: Path, file_name: str, plant_file: PlantFile) -> tuple[Layout, Header]:
    """Return the first fitting layout whose header is in the file.

    FileRefusedError: "unknown layout" says which columns were missing, "file not readable" when no fitting layout can
    read the file at all, "unit row disagrees with plant file" names column, found and expected unit.
    """
    fitting = candidates(file_name, plant_file)
    if not fitting:
        raise FileRefusedError("unknown layout", f"no layout of the plant file has a pattern that fits {shown(file_name)}")
    if located(path)[0].stat().st_size == 0:
        raise FileRefusedError("file not readable", "the file is empty")
    missing, unread = [], []
    for declared in fitting:
        try:
            layout = as_read(path, declared)
            head = _head(path, layout)
        except FileRefusedError as error:
            unread.append(error)
            continue
        header = _header(head, layout, plant_file)
        if isinstance(header, Header):
            if len(header.columns) > MOST_COLUMNS:
                raise FileRefusedError("file not readable", f"{len(header.columns)} columns; at most {MOST_COLUMNS} are read")
            _compare_units(header.units, layout, plant_file)
            return layout, header
        missing.append(f"{layout.id}: {header}")
    if not missing:
        raise unread[0]
    raise FileRefusedError("unknown layout", "; ".join([*missing, *(f"not readable: {e.detail}" for e in unread)]))


def _head(path: Path, layout: Layout) -> list[tuple[int, list[str], str]]:
    """Return the first records, as many as are searched for a header, fewer when they are very wide."""
    head, fields = [], 0
    for record in islice(records(pieces(path, layout, _HEAD_BYTES), dialect_of(layout)), SEARCHED_RECORDS):
        head.append(record)
        fields += len(record[1])
        if fields > _HEAD_FIELDS:
            break
    return head


def needed(layout: Layout) -> list[str]:
    """Return the columns without which a row cannot be the header."""
    named = [layout.date_column, layout.time_column, layout.tag_column, layout.value_column, layout.quality_column]
    if layout.kind in ("wide", "lab wide"):
        named = named[:2]
    if layout.kind == "lab long":
        named = [*named[:2], layout.point_column, layout.analyte_column, layout.result_column]
    return [n.strip() for n in named if n]


def _header(head: list[tuple[int, list[str], str]], layout: Layout, plant_file: PlantFile) -> Header | str:
    """Return the header, or what was missing in the record that comes closest to one."""
    wanted, best = needed(layout), needed(layout)
    has_time_only = False
    for index, (_, fields, _raw) in enumerate(head):
        columns = tuple(f.strip().lstrip("\ufeff") for f in fields)
        lacking = [name for name in wanted if name not in columns]
        if not lacking and _has_values(columns, layout, plant_file):
            return _header_at(index, columns, head, layout)
        has_time_only = has_time_only or not lacking
        best = min(best, lacking, key=len)
    if has_time_only:
        return "none of the columns the plant file names stands beside the time column"
    return f"no row within the first {SEARCHED_RECORDS} holds " + ", ".join(repr(name) for name in best)


def _header_at(index: int, columns: tuple[str, ...], head: list[tuple[int, list[str], str]], layout: Layout) -> Header:
    depth = layout.unit_row or 0
    after = head[index + 1 : index + 1 + depth]
    words = dict(zip(columns, (f.strip() for f in after[-1][1]), strict=False)) if depth and len(after) == depth else {}
    above = tuple(tuple(f.strip() for f in fields) for _, fields, _ in head[: index + 1 + len(after)])
    last_line, _, raw = head[index + len(after)]
    ends = raw.replace("\r\n", "\n").replace("\r", "\n").count("\n")
    size = sum(len(text.encode("utf-8")) for _, _, text in head[: len(above)])
    return Header(columns, above, last_line + max(ends, 1), size, words)


def _has_values(columns: tuple[str, ...], layout: Layout, plant_file: PlantFile) -> bool:
    if layout.kind == "wide":
        tags = {s.tag.strip() for s in plant_file.signals}
        return any(c in tags for c in columns) or not tags
    if layout.kind == "lab wide":
        return any(r.column.strip() in columns for r in layout.results)
    return True


def _compare_units(words: dict[str, str], layout: Layout, plant_file: PlantFile) -> None:
    """Refuse the file when a unit word means another unit than the plant file says (at any date) for that column."""
    if layout.kind != "wide":
        return
    declared: dict[str, list[Signal]] = defaultdict(list)
    for signal in plant_file.signals:
        declared[signal.tag.strip()].append(signal)
    for tag, signals in declared.items():
        word = words.get(tag, "")
        free = any(s.scaling is not None or s.meaning.kind == "state" for s in signals)
        if free or word.lower() in _WORDLESS or _unit_name(word) in {units.unit(s.unit).name for s in signals}:
            continue
        said = " or ".join(dict.fromkeys(repr(s.unit) for s in signals))
        raise FileRefusedError("unit row disagrees with plant file", f"column {tag!r} is in {word!r} here; the plant file says {said}")


def _unit_name(word: str) -> str:
    """Return the unit a word means; a word of no known meaning stands for itself."""
    try:
        return units.unit(word).name
    except KeyError:
        return word
