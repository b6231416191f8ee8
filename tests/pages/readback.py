"""Values read back from a drawn figure: markers by their group, placed on the scale that the figure's own tick labels give."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass

_SVG, _HREF = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"


@dataclass(frozen=True)
class Scale:
    """A straight scale through two labelled ticks."""

    at: float
    value: float
    per_unit: float

    def of(self, place: float) -> float:
        return self.value + (place - self.at) * self.per_unit


def _number(text: str) -> float:
    return float(text.replace("−", "-").replace(",", ".") if "." not in text else text.replace(",", ""))


def _ticks(axes: ET.Element, axis: str) -> list[tuple[float, str]]:
    """Return place and label of each tick of an axis ("x" or "y")."""
    found = []
    for group in axes.iter(f"{_SVG}g"):
        if group.get("id", "").startswith(f"{axis}tick_"):
            mark, label = next(iter(group.iter(f"{_SVG}use")), None), next(iter(group.iter(f"{_SVG}text")), None)
            if mark is not None and label is not None and label.text:
                found.append((float(mark.get(axis, "nan")), label.text))
    return found


def scale(axes: ET.Element, axis: str, of_label: dict[str, float] | None = None) -> Scale:
    """Return the scale of an axis from its first and last tick; `of_label` gives the value of labels that are no numbers."""
    ticks = [(at, _number(text) if of_label is None else of_label[text]) for at, text in _ticks(axes, axis)]
    (a, low), (b, high) = ticks[0], ticks[-1]
    return Scale(a, low, (high - low) / (b - a))


def all_axes(svg: str) -> list[ET.Element]:
    """Return the axes of a figure, in the order they were drawn."""
    root = ET.fromstring(svg)
    return [g for g in root.iter(f"{_SVG}g") if g.get("id", "").startswith("axes_")]


def markers(axes: ET.Element, group: str) -> list[tuple[float, float]]:
    """Return the places of the markers of a named group."""
    for g in axes.iter(f"{_SVG}g"):
        if g.get("id") == group:
            return [(float(u.get("x", "nan")), float(u.get("y", "nan"))) for u in g.iter(f"{_SVG}use")]
    return []
