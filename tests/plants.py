"""One builder of small plant files for tests: a plant of one belt press, any part of it replaced.

A test states what matters to it (signals, layouts, a zone) and takes the rest from here.
"""

from __future__ import annotations

from typing import Any

from pipelines.plant.model import PlantFile

LINE: dict[str, Any] = {
    "id": "line-1", "name": "L", "device": "belt press", "pump": {"id": "P-1", "kind": "rotodynamic"}, "feed_cutoff": "5 m3/h",
    "polymer_cutoff": "2 L/h", "polymer_meter": "neat", "reference_flow": "90 m3/h", "dilution_counted": "none",
}  # fmt: skip
RUN: dict[str, Any] = {"role": "pump_run", "tag": "YI", "unit": "state"}
WIDE: dict[str, Any] = {"id": "w", "kind": "wide", "files": "*", "time_column": "t"}


def plant_file(
    *signals: dict[str, Any],
    lines: tuple[str, ...] = ("line-1",),
    line: dict[str, Any] | None = None,
    layouts: tuple[dict[str, Any], ...] = (WIDE,),
    blocks: dict[str, Any] | None = None,
    **of_plant: Any,
) -> PlantFile:
    """Return a plant file: signals of the first line unless they name another, `line` changes every line, `blocks` adds blocks.

    `of_plant` changes keys of [plant]; default zone America/New_York, SI units. Without signals there is a run bit.
    """
    every_line = LINE | (line or {})
    return PlantFile.model_validate(
        {
            "plant": {"id": "p", "name": "P", "time_zone": "America/New_York", "units": "SI"} | of_plant,
            "lines": [every_line | {"id": name} for name in lines],
            "signals": [{"line": lines[0]} | signal for signal in signals or (RUN,)],
            "layouts": list(layouts),
            **(blocks or {}),
        }
    )
