"""One picture of a line's first days: every signal with its role, tag and unit, lab samples on it, the running state below."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import matplotlib as mpl
import numpy as np
import polars as pl
from matplotlib.dates import ConciseDateFormatter, DayLocator
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pipelines.plant.model import PlantFile
from pipelines.verify.checks import LineData
from schemas.roles import ROLES
from schemas.vocabulary import RUNNING_STATES

_PANEL_IN, _WIDE_IN = 0.75, 11.0  # [inch]
_DOTS = 120  # an inch
_LAB = ("feed", "cake", "filtrate")


def write(data: LineData, plant_file: PlantFile, path: Path) -> Path:
    """Write the picture as PNG and return its path."""
    zone = ZoneInfo(plant_file.plant.time_zone)
    roles = [r for r in ROLES.values() if data.has(r.column)]
    results = [p for p in _LAB if data.results.filter(pl.col("point") == p).height]
    count = len(roles) + len(results) + 1
    with mpl.rc_context({"font.size": 7, "axes.spines.top": False, "axes.spines.right": False}):
        figure = Figure(figsize=(_WIDE_IN, 0.8 + _PANEL_IN * count), layout="constrained")
        panels = figure.subplots(count, 1, sharex=True, squeeze=False)[:, 0]
        times = data.minutes["minute_utc"].dt.convert_time_zone(plant_file.plant.time_zone).dt.replace_time_zone(None).to_numpy()
        for panel, role in zip(panels, roles, strict=False):
            panel.plot(times, data.minutes[role.column].to_numpy(), color="black", linewidth=0.6)
            tags = ", ".join(dict.fromkeys(f"{s.tag} [{s.unit}]" for s in plant_file.signals_of(data.line.id) if s.role == role.name))
            panel.set_title(f"{role.name} [{role.unit}]: {tags}", loc="left", fontsize=7, pad=2)
        for panel, point in zip(panels[len(roles) :], results, strict=False):
            _samples(panel, data, point, plant_file)
        _states(panels[-1], data, times)
        panels[-1].xaxis.set_major_locator(DayLocator())  # type: ignore[no-untyped-call]
        panels[-1].xaxis.set_major_formatter(ConciseDateFormatter(panels[-1].xaxis.get_major_locator()))  # type: ignore[no-untyped-call]
        figure.suptitle(
            f"{plant_file.plant.name}, {data.line.name}: first {data.days} days, times of {zone.key}; advisory only", fontsize=9
        )
        path.parent.mkdir(parents=True, exist_ok=True)
        figure.savefig(path, dpi=_DOTS)
    return path


def _samples(panel: mpl.axes.Axes, data: LineData, point: str, plant_file: PlantFile) -> None:
    """Draw the lab results of a point, each over the span in which its sample can have been taken."""
    rows = data.results.filter(pl.col("point") == point)
    zone = plant_file.plant.time_zone
    local = rows.with_columns(pl.col("from_utc", "to_utc").dt.convert_time_zone(zone).dt.replace_time_zone(None))
    for (analyte,), part in local.group_by("analyte", maintain_order=True):
        panel.hlines(part["value"].to_numpy(), part["from_utc"].to_numpy(), part["to_utc"].to_numpy(), color="grey", linewidth=0.8)
        panel.plot(part["from_utc"].to_numpy(), part["value"].to_numpy(), "o", markersize=3, label=str(analyte))
    panel.legend(loc="upper right", frameon=False, fontsize=6)
    panel.set_title(f"lab, {point}", loc="left", fontsize=7, pad=2)


def _states(panel: mpl.axes.Axes, data: LineData, times: NDArray[np.datetime64]) -> None:
    """Draw the running state of each minute as a step, its words beside the axis: to be read without colour."""
    order = {state: n for n, state in enumerate(RUNNING_STATES)}
    panel.step(
        times, data.minutes["state"].replace_strict(order, return_dtype=pl.Int64).to_numpy(), color="black", linewidth=0.8, where="post"
    )
    panel.set_yticks(range(len(RUNNING_STATES)), RUNNING_STATES, fontsize=5)
    panel.set_title("running state", loc="left", fontsize=7, pad=2)
