"""Trial length of a line, by design, for a dose saving and for the cake gate, from its published quiet days."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.compare import length
from pipelines.compare.gls import Array
from pipelines.compare.length import Scatter
from pipelines.store import connect

LEAST_QUIET_DAYS = 15
BLOCKS = (1, 5)  # days of a block: paired days, working weeks
# Steps of a ladder lie within a day; what their own errors are, relative to those of whole days (common practice, no source).
WITHIN_DAY_SHARE = 0.35
FLOORS = (
    "Floors whatever the power says: 20 operating days an arm or 8 pairs, 3 levels of feed TS, 2 polymer deliveries, 2 crews, one restart."
)


def of_line(home: Home, plant: str, line: str, saving_pct: float, cake_margin: float) -> tuple[list[dict[str, Any]], list[str]]:
    """Return a row by question and design (question, design, needs, days, power), and notes; DataMissingError with too few quiet days."""
    values = _quiet(home, plant, line)
    dose = length.scatter(*_ln(values["dose"]))
    rows, step = [], -float(np.log(1.0 - saving_pct / 100.0))
    rows += _rows(f"dose saving of {saving_pct:g} % (fixed dose rule)", dose, step, 0.0)
    notes = [_scatter_note("ln dose", dose), FLOORS]
    if len(values["cake"][0]) >= LEAST_QUIET_DAYS:
        cake = length.scatter(*values["cake"])
        rows += _rows(f"cake not lower by {cake_margin:g} point", cake, 0.0, cake_margin)
        notes.insert(1, _scatter_note("cake, points", cake))
    notes += _confounding(dose)
    return rows, notes


def _rows(question: str, found: Scatter, difference: float, margin: float) -> list[dict[str, Any]]:
    rows = []
    for days in BLOCKS:
        needed = length.sets_needed(found, difference, days, margin)
        name = "paired days, order drawn" if days == 1 else f"pairs of {days}-day blocks, drawn"
        rows.append(_row(question, name, needed, None if needed is None else 2 * days * needed[0], "pairs"))
    needed = length.days_needed(found, difference, margin)
    rows.append(_row(question, "before/after", needed, None if needed is None else 2 * needed[0], "days an arm"))
    return rows


def _row(question: str, design: str, needed: tuple[int, float] | None, total: int | None, unit: str) -> dict[str, Any]:
    if needed is None:
        return {"question": question, "design": design, "needs": "more than the longest trial tried", "days": None, "power": None}
    text = f"{needed[0]} {unit}, {total} operating days in all (power {100 * needed[1]:.0f} %)"
    return {"question": question, "design": design, "needs": text, "days": total, "power": needed[1]}


def _scatter_note(name: str, found: Scatter) -> str:
    return f"{name}: SD of a day {found.sd:.3f}, {100 * found.share:.0f} % of its variance wanders with lag-1 correlation {found.rho:.2f} ({found.days} quiet days)."


def _confounding(dose: Scatter) -> list[str]:
    """Return what whole-day ladder steps cost against steps within the day."""
    day, within = dose.sd, dose.sd * WITHIN_DAY_SHARE
    return [
        "Whole-day ladder steps confound the step with the day's demand: each step carries the day's own error, "
        f"{100 * day:.0f} % here. Steps within the day share the demand: about {100 * within:.0f} % a step, so that a set of four steps in both arms "
        f"tells as much as {round((day / within) ** 2)} whole-day sets.",
        "A fed-dose saving needs a fixed dose rule or a ladder: operators who trim slowly turn it into better cake instead.",
    ]


def _quiet(home: Home, plant: str, line: str) -> dict[str, tuple[Array, Array]]:
    """Return times and values of dose and cake on days of the arrangement with most quiet days, outside ladders and transitions."""
    con = connect(home.published_of(plant), read_only=True)
    try:
        rows = con.execute(
            """
            WITH quiet AS (
              SELECT k.operating_day, k.dose_active_kg_t, k.cake_ts_pct, coalesce(a.arrangement, '') AS arrangement
              FROM kpi_day k LEFT JOIN arrangement_days a ON a.plant = k.plant AND a.line = k.line AND a.operating_day = k.operating_day
              WHERE k.plant = $plant AND k.line = $line AND NOT coalesce(a.is_in_transition, false) AND NOT coalesce(a.is_mixed, false)
                AND k.dose_active_kg_t IS NOT NULL AND NOT EXISTS (SELECT 1 FROM ladder_steps s WHERE s.plant = k.plant AND s.line = k.line
                  AND k.operating_day BETWEEN s.first_day AND s.last_day)
            )
            SELECT operating_day, dose_active_kg_t, cake_ts_pct FROM quiet
            WHERE arrangement = (SELECT arrangement FROM quiet GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1) ORDER BY 1
            """,
            {"plant": plant, "line": line},
        ).fetchall()
    finally:
        con.close()
    if len(rows) < LEAST_QUIET_DAYS:
        raise DataMissingError(
            f"{len(rows)} quiet days of {line} with a dose, {LEAST_QUIET_DAYS} needed", remedy="take in more of the plant's history"
        )
    return {"dose": _series([(d, v) for d, v, _ in rows]), "cake": _series([(d, c) for d, _, c in rows if c is not None])}


def _series(rows: list[tuple[date, float]]) -> tuple[Array, Array]:
    return np.array([d.toordinal() for d, _ in rows], dtype=float), np.array([v for _, v in rows], dtype=float)


def _ln(series: tuple[Array, Array]) -> tuple[Array, Array]:
    return series[0], np.log(series[1])
