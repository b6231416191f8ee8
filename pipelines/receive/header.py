"""Find the layout of a file and its header: columns by name, never by position."""

from __future__ import annotations

import fnmatch
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines import units
from pipelines.chunks import FileRefusedError
from pipelines.plantfile import Layout, PlantFile
from pipelines.receive.reader import Dialect, pieces, records

SEARCHED_RECORDS = 200  # a header further down than this is not looked for
_WORDLESS = ("", "-", "onoff", "on/off", "state", "text", "bool")  # unit words that say nothing to compare


@dataclass(frozen=True)
class Header:
    """Where the columns of a file stand and where its data begin."""

    columns: tuple[str, ...]
    records_before_data: int  # title, header and unit records
    first_data_line: int
    units: dict[str, str]  # column -> unit word, from the unit row

    def at(self, name: str | None) -> int:
        """Return the position of a column."""
        return self.columns.index(name) if name is not None else -1


def dialect_of(layout: Layout) -> Dialect:
    """Return the dialect a layout declares."""
    return Dialect(layout.encoding, layout.delimiter, layout.quote, layout.escape)


def candidates(file_name: str, plant_file: PlantFile) -> list[Layout]:
    """Return the layouts whose file pattern fits the name, compressed or not."""
    bare = file_name.lower().removesuffix(".gz")
    return [x for x in plant_file.layouts if fnmatch.fnmatch(bare, x.files.lower().removesuffix(".gz"))]


def find(path: Path, file_name: str, plant_file: PlantFile) -> tuple[Layout, Header]:
    """Return the first fitting layout whose header is in the file; FileRefusedError says what was missing."""
    fitting = candidates(file_name, plant_file)
    if not fitting:
        raise FileRefusedError("unknown layout", f"no layout of the plant file has a pattern that fits {file_name}")
    if path.stat().st_size == 0:
        raise FileRefusedError("file not readable", "the file is empty")
    missing = []
    for layout in fitting:
        header = _header(path, layout, plant_file)
        if isinstance(header, Header):
            return layout, header
        missing.append(f"{layout.id}: no row holds {header}")
    raise FileRefusedError("unknown layout", "; ".join(missing))


def needed(layout: Layout) -> list[str]:
    """Return the columns without which a row cannot be the header."""
    named = [layout.date_column, layout.time_column, layout.tag_column, layout.value_column]
    if layout.kind == "lab long":
        named += [layout.point_column, layout.analyte_column, layout.result_column]
    return [n for n in named if n]


def _header(path: Path, layout: Layout, plant_file: PlantFile) -> Header | str:
    wanted = needed(layout)
    head = _head_records(path, layout)
    for index, (_, fields) in enumerate(head):
        columns = tuple(f.strip().lstrip("\ufeff") for f in fields)
        if all(name in columns for name in wanted) and _has_values(columns, layout, plant_file):
            depth = layout.unit_row or 0
            after = head[index + 1 : index + 1 + depth]
            words = dict(zip(columns, (f.strip() for f in after[-1][1]), strict=False)) if depth and len(after) == depth else {}
            _compare_units(words, layout, plant_file)
            data = head[index + 1 + depth][0] if len(head) > index + 1 + depth else (head[-1][0] + 1)
            return Header(columns, index + 1 + len(after), data, words)
    return ", ".join(wanted) + (" and a known signal column" if layout.kind in ("wide", "lab wide") else "")


def _head_records(path: Path, layout: Layout) -> list[tuple[int, list[str]]]:
    source: Iterator[bytes] = pieces(path, layout.encoding, 256 * 2**10)
    found = []
    for line, fields, _ in records(source, dialect_of(layout)):
        found.append((line, fields))
        if len(found) >= SEARCHED_RECORDS:
            break
    return found


def _has_values(columns: tuple[str, ...], layout: Layout, plant_file: PlantFile) -> bool:
    if layout.kind == "wide":
        tags = {s.tag for s in plant_file.signals}
        return any(c in tags for c in columns) or not tags
    if layout.kind == "lab wide":
        return any(r.column in columns for r in layout.results)
    return True


def _compare_units(words: dict[str, str], layout: Layout, plant_file: PlantFile) -> None:
    """Refuse the file when a unit word means another unit than the plant file says."""
    if layout.kind != "wide":
        return
    for signal in plant_file.signals:
        word = words.get(signal.tag, "")
        if word.lower() in _WORDLESS or signal.scaling is not None or signal.meaning.kind == "state":
            continue
        try:
            found = units.unit(word).name
        except KeyError:
            found = word
        if found != units.unit(signal.unit).name:
            raise FileRefusedError(
                "unit row disagrees with plant file", f"column {signal.tag!r} is in {word!r} here; the plant file says {signal.unit!r}"
            )
