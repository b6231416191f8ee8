"""The figure of a pump condition review as SVG text: the weekly index with its uncertainty, reference, threshold and work on the pump."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pipelines.report import style
from pipelines.report.language import Language
from pipelines.report.weekly.figures import VALUES

_SIZE = 7.5  # of labels [pt]
_MOST_NAMES = 10  # of weeks below the axis
_LOW, _HIGH = 0.85, 1.15  # of the axis, unless an index or the threshold lies outside
_ROOM = 0.03


def index(
    weeks: Sequence[date],
    values: Sequence[float | None],
    widths: Sequence[float],
    threshold: float | None,
    service: Sequence[date],
    t: Language,
) -> str:
    """Draw the index of each week with its expanded uncertainty; weeks without one stay empty, intervals that leave the axis are cut."""
    with style.styled():
        figure = style.sheet(2.3, top_in=0.1, bottom_in=0.3)
        axes = figure.subplots()
        known = [(k, v, w) for k, (v, w) in enumerate(zip(values, widths, strict=True)) if v is not None]
        axes.axhline(1.0, color=style.INK, linewidth=0.7)
        if threshold is not None:
            axes.axhline(threshold, color=style.INK, linewidth=0.9, linestyle=(0, (5, 3)))
        if known:
            style.with_intervals(axes, known, VALUES)
        else:
            axes.annotate(t("chart.no_values"), (0.5, 0.3), xycoords="axes fraction", ha="center", va="center", fontsize=8)
        for n, day in enumerate(service, 1):
            at = (day - weeks[0]).days / 7.0 - 0.5
            if -0.5 <= at <= len(weeks) - 0.5:
                axes.axvline(at, color=style.INK, linewidth=0.8, linestyle=":")
                axes.annotate(str(n), (at, 0.0), (2, 2), xycoords=("data", "axes fraction"), textcoords="offset points", fontsize=6.5)
        levels = [v for _, v, _ in known] + ([] if threshold is None else [threshold])
        axes.set_ylim(min([_LOW, *(v - _ROOM for v in levels)]), max([_HIGH, *(v + _ROOM for v in levels)]))
        axes.set_xlim(-0.5, len(weeks) - 0.5)
        step = -(-len(weeks) // _MOST_NAMES)
        axes.set_xticks(range(len(weeks))[::step], [t.day(d, "tick") for d in weeks[::step]])
        axes.set_ylabel(t("chart.pump_axis"), fontsize=_SIZE)
        axes.grid(axis="y", color="0.88", linewidth=0.5)
        style.local_numbers(axes.yaxis, t.numeral)
        return style.svg(figure)
