"""Faults of whole files: late, doubled, overlapping, re-sent, columns or units changed, words among numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from sample_data.exports import File
from sample_data.faults import Fault
from sample_data.scenario import PlantScenario

LATE_DAYS = 9
_PREFIX = {"alder-fork": "ALDER_SCADA", "sorrel-draw": "sorrel_log", "brenholm": "brenholm_15min"}
_ABOVE = {"alder-fork": 5, "sorrel-draw": 1, "brenholm": 2}  # lines above the data
_DELIMITER = {"alder-fork": ",", "sorrel-draw": ",", "brenholm": ";"}
_ENCODING = {"alder-fork": "utf-8", "sorrel-draw": "utf-8", "brenholm": "latin-1"}


def apply(script: list[Fault], files: list[File], plant: PlantScenario) -> list[File]:
    """Return the exports as they are delivered with the file faults of a script."""
    for fault in script:
        act = _ACTS.get(fault.kind)
        if act is not None:
            name = f"{_PREFIX[plant.plant]}_{fault.file_day:%Y%m%d}.csv"
            at = next(i for i, f in enumerate(files) if f.name == name)
            files = [*files[:at], *act(files, at, plant.plant), *files[at + 1 :]]
    return files


def _late(files: list[File], at: int, plant: str) -> list[File]:
    del plant
    return [replace(files[at], lands_local=files[at].lands_local + timedelta(days=LATE_DAYS))]


def _doubled(files: list[File], at: int, plant: str) -> list[File]:
    del plant
    return [files[at], replace(files[at], folder="again", lands_local=files[at].lands_local + timedelta(days=1))]


def _resent(files: list[File], at: int, plant: str) -> list[File]:
    """The first version has a wrong number in the first column of the rows around noon."""
    rows, above = _rows(files[at], plant), _ABOVE[plant]
    size = sum(1 for r in rows[above:] if r[:1].isdigit())
    for i in range(above + size // 2, above + size // 2 + max(4, size // 36)):
        _set_cell(rows, i, 1, "1.5", plant)
    right = replace(files[at], folder="resent", lands_local=files[at].lands_local + timedelta(days=2))
    return [_written(files[at], rows, plant), right]


def _overlapping(files: list[File], at: int, plant: str) -> list[File]:
    rows, above = _rows(files[at], plant), _ABOVE[plant]
    before = [r for r in _rows(files[at - 1], plant)[above:] if r[:1].isdigit()][-240:]
    return [_written(files[at], [*rows[:above], *before, *rows[above:]], plant)]


def _reordered(files: list[File], at: int, plant: str) -> list[File]:
    mark = _DELIMITER[plant]
    cells = [r.split(mark) for r in _rows(files[at], plant)]
    width = max(len(c) for c in cells)
    return [_written(files[at], [mark.join([c[0], *reversed(c[1:])]) if len(c) == width else mark.join(c) for c in cells], plant)]


def _other_unit(files: list[File], at: int, plant: str) -> list[File]:
    rows, above, mark = _rows(files[at], plant), _ABOVE[plant], _DELIMITER[plant]
    rows[above - 1] = mark.join("kPa" if cell in ("psi", "bar") else cell for cell in rows[above - 1].split(mark))
    return [_written(files[at], rows, plant)]


def _words(files: list[File], at: int, plant: str) -> list[File]:
    rows = _rows(files[at], plant)
    for i in range(_ABOVE[plant] + 600, _ABOVE[plant] + 620):
        _set_cell(rows, i, 1, "I/O timeout", plant)
    return [_written(files[at], rows, plant)]


def _points(files: list[File], at: int, plant: str) -> list[File]:
    return [_written(files[at], [r.replace(",", ".") for r in _rows(files[at], plant)], plant)]


def _rows(file: File, plant: str) -> list[str]:
    return file.content.decode(_ENCODING[plant]).split("\n")


def _written(file: File, rows: list[str], plant: str) -> File:
    return replace(file, content="\n".join(rows).encode(_ENCODING[plant]))


def _set_cell(rows: list[str], row: int, column: int, text: str, plant: str) -> None:
    cells = rows[row].split(_DELIMITER[plant])
    cells[column] = text.replace(".", ",") if plant == "brenholm" else text
    rows[row] = _DELIMITER[plant].join(cells)


_ACTS: dict[str, Callable[[list[File], int, str], list[File]]] = {
    "late file": _late, "duplicate file": _doubled, "file re-sent with changes": _resent, "overlapping file": _overlapping,
    "columns in another order": _reordered, "unit row changed": _other_unit, "text in number": _words, "decimal point file": _points,
}  # fmt: skip
