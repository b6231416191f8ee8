"""Readings of a line to minute columns."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines import totaliser
from pipelines.align.segments import spread, weigh
from pipelines.errors import PlantFileError
from pipelines.plantfile import FAR_FUTURE, PlantFile, Signal
from schemas.roles import ROLES
from schemas.vocabulary import BAD

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)
LONGEST_SLOPE_US = 30 * 60_000_000  # sloped values and register increments never reach further back than this
Series = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.uint8]]


def micros(at: datetime) -> int:
    """Return an instant as microseconds since 1970."""
    return (at - _EPOCH) // timedelta(microseconds=1)


def by_tag(readings: pl.DataFrame) -> dict[str, Series]:
    """Return tag -> (time [us], value, quality) of a frame sorted by tag and time."""
    tags = readings["tag"]
    t = readings["time_utc"].to_physical().to_numpy()
    v = readings["value"].to_numpy()
    q = readings["quality"].to_numpy()
    runs = tags.rle().struct.unnest() if len(tags) else pl.DataFrame(schema={"len": pl.UInt32, "value": pl.String})
    ends = np.cumsum(runs["len"].to_numpy()) if runs.height else np.zeros(0, dtype=np.int64)
    return {tag: (t[end - size : end], v[end - size : end], q[end - size : end]) for tag, size, end in zip(runs["value"].to_list(), runs["len"].to_list(), ends, strict=True)}


def line_columns(line: str, series: Mapping[str, Series], edges: NDArray[np.int64], plant_file: PlantFile) -> dict[str, NDArray[np.float64]]:
    """Return value, coverage and uncertain time per role of one line on the intervals between the edges.

    Keys are the column names of `minutes`, and "<role>_uncertain_us". Roles the line lacks are absent.
    """
    out: dict[str, NDArray[np.float64]] = {}
    span = (edges[1:] - edges[:-1]).astype(np.float64)
    for role_name, signals in _signals_by_role(line, plant_file).items():
        role = ROLES[role_name]
        value, known, unsure = np.full(len(span), np.nan), np.zeros(len(span)), np.zeros(len(span))
        for signal in signals:
            t, v, q = _valid(series.get(signal.tag), signal, plant_file)
            if role.kind == "totaliser":
                inc, covered = _register(t, v, q, signal, edges)
                value = np.where(covered > 0, np.where(np.isnan(value), 0.0, value) + inc, value)
                known = known + covered
                continue
            hold = signal.hold_us if signal.interpolation == "stepped" else min(signal.hold_us, LONGEST_SLOPE_US)
            weighted = weigh(t, v, q, edges, stepped=signal.interpolation == "stepped", hold_us=hold)
            total = known + weighted.known_us
            with np.errstate(invalid="ignore", divide="ignore"):
                joined = (np.where(known > 0, value * known, 0.0) + weighted.integral) / total
            value = weighted.mean if not known.any() else np.where(total > 0, joined, np.nan)
            known, unsure = total, unsure + weighted.uncertain_us
        out[role.column], out[role.coverage], out[f"{role_name}_uncertain_us"] = value, np.minimum(known / span, 1.0), unsure
    return out


def _register(t: NDArray[np.int64], v: NDArray[np.float64], q: NDArray[np.uint8], signal: Signal, edges: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    fine = q != BAD
    from pipelines import units

    cap = None if signal.rollover is None else units.to_si(signal.rollover, signal.unit)
    step, _ = totaliser.increments(t[fine], v[fine], cap, signal.maximum_rate)
    return spread(t[fine], step, edges, hold_us=min(signal.hold_us, LONGEST_SLOPE_US))


def _valid(found: Series | None, signal: Signal, plant_file: PlantFile) -> Series:
    """Return the readings of a tag while it stands for this role."""
    if found is None:
        return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.uint8)
    if signal.since is None and signal.until is None:
        return found
    t, v, q = found
    keep = (t >= micros(plant_file.instant(signal.since, _LONG_AGO))) & (t < micros(plant_file.instant(signal.until, FAR_FUTURE)))
    if signal.until is not None and keep.any():  # a bad reading at the end of validity stops the hold
        end = micros(plant_file.instant(signal.until, FAR_FUTURE))
        return np.append(t[keep], end), np.append(v[keep], np.nan), np.append(q[keep], BAD).astype(np.uint8)
    return t[keep], v[keep], q[keep]


def _signals_by_role(line: str, plant_file: PlantFile) -> dict[str, list[Signal]]:
    """Return role -> its signals on the line; two at the same time are an error of the plant file."""
    found: dict[str, list[Signal]] = {}
    for signal in plant_file.signals:
        if signal.line == line:
            found.setdefault(signal.role, []).append(signal)
    for role, signals in found.items():
        spans = sorted((plant_file.instant(s.since, _LONG_AGO), plant_file.instant(s.until, FAR_FUTURE), s.tag) for s in signals)
        for (_, end, one), (start, _, other) in zip(spans, spans[1:], strict=False):
            if start < end:
                raise PlantFileError(
                    path=f"{plant_file.plant.id}.toml", line=None, key="signals.tag", value=other,
                    problem=f"{one!r} and {other!r} are both {role} of {line} from {start:%Y-%m-%d}", remedy="give one of them since or until",
                )  # fmt: skip
    return found


def signals_of(line: str, plant_file: PlantFile) -> dict[str, Signal]:
    """Return role -> its last signal on the line, for settings such as the range."""
    return {role: signals[-1] for role, signals in _signals_by_role(line, plant_file).items()}
