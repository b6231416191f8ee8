"""The charts of a weekly page as SVG text: black, grey and hatching only, gaps drawn as gaps, real text for the reader's search."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from pipelines.report import style
from pipelines.report.words import Limits, Printed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# State -> (fill, hatch); readable in a black-and-white print.
STATE_LOOKS = {
    "processing": ("0.15", ""),
    "start-up": ("0.55", ""),
    "idle running": ("white", "////"),
    "shutdown": ("white", "..."),
    "stopped": ("0.93", ""),
    "unknown": ("white", "xxx"),
}
# The value axis of a chart with limits reaches so far past the highest limit, the same from week to week.
_HEADROOM = 1.5
# The word "event" and a number are so many days of the axis wide; nearer to another mark or the end the number stands alone.
_EVENT_DAYS = 5
_MARK_ROW_IN = 0.1  # room for the numbers of events between the axes and the legend [inch]


@dataclass(frozen=True)
class Mark:
    """An event on the time axis."""

    day: date
    number: int


# Room round the axes [inch], the same in every chart so that their time axes stand under each other.
_TOP_IN, _BOTTOM_IN = 0.2, 0.22


def _sheet(height_in: float, *, bottom_in: float = _BOTTOM_IN, marks: bool = False) -> Figure:
    """Return a figure with fixed room for labels; higher by the numbers of events, if there are `marks`."""
    extra = _MARK_ROW_IN * marks
    return style.sheet(height_in + extra, top_in=_TOP_IN + extra, bottom_in=bottom_in)


def dose(
    days: list[date], daily: list[float | None], rolling: list[float | None], printed: Printed, limits: Limits, week: int, marks: list[Mark]
) -> str:
    """Draw the daily dose as points and the rolling 7-day dose as a line; values in the printed unit, `week` days shaded."""
    with style.styled():
        figure = _sheet(1.4, marks=bool(marks))
        axes = figure.subplots()
        _backdrop(axes, len(days), week, printed, limits, marks, days)
        axes.plot(*_broken(rolling, days, marks), color="0.4", linewidth=1.6, marker=".", markersize=2, label="rolling 7 days")
        axes.plot(
            range(len(days)), _gaps(daily), color="black", linewidth=0, marker="o", markersize=3.2, clip_on=False, label="operating day"
        )
        _scale_round(axes, [*daily, *rolling], (printed, limits))
        _finish(axes, days, printed.unit, marks=bool(marks))
        return style.svg(figure)


def product(
    days: list[date], cake: list[tuple[float, float]], cake_of: tuple[Printed, Limits], capture: list[float | None], capture_of: tuple[Printed, Limits],
    week: int,
) -> str:  # fmt: skip
    """Draw cake samples (position in days, value) and the capture of each day, one under the other."""
    with style.styled():
        figure = _sheet(1.95)
        above, below = figure.subplots(2, 1, sharex=True)
        for axes, (printed, limits) in ((above, cake_of), (below, capture_of)):
            _backdrop(axes, len(days), week, printed, limits, [], days)
        above.plot(
            [x for x, _ in cake],
            [y for _, y in cake],
            color="black",
            linewidth=0,
            marker="o",
            markersize=2.8,
            markerfacecolor="white",
            markeredgewidth=0.8,
            clip_on=False,
            label="sample",
        )
        below.plot(
            range(len(days)), _gaps(capture), color="black", linewidth=0, marker="s", markersize=3, clip_on=False, label="operating day"
        )
        _scale_round(above, [y for _, y in cake], cake_of)
        _scale_round(below, capture, capture_of)
        _finish(above, days, "cake, % TS")
        _finish(below, days, "capture, %\nof the day", legend=False)
        above.set_xlabel("")
        return style.svg(figure)


def mixing(days: list[date], daily: list[float | None], printed: Printed, limits: Limits, week: int, marks: list[Mark]) -> str:
    """Draw the mixing pressure drop at reference flow of each day; days without one stay empty."""
    with style.styled():
        figure = _sheet(1.0, marks=bool(marks))
        axes = figure.subplots()
        _backdrop(axes, len(days), week, printed, limits, marks, days)
        axes.plot(*_broken(daily, days, marks), color="black", linewidth=0.5)
        axes.plot(
            range(len(days)), _gaps(daily), color="black", linewidth=0, marker="D", markersize=2.8, clip_on=False, label="operating day"
        )
        _scale_from_zero(axes, daily, printed, limits)
        _finish(axes, days, printed.unit, marks=bool(marks))
        return style.svg(figure)


def strip(days: list[date], states: list[tuple[int, float, float, str]], start_h: float) -> str:
    """Draw the running states of a week: (row of the day, from, length [h since the operating day began], state)."""
    with style.styled():
        figure = _sheet(1.4, bottom_in=0.36)
        axes = figure.subplots()
        seen = set()
        for name, (fill, hatch) in STATE_LOOKS.items():
            for row in range(len(days)):
                bars = [(a, length) for r, a, length, state in states if r == row and state == name]
                if bars:
                    label = None if name in seen else name
                    seen.add(name)
                    axes.broken_barh(bars, (row - 0.36, 0.72), facecolor=fill, hatch=hatch, edgecolor="0.2", linewidth=0.25, label=label)
        axes.set_ylim(len(days) - 0.4, -0.6)
        axes.set_yticks(range(len(days)), [f"{d:%a} {d.day} {d:%b}" for d in days])
        longest = max([24.0, *(a + length for _, a, length, _ in states)])
        axes.set_xlim(0, longest)
        ticks = range(0, math.ceil(longest), 3)
        axes.set_xticks(list(ticks), [_clock(start_h + t) for t in ticks])
        axes.set_xlabel("plant time at the start of the operating day, then hours on", fontsize=7)
        axes.tick_params(axis="y", length=0)
        if seen:
            axes.legend(
                loc="lower left",
                bbox_to_anchor=(0, 1.0),
                ncols=len(STATE_LOOKS),
                frameon=False,
                fontsize=7,
                handlelength=1.6,
                borderaxespad=0.1,
            )
        return style.svg(figure)


def _clock(hours: float) -> str:
    minutes = round(hours * 60) % (24 * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _gaps(values: list[float | None]) -> list[float]:
    return [float("nan") if v is None else v for v in values]


def _broken(values: list[float | None], days: list[date], marks: list[Mark]) -> tuple[list[float], list[float]]:
    """Return positions and values of a line that no event is drawn through."""
    points = [*enumerate(_gaps(values)), *((at, float("nan")) for at in {(m.day - days[0]).days - 0.5 for m in marks})]
    points.sort(key=lambda point: point[0])
    return [x for x, _ in points], [y for _, y in points]


def _backdrop(axes: Axes, count: int, week: int, printed: Printed, limits: Limits, marks: list[Mark], days: list[date]) -> None:
    """Shade the reported week, hatch the usual range, dash the target, mark events."""
    axes.axvspan(count - week - 0.5, count - 0.5, color="0.93", linewidth=0, zorder=0)
    if limits.usual is not None:
        low, high = (x * printed.factor for x in limits.usual)
        axes.axhspan(low, high, facecolor="none", edgecolor="0.75", hatch="////", linewidth=0, zorder=0.5, label="usual range")
    for level in (limits.at_least, limits.at_most):
        if level is not None:
            axes.axhline(level * printed.factor, color="black", linewidth=0.8, linestyle=(0, (5, 3)), label="target")
    places = [(mark.day - days[0]).days for mark in marks]
    for k, (at, mark) in enumerate(zip(places, marks, strict=True)):
        near = min([count + _EVENT_DAYS / 2 - at, *(abs(at - other) for j, other in enumerate(places) if j != k)])
        label, size = (f"event {mark.number}", 7.0) if near >= _EVENT_DAYS else (str(mark.number), 5.5 if near < 2 else 7.0)
        axes.axvline(at - 0.5, color="black", linewidth=0.8, linestyle=":")
        axes.annotate(
            label, (at - 0.5, 1.0), (0, 1), xycoords=("data", "axes fraction"), textcoords="offset points", ha="center", fontsize=size
        )


def _levels(printed: Printed, limits: Limits) -> list[float]:
    found = [limits.at_least, limits.at_most, *(limits.usual or ())]
    return [x * printed.factor for x in found if x is not None]


def _scale_from_zero(axes: Axes, values: list[float | None], printed: Printed, limits: Limits) -> None:
    """From zero to a top that the limits set, so that weeks compare by eye; higher, or below zero, only when a value is."""
    known = [v for v in values if v is not None]
    levels = _levels(printed, limits)
    top = max([_HEADROOM * max(levels) if levels else 0.0, *(1.05 * v for v in known)])
    axes.set_ylim(min([0.0, *(1.05 * v for v in known)]), _round_up(top) if top > 0 else 1.0)
    _say_when_empty(axes, known)


def _round_up(value: float) -> float:
    """Return the next of 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10 times a power of ten, so that the axis seldom changes between weeks."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if step * power >= value * (1 - 1e-12))


