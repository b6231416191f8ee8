"""One builder of small plant files for tests: a plant of one belt press, any part of it replaced.

A test states what matters to it (signals, layouts, a zone) and takes the rest from here: as a plant file, as its text, or as
the home of a plant.
"""

from __future__ import annotations

from datetime import date, time
from pathlib import Path
from typing import Any

from pipelines.base.home import Home
from pipelines.plant.model import PlantFile

LINE: dict[str, Any] = {
    "id": "line-1", "name": "L", "device": "belt press", "pump": {"id": "P-1", "kind": "rotodynamic"}, "feed_cutoff": "5 m3/h",
    "polymer_cutoff": "2 L/h", "polymer_meter": "neat", "reference_flow": "90 m3/h", "dilution_counted": "none",
}  # fmt: skip
US: dict[str, Any] = {"feed_cutoff": "20 gpm", "polymer_cutoff": "1 gph", "reference_flow": "400 gpm"}  # of a line
FLOW: dict[str, Any] = {"role": "sludge_flow", "tag": "FT", "unit": "m3/h", "range": [0, 100]}
GPM: dict[str, Any] = FLOW | {"unit": "gpm", "range": [0, 400]}
SPEED: dict[str, Any] = {"role": "pump_speed", "tag": "ST", "unit": "rpm", "range": [0, 1800]}
RUN: dict[str, Any] = {"role": "pump_run", "tag": "YI", "unit": "state"}
WIDE: dict[str, Any] = {"id": "w", "kind": "wide", "files": "*", "time_column": "t"}
LONG: dict[str, Any] = {"id": "long", "kind": "long", "files": "*", "time_column": "t", "tag_column": "tag", "value_column": "v"}
DAY_AND_NIGHT = [{"name": "day", "start": "06:00:00", "end": "18:00:00"}, {"name": "night", "start": "18:00:00", "end": "06:00:00"}]
EMULSION: dict[str, Any] = {
    "lines": ["line-1"], "product": "emulsion", "form": "emulsion", "density": "1 kg/L", "active_fraction": 0.4, "since": date(2026, 1, 1),
}  # fmt: skip


def tables(
    *signals: dict[str, Any],
    lines: tuple[str, ...] = ("line-1",),
    line: dict[str, Any] | None = None,
    layouts: tuple[dict[str, Any], ...] = (WIDE,),
    blocks: dict[str, Any] | None = None,
    **of_plant: Any,
) -> dict[str, Any]:
    """Return the content of a plant file: signals of the first line unless they name another, `line` changes every line, `blocks` adds blocks.

    `of_plant` changes keys of [plant]; default zone America/New_York, SI units. Without signals there is a run bit.
    """
    every_line = LINE | (line or {})
    return {
        "plant": {"id": "p", "name": "P", "time_zone": "America/New_York", "units": "SI"} | of_plant,
        "lines": [every_line | {"id": name} for name in lines],
        "signals": [{"line": lines[0]} | signal for signal in signals or (RUN,)],
        "layouts": list(layouts),
        **(blocks or {}),
    }


def plant_file(*signals: dict[str, Any], **parts: Any) -> PlantFile:
    """Return the plant file of `tables`."""
    return PlantFile.model_validate(tables(*signals, **parts))


def plant_toml(*signals: dict[str, Any], **parts: Any) -> str:
    """Return the text of the plant file of `tables`; a further block may be appended to it."""
    return toml_of(tables(*signals, **parts))


def toml_of(content: dict[str, Any]) -> str:
    """Return the content of a plant file as text."""
    out = []
    for name, block in content.items():
        for one in block if isinstance(block, list | tuple) else [block]:
            header = f"[[{name}]]" if isinstance(block, list | tuple) else f"[{name}]"
            out.append("\n".join([header, *(f"{key} = {_toml(value)}" for key, value in one.items())]) + "\n")
    return "\n".join(out)


def home_of(root: Path, text: str, plant: str = "p") -> Home:
    """Return the home of one plant with this plant file and an empty inbox."""
    home = Home(root)
    home.plant_file(plant).parent.mkdir(parents=True, exist_ok=True)
    home.inbox(plant).mkdir(parents=True, exist_ok=True)
    home.plant_file(plant).write_text(text, encoding="utf-8")
    return home


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time):
        return value.isoformat()
    return repr(value) if isinstance(value, int | float) else '"' + str(value).replace("\\", "\\\\").replace('"', '\\"') + '"'
