"""The figures of a weekly page as SVG text: black, grey and hatching only, gaps drawn as gaps, real text for the reader's search.

Values are in printed units; texts come ready in the plant's language.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING

from matplotlib.ticker import MaxNLocator

from pipelines.report import style
from pipelines.report.language import Language

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# State -> (fill, hatch); readable in a black-and-white print.
STATE_LOOKS = {
    "processing": ("0.15", ""),
    "start-up": ("0.55", ""),
    "idle running": ("white", "////"),
    "shutdown": ("white", "..."),
    "stopped": ("0.93", ""),
    "unknown": ("white", "xxx"),
}
WEEK = 7  # days
HALF_IN = 3.58  # width of one of two figures side by side
_LEGEND_SIZE, _AXIS_SIZE, _MARK_SIZE = 7.0, 7.5, 6.5
_LETTERS_A_DAY = 2.0  # of an arm's name that the axis has room for
_MOST_WEEK_NAMES = 3  # below the axis of a small figure
_PUMP_AXIS, _PUMP_ROOM = (0.8, 1.2), 0.05  # of the pump index, and the room above and below one outside it
VALUES, OTHERS = "values", "others"  # names of the groups of markers in the SVG, by which values are found again
_MOST_TICKS = 4  # between the ends of a value axis of days
_ARM_NAME_DAYS = 5  # an arm shorter than this bears its letter only


@dataclass(frozen=True)
class Arm:
    """A spell of one arrangement on the axis of days: first and last index, and its name."""

    first: int
    last: int
    name: str
    is_shaded: bool


@dataclass(frozen=True)
class Backdrop:
    """What stands behind the values of a figure of days."""

    days: list[date]
    levels: tuple[float, ...] = ()  # targets
    band: tuple[float, float] | None = None  # of the baseline
    arms: tuple[Arm, ...] = ()
    events: tuple[date, ...] = ()
    lots: tuple[date, ...] = ()
    most: float = math.inf  # the axis never ends higher, unless a value does
    texts: dict[str, str] = field(default_factory=dict)


def dose(behind: Backdrop, daily: list[float | None], rolling: list[float | None], label: str, t: Language, height_in: float = 1.75) -> str:
    """Draw the daily dose as points and the rolling 7-day dose as a line that no event or change of arm is drawn through."""
    with style.styled():
        figure = style.sheet(height_in, top_in=0.36 if behind.arms else 0.22)
        axes = figure.subplots()
        _behind(axes, behind, t)
        axes.plot(*_broken(rolling, behind), color=style.MID, linewidth=1.5, label=t("chart.rolling"))
        axes.plot(
            range(len(daily)),
            _gaps(daily),
            color=style.INK,
            linewidth=0,
            marker="o",
            markersize=3.2,
            clip_on=False,
            gid=VALUES,
            label=t("chart.operating_day"),
        )
        _scale(axes, [*daily, *rolling], behind, t)
        _finish(axes, behind, label, t)
        return style.svg(figure)


def product(
    cake_behind: Backdrop, samples: list[tuple[float, float]], capture_behind: Backdrop, capture: list[float | None], t: Language
) -> str:
    """Draw cake samples (position in days, value) and the capture of each day, one under the other."""
    with style.styled():
        figure = style.sheet(2.25, top_in=0.36 if cake_behind.arms else 0.22, gap=0.3 if cake_behind.arms else 0.2)
        above, below = figure.subplots(2, 1, sharex=True)
        _behind(above, cake_behind, t)
        _behind(below, capture_behind, t)
        above.plot(
            [x for x, _ in samples], [y for _, y in samples], color=style.INK, linewidth=0, marker="o", markersize=2.8, markerfacecolor="white",
            markeredgewidth=0.8, clip_on=False, gid=VALUES, label=t("chart.sample"),
        )  # fmt: skip
        below.plot(
            range(len(capture)), _gaps(capture), color=style.INK, linewidth=0, marker="s", markersize=3, clip_on=False, gid=OTHERS, label=""
        )
        _scale(above, [y for _, y in samples], cake_behind, t)
        _scale(below, capture, capture_behind, t)
        _finish(above, cake_behind, t("chart.cake_axis"), t)
        _finish(below, capture_behind, t("chart.capture_axis"), t, legend=False)
        return style.svg(figure)


def cloud(
    week: list[tuple[float, float]], base: list[tuple[float, float]], labels: tuple[str, str], names: tuple[str, str], t: Language,
    *, at: float | None = None, from_zero: bool = False, width_in: float = HALF_IN,
) -> str:  # fmt: skip
    """Draw pairs of the week over pairs of the baseline; `labels` of x and y, `names` of week and baseline, `at` a reference on x."""
    with style.styled():
        figure = style.sheet(2.0, width_in=width_in, left_in=0.55, top_in=0.34, bottom_in=0.4)
        axes = figure.subplots()
        looks: tuple[tuple[list[tuple[float, float]], str, str, str], ...] = (
            (base, names[1], "0.6", "x"),
            (week, names[0], style.INK, "o"),
        )
        for pairs, name, colour, marker in looks:
            if pairs:
                shown = f"{name} ({t('shown_of', n=len(pairs))})"
                axes.plot(
                    [x for x, _ in pairs],
                    [y for _, y in pairs],
                    linewidth=0,
                    color=colour,
                    marker=marker,
                    markersize=3.4,
                    gid=VALUES if pairs is week else OTHERS,
                    label=shown,
                )
        if at is not None:
            axes.axvline(at, color="black", linewidth=0.8, linestyle=":")
        if not week and not base:
            axes.annotate(t("chart.no_values"), (0.5, 0.5), xycoords="axes fraction", ha="center", va="center", fontsize=8)
        if from_zero:
            values = [y for _, y in [*week, *base]]
            axes.set_ylim(min([0.0, *values]), 1.08 * max([1e-9, *values]))
        axes.set_xlabel(labels[0], fontsize=_AXIS_SIZE)
        axes.set_ylabel(labels[1], fontsize=_AXIS_SIZE)
        axes.grid(color="0.88", linewidth=0.5)
        _local(axes, t)
        _legend(axes, columns=1)
        return style.svg(figure)


def pump(
    weeks: list[str], values: list[float | None], spread: list[float | None], label: str, t: Language, *, width_in: float = HALF_IN
) -> str:
    """Draw the index of the pump week by week with its expanded uncertainty; weeks without one stay empty."""
    with style.styled():
        figure = style.sheet(2.0, width_in=width_in, left_in=0.55, top_in=0.34, bottom_in=0.4)
        axes = figure.subplots()
        known = [(k, v, s or 0.0) for k, (v, s) in enumerate(zip(values, spread, strict=True)) if v is not None]
        axes.axhline(1.0, color="black", linewidth=0.8, linestyle=(0, (5, 3)))
        if known:
            style.with_intervals(axes, known, VALUES)
        else:
            axes.annotate(t("chart.no_values"), (0.5, 0.5), xycoords="axes fraction", ha="center", va="center", fontsize=8)
        _pump_scale(axes, [v for _, v, _ in known])
        axes.set_xlim(-0.5, len(weeks) - 0.5)
        step = max(1, math.ceil(len(weeks) / _MOST_WEEK_NAMES))
        axes.set_xticks(range(len(weeks))[::step], weeks[::step])
        axes.set_ylabel(label, fontsize=_AXIS_SIZE)
        axes.grid(axis="y", color="0.88", linewidth=0.5)
        _local(axes, t, x=False)
        return style.svg(figure)


def _pump_scale(axes: Axes, values: Sequence[float]) -> None:
    """Scale the axis of the index alike for every week and pump; only an index outside widens it, an interval that leaves it is cut."""
    low, high = _PUMP_AXIS
    axes.set_ylim(min([low, *(v - _PUMP_ROOM for v in values)]), max([high, *(v + _PUMP_ROOM for v in values)]))


def strip(days: list[date], states: list[tuple[int, float, float, str]], start_h: float, t: Language) -> str:
    """Draw the running states of a week: (row of the day, from, length [h since the operating day began], state)."""
    with style.styled():
        figure = style.sheet(1.35, top_in=0.2, bottom_in=0.24)
        axes = figure.subplots()
        seen = set()
        for name, (fill, hatch) in STATE_LOOKS.items():
            for row in range(len(days)):
                bars = [(a, length) for r, a, length, state in states if r == row and state == name]
                if bars:
                    label = "" if name in seen else t(f"state.{name}")
                    seen.add(name)
                    axes.broken_barh(bars, (row - 0.36, 0.72), facecolor=fill, hatch=hatch, edgecolor="0.2", linewidth=0.25, label=label)
        axes.set_ylim(len(days) - 0.4, -0.6)
        axes.set_yticks(range(len(days)), [t.day(d) for d in days])
        longest = max([24.0, *(a + length for _, a, length, _ in states)])
        axes.set_xlim(0, longest)
        ticks = range(0, math.ceil(longest), 3)
        axes.set_xticks(list(ticks), [_clock(start_h + x) for x in ticks])
        axes.tick_params(axis="y", length=0)
        if seen:
            _legend(axes, columns=len(STATE_LOOKS))
        return style.svg(figure)


def _clock(hours: float) -> str:
    minutes = round(hours * 60) % (24 * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _gaps(values: Sequence[float | None]) -> list[float]:
    return [float("nan") if v is None else v for v in values]


def _broken(values: Sequence[float | None], behind: Backdrop) -> tuple[list[float], list[float]]:
    """Return positions and values of a line that no event and no change of arrangement is drawn through."""
    breaks = {(day - behind.days[0]).days - 0.5 for day in behind.events} | {arm.first - 0.5 for arm in behind.arms}
    points = [*enumerate(_gaps(values)), *((at, float("nan")) for at in breaks)]
    points.sort(key=lambda point: point[0])
    return [x for x, _ in points], [y for _, y in points]


def _behind(axes: Axes, behind: Backdrop, t: Language) -> None:
    """Shade every second arm, hatch the baseline band, dash the targets, mark events, lots and the reported week."""
    count = len(behind.days)
    for arm in behind.arms:
        if arm.is_shaded:
            axes.axvspan(arm.first - 0.5, arm.last + 0.5, color="0.9", linewidth=0, zorder=0)
        if arm.last - arm.first + 1 >= _ARM_NAME_DAYS:
            name = arm_name(arm)
            axes.annotate(name, ((arm.first + arm.last) / 2, 1.0), (0, 2), xycoords=("data", "axes fraction"), textcoords="offset points", ha="center",
                          fontsize=_MARK_SIZE, style="italic")  # fmt: skip
    if behind.band is not None:
        axes.axhspan(*behind.band, facecolor="none", edgecolor="0.7", hatch="////", linewidth=0, zorder=0.5, label=t("chart.baseline_band"))
    for level in behind.levels:
        axes.axhline(level, color="black", linewidth=0.9, linestyle=(0, (5, 3)), label=t("chart.target"))
    for k, day in enumerate(behind.events, 1):
        at = (day - behind.days[0]).days - 0.5
        axes.axvline(at, color="black", linewidth=0.8, linestyle=":")
        axes.annotate(str(k), (at, 0.0), (2, 2), xycoords=("data", "axes fraction"), textcoords="offset points", fontsize=_MARK_SIZE)
    for day in behind.lots:
        axes.plot(
            [(day - behind.days[0]).days - 0.5],
            [0.0],
            transform=axes.get_xaxis_transform(),
            marker="^",
            color="black",
            markersize=5,
            clip_on=False,
        )
    # The reported week: a thick line below its days.
    axes.plot([count - WEEK - 0.5, count - 0.5], [0, 0], transform=axes.get_xaxis_transform(), color="black", linewidth=2.6, clip_on=False,
              solid_capstyle="butt", zorder=5, label=t("this_week"))  # fmt: skip


def arm_name(arm: Arm) -> str:
    """Return the name of an arm as far as its spell has room: whole, up to its first comma, or cut."""
    room = int(_LETTERS_A_DAY * (arm.last - arm.first + 1))
    short = arm.name if len(arm.name) <= room else arm.name.split(",")[0]
    return short if len(short) <= room else f"{short[: room - 1]}…"


def _scale(axes: Axes, values: Sequence[float | None], behind: Backdrop, t: Language) -> None:
    """Round targets and band by their own width on both sides, so that weeks compare by eye; wider only when a value is."""
    known = [float(v) for v in values if v is not None]
    levels = [*behind.levels, *(behind.band or ())] or known
    if levels:
        width = max(max(levels) - min(levels), 0.1 * abs(max(levels)), 1e-6)
        top = max([max(levels) + width, *known]) + 0.05 * width
        bottom = min([min(levels) - width, *known]) - 0.05 * width
        axes.set_ylim(max(bottom, 0.0) if min(known, default=0.0) >= 0 else bottom, min(top, max([behind.most, *known])))
    if not known:
        axes.annotate(t("chart.no_values"), (0.5, 0.5), xycoords="axes fraction", ha="center", va="center", fontsize=8)


def _finish(axes: Axes, behind: Backdrop, label: str, t: Language, *, legend: bool = True) -> None:
    days = behind.days
    ticks = [i for i in range(len(days)) if (len(days) - i) % WEEK == 0]
    axes.set_xticks(ticks, [t.day(days[i], "tick") for i in ticks])
    axes.set_xlim(-0.5, len(days) - 0.5)
    axes.set_ylabel(label, fontsize=_AXIS_SIZE)
    axes.yaxis.set_major_locator(MaxNLocator(nbins=_MOST_TICKS, steps=[1, 2, 5, 10], min_n_ticks=3))
    axes.grid(axis="y", color="0.88", linewidth=0.5)
    axes.set_axisbelow(True)
    _local(axes, t, x=False)
    if legend:
        _legend(axes, above_pt=9.0 if behind.arms else 0.0)


def _local(axes: Axes, t: Language, *, x: bool = True) -> None:
    """Write the numbers at the axes in the signs of the language."""
    for axis in (axes.xaxis, axes.yaxis) if x else (axes.yaxis,):
        style.local_numbers(axis, t.numeral)


def _legend(axes: Axes, *, columns: int = 5, above_pt: float = 0.0) -> None:
    handles, labels = axes.get_legend_handles_labels()
    once = {label: handle for label, handle in zip(labels, handles, strict=True) if label}
    height_pt = axes.get_window_extent().height / axes.figure.dpi * 72.0
    if once:
        axes.legend(
            once.values(), once.keys(), loc="lower left", bbox_to_anchor=(0, 1.0 + above_pt / height_pt), ncols=columns, frameon=False,
            fontsize=_LEGEND_SIZE, handlelength=1.8, borderaxespad=0.1, columnspacing=1.4,
        )  # fmt: skip


def position(at: datetime, first_start: datetime) -> float:
    """Return a time as a place on the axis of days, where day 0 begins at `first_start` and is drawn from -0.5 to 0.5."""
    return (at - first_start).total_seconds() / 86400.0 - 0.5


# The trend of a row of the six: so wide and high [SVG units].
TREND_WIDTH, TREND_HEIGHT = 96.0, 20.0


def trend(values: Sequence[float | None], band: tuple[float, float] | None) -> str | None:
    """Return a small line of the last weeks over the baseline band, its last point filled; gaps stay gaps. None without two values."""
    known = [v for v in values if v is not None]
    if len(known) < 2:
        return None
    low, high = min([*known, *(band or ())]), max([*known, *(band or ())])
    width = max(high - low, 0.02 * abs(high), 1e-9)

    def at(k: int, v: float) -> tuple[float, float]:
        middle = (low + high) / 2
        return 4.0 + (TREND_WIDTH - 8.0) * k / (len(values) - 1), TREND_HEIGHT / 2 - (TREND_HEIGHT - 6.0) * (v - middle) / width

    parts = []
    if band is not None:
        top, bottom = at(0, band[1])[1], at(0, band[0])[1]
        parts.append(f'<rect x="0" y="{top:.2f}" width="{TREND_WIDTH}" height="{max(bottom - top, 0.6):.2f}" fill="#dddddd"/>')
    pairs = [(k, v) for k, v in enumerate(values) if v is not None]
    for (k, v), (j, w) in itertools.pairwise(pairs):
        if j == k + 1:
            (x1, y1), (x2, y2) = at(k, v), at(j, w)
            parts.append(f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="black" stroke-width="1"/>')
    for k, v in pairs:
        x, y = at(k, v)
        is_last = k == len(values) - 1
        parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{2.6 if is_last else 1.0}" fill="black"/>')
    body = "".join(parts)
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{TREND_WIDTH}" height="{TREND_HEIGHT}" viewBox="0 0 {TREND_WIDTH} {TREND_HEIGHT}">{body}</svg>'
