"""Figures of a statement as SVG text: days or steps by arm, and the estimate under every choice."""

from __future__ import annotations

from typing import Any

from pipelines.report import style
from pipelines.report.statement.read import Row

_LOOKS: dict[bool, dict[str, Any]] = {
    True: {"marker": "s", "facecolors": "black", "edgecolors": "black"},
    False: {"marker": "o", "facecolors": "white", "edgecolors": "black"},
}


def days(rows: list[Row], arm_to: str, factor: float, unit: str) -> str:
    """Draw the dose of days: old arm as circles, new arm as squares, days left out as crosses, the control line in grey."""
    with style.styled():
        figure = style.sheet(1.9)
        axes = figure.subplots()
        parts = {
            "control line": [r for r in rows if r["part"] == "control" and r["is_used"]],
            "left out": [r for r in rows if r["part"] != "control" and not r["is_used"] and r["dose_active_kg_t"] is not None],
        }
        axes.plot(*_points(parts["control line"], factor), ".", color=style.LIGHT, markersize=3, label="control line")
        axes.plot(*_points(parts["left out"], factor), "x", color=style.MID, markersize=3.5, markeredgewidth=0.7, label="left out")
        for is_new in (False, True):
            used = [r for r in rows if r["part"] != "control" and r["is_used"] and (r["arm"] == arm_to) is is_new]
            axes.scatter(
                *_points(used, factor), s=14, linewidths=0.8, label="new arrangement" if is_new else "old arrangement", **_LOOKS[is_new]
            )
        axes.set_ylabel(f"dose, {unit}")
        axes.set_ylim(bottom=0)
        axes.legend(loc="lower left", ncols=4, frameon=False, fontsize=7)
        figure.autofmt_xdate(rotation=0, ha="center")
        return style.svg(figure)


def _points(rows: list[Row], factor: float) -> tuple[list[Any], list[float]]:
    known = [r for r in rows if r["dose_active_kg_t"] is not None]
    return [r["operating_day"] for r in known], [r["dose_active_kg_t"] * factor for r in known]


def curves(rows: list[Row], checks: list[Row], arms: tuple[str, str], factor: float, unit: str) -> str:
    """Draw capture and cake against dose: steps of both arms and the fitted curves."""
    with style.styled():
        figure = style.sheet(2.3, gap=0.1, bottom_in=0.45)
        panels = figure.subplots(1, 2)
        figure.subplots_adjust(wspace=0.22)
        for axes, name, column in zip(panels, ("capture", "cake"), ("capture_pct", "cake_ts_pct"), strict=True):
            for is_new, arm in enumerate(arms):
                used = [r for r in rows if r["is_used"] and r["arm"] == arm and r[column] is not None and r["dose_active_kg_t"] is not None]
                axes.scatter(
                    [r["dose_active_kg_t"] * factor for r in used], [r[column] for r in used], s=12, linewidths=0.8, **_LOOKS[bool(is_new)]
                )
                line = [c for c in checks if c["check_name"] == f"{name} of '{arm}'"]
                axes.plot(
                    [c["low"] * factor for c in line],
                    [c["estimate"] for c in line],
                    color="black",
                    linewidth=1.0,
                    linestyle=("--", "-")[is_new],
                )
            axes.set_xlabel(f"dose, {unit}")
            axes.set_ylabel("capture, %" if name == "capture" else "cake TS, %")
        return style.svg(figure)


def choices(rows: list[Row], main: Row, name: str = "as planned") -> str:
    """Draw the estimate and interval as planned (`name`) and under every other choice."""
    known = [(r["check_name"], r) for r in rows if r["estimate"] is not None]
    listed = [(name, main), *known]
    with style.styled():
        figure = style.sheet(0.65 + 0.17 * len(listed), left_in=3.0, bottom_in=0.45)
        axes = figure.subplots()
        for k, (_, row) in enumerate(listed):
            at = len(listed) - k
            if row["low"] is not None and row["high"] is not None:
                axes.plot([row["low"], row["high"]], [at, at], color="black", linewidth=1.8 if k == 0 else 0.9)
            axes.plot([row["estimate"]], [at], "s" if k == 0 else "o", color="black", markersize=4)
        axes.axvline(0.0, color=style.MID, linewidth=0.6)
        axes.set_yticks(range(len(listed), 0, -1), [name for name, _ in listed], fontsize=7)
        axes.set_xlabel(f"{main['outcome']}, {main['unit']}")
        return style.svg(figure)