def _scale_round(axes: Axes, values: list[Any], of: tuple[Printed, Limits]) -> None:
    """Round the limits by their own width on both sides, so that weeks compare by eye; wider only when a value is.

    Points, not bars: the axis need not begin at zero. Without limits the values stand in for them. No percentage goes past 100.
    """
    known = [float(v) for v in values if v is not None]
    levels = _levels(*of) or known
    if levels:
        width = max(max(levels) - min(levels), 0.1 * abs(max(levels)), 1e-6)
        top = max([max(levels) + width, *known]) + 0.05 * width
        most = max([100.0, *known]) if of[0].unit.startswith("%") else math.inf
        axes.set_ylim(min([min(levels) - width, *known]) - 0.05 * width, min(top, most))
    _say_when_empty(axes, known)


def _say_when_empty(axes: Axes, known: list[float]) -> None:
    if not known:
        axes.annotate("no values in these weeks", (0.5, 0.5), xycoords="axes fraction", ha="center", va="center", fontsize=8)


def _finish(axes: Axes, days: list[date], label: str, *, legend: bool = True, marks: bool = False) -> None:
    ticks = [i for i in range(len(days)) if (len(days) - i) % 7 == 0]
    axes.set_xticks(ticks, [f"{days[i].day} {days[i]:%b}" for i in ticks])
    axes.set_xlim(-0.5, len(days) - 0.5)
    axes.set_ylabel(label.replace(" per ", "\nper "), fontsize=7.5)
    axes.grid(axis="y", color="0.88", linewidth=0.5)
    axes.set_axisbelow(True)
    if not legend:
        return
    handles, labels = axes.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    height_in = axes.get_window_extent().height / axes.figure.dpi
    axes.legend(
        once.values(),
        once.keys(),
        loc="lower left",
        bbox_to_anchor=(0, 1.0 + _MARK_ROW_IN * marks / height_in),
        ncols=5,
        frameon=False,
        fontsize=7,
        handlelength=1.8,
        borderaxespad=0.1,
    )


