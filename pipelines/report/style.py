"""The one style of all figures: typeface, line widths, greys and hatching that survive a grey print. Values come from the pages' own modules."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.figure import Figure
from matplotlib.ticker import Formatter

from pipelines.base import resources

# Fira Sans, version 4.203, SIL Open Font License 1.1 (fonts/OFL.txt): narrow, open letters and figures of one width, drawn for small sizes.
FAMILY = "Fira Sans"
WIDTH_IN = 7.3  # of the page between its margins
LEFT_IN, RIGHT_IN = 0.72, 0.06  # room beside the axes of a figure as wide as the page
INK, MID, LIGHT = "black", "0.4", "0.75"
RC: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "flocledger",  # same bytes for same data
    "font.family": FAMILY,
    "font.size": 8.0,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": False,
    "hatch.linewidth": 0.4,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "lines.solid_capstyle": "butt",
}


def fonts() -> Path:
    """Return the folder of the shipped typeface, for typesetting and figures alike."""
    return resources.folder("pipelines.report") / "fonts"


def register() -> None:
    """Make the typeface known to the plotting library; safe to call again."""
    have = {entry.fname for entry in font_manager.fontManager.ttflist}
    for path in sorted(fonts().glob("*.ttf")):
        if str(path) not in have:
            font_manager.fontManager.addfont(str(path))


def styled() -> Any:
    """Return the context in which every figure is drawn and saved."""
    register()
    return mpl.rc_context(RC)


def sheet(height_in: float, *, width_in: float = WIDTH_IN, left_in: float = LEFT_IN, right_in: float = RIGHT_IN, top_in: float = 0.2, bottom_in: float = 0.24,
          gap: float = 0.16) -> Figure:  # fmt: skip
    """Return a figure with fixed room for its labels [inch], so that the axes of figures below each other line up."""
    figure = Figure(figsize=(width_in, height_in))
    figure.subplots_adjust(
        left=left_in / width_in, right=1 - right_in / width_in, top=1 - top_in / height_in, bottom=bottom_in / height_in, hspace=gap
    )
    return figure


def svg(figure: Figure) -> str:
    """Return a figure as SVG text without date or maker, so that the same data give the same bytes."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def with_intervals(axes: Any, points: Sequence[tuple[float, float, float]], group: str) -> None:
    """Draw points (x, y, half width) as diamonds with their intervals; `group` names the markers in the SVG."""
    places, values, widths = zip(*points, strict=True)
    axes.errorbar(places, values, yerr=widths, fmt="none", ecolor=INK, elinewidth=0.8, capsize=2)
    axes.plot(places, values, color=INK, linewidth=0, marker="D", markersize=3.2, gid=group)


def local_numbers(axis: Any, numeral: Callable[[str], str]) -> None:
    """Write the numbers at an axis in the signs of a language, otherwise as its formatter writes them."""
    axis.set_major_formatter(_Local(axis.get_major_formatter(), numeral))


class _Local(Formatter):
    """Numbers of another formatter in the signs of a language."""

    def __init__(self, plain: Any, numeral: Callable[[str], str]) -> None:
        self._plain, self._numeral = plain, numeral

    def __call__(self, x: float, pos: int | None = None) -> str:
        return self._numeral(str(self._plain(x, pos)))

    def set_locs(self, locs: Any) -> None:
        self._plain.set_locs(locs)
