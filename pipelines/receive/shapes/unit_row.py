"""Compare the unit row of a wide export with the plant file: a column in another unit refuses the whole file."""

from __future__ import annotations

from collections import defaultdict

from pipelines.files.original import FileRefusedError
from pipelines.plant.model import Layout, PlantFile, Signal
from pipelines.plant.signals import unit_agrees


def compare_units(words: dict[str, str], layout: Layout, plant_file: PlantFile) -> None:
    """Refuse the file when a unit word means another unit than the plant file says (at any date) for that column."""
    if layout.is_lab or not layout.input_kind.has_a_column_a_value:
        return
    declared: dict[str, list[Signal]] = defaultdict(list)
    for signal in plant_file.signals:
        declared[signal.tag.strip()].append(signal)
    for tag, word in words.items():
        signals = [signal for name in layout.tags_of(tag, declared) for signal in declared[name]]
        if not signals or unit_agrees(word, signals):
            continue
        said = " or ".join(dict.fromkeys(repr(s.unit) for s in signals))
        raise FileRefusedError("unit row disagrees with plant file", f"column {tag!r} is in {word!r} here; the plant file says {said}")