def position(at: datetime, first_start: datetime) -> float:
    """Return a time as a place on the axis of days, where day 0 begins at `first_start` and is drawn from -0.5 to 0.5."""
    return (at - first_start).total_seconds() / 86400.0 - 0.5


# The range bar of the table: a strip so wide and high [SVG units], hatched over the usual range.
BAR_WIDTH, BAR_HEIGHT = 90.0, 18.0


def range_bar(this: float, last: float | None, printed: Printed, limits: Limits) -> str | None:
    """Return a small bar: hatched usual range, ticks at targets, filled mark this week, open mark last week; None without limits.

    The scale comes from the limits alone; a mark beyond it sits at the edge as an arrow.
    """
    levels = _levels(printed, limits)
    if not levels:
        return None
    width = max(max(levels) - min(levels), 0.1 * abs(max(levels)), 1e-9)
    low, high = min(levels) - width, max(levels) + width

    def x(value: float) -> float:
        return 4.0 + (BAR_WIDTH - 8.0) * min(1.0, max(0.0, (value - low) / (high - low)))

    middle = BAR_HEIGHT / 2
    parts = [f'<line x1="4" y1="{middle}" x2="{BAR_WIDTH - 4}" y2="{middle}" stroke="black" stroke-width="0.7"/>']
    if limits.usual is not None:
        a, b = (x(v * printed.factor) for v in limits.usual)
        parts.append(f'<rect x="{a:.2f}" y="5" width="{b - a:.2f}" height="8" fill="white" stroke="black" stroke-width="0.6"/>')
        strokes = [k for k in range(-8, int(b - a) + 1, 4) if k >= 0 and k + 8 <= b - a]
        parts += [f'<line x1="{a + k:.2f}" y1="13" x2="{a + k + 8:.2f}" y2="5" stroke="black" stroke-width="0.4"/>' for k in strokes]
    for level in (limits.at_least, limits.at_most):
        if level is not None:
            at = x(level * printed.factor)
            parts.append(f'<line x1="{at:.2f}" y1="1.5" x2="{at:.2f}" y2="16.5" stroke="black" stroke-width="1.4"/>')
    if last is not None:
        parts.append(f'<circle cx="{x(last):.2f}" cy="{middle}" r="2.8" fill="white" stroke="black" stroke-width="0.9"/>')
    parts.append(_this_mark(x(this), middle, this, low, high))
    body = "".join(parts)
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{BAR_WIDTH}" height="{BAR_HEIGHT}" viewBox="0 0 {BAR_WIDTH} {BAR_HEIGHT}">{body}</svg>'


def _this_mark(at: float, middle: float, this: float, low: float, high: float) -> str:
    if low <= this <= high:
        corners = [(at, middle - 4.5), (at + 3.6, middle), (at, middle + 4.5), (at - 3.6, middle)]
    else:
        tip = 3.9 if this > high else -3.9
        corners = [(at - tip, middle - 4.5), (at + tip, middle), (at - tip, middle + 4.5)]
    return f'<polygon points="{" ".join(f"{px:.2f},{py:.2f}" for px, py in corners)}" fill="black"/>'
