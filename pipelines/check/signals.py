"""What the plant file says of its signals: which one a tag means at a time, and the limits its values must keep."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines import units
from pipelines.plantfile import FAR_FUTURE, PlantFile, Signal

RANGE_MARGIN = 0.01  # of the span: a transmitter reads a little past its ends (common practice, no source)
FAILURE_MA = (3.6, 21.0)  # below and above: transmitter failure (NE 43 signal levels, from memory)
RAW_MA = (4.0, 20.0)  # a scaling from these raw values is one from milliamperes
EDGE = 1e-9  # of the span: a value on a limit is inside, whatever the conversion of units does to its last digits
NO_SIGNAL = -1
_LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def micros(at: datetime) -> int:
    """Return an instant as microseconds since 1970."""
    return (at - _EPOCH) // timedelta(microseconds=1)


@dataclass(frozen=True)
class Signals:
    """All signals of a plant by number (their place in the plant file), and their tags as a sorted Enum.

    `table` has one row a signal: factor, offset (number in the file to SI), low, high, physical_low, physical_high [SI],
    is_state, is_ma, and plain_low, plain_high: numbers as written between which no rule can object.
    """

    all: tuple[Signal, ...]
    tags: tuple[str, ...]
    kind: pl.Enum
    table: pl.DataFrame
    spans: tuple[tuple[tuple[int, int, int], ...], ...]  # by tag: (since us, until us, signal number), in plant file order

    @classmethod
    def of(cls, plant_file: PlantFile) -> Signals:
        """Read the signals of a plant file."""
        tags = sorted({s.tag for s in plant_file.signals})
        spans: dict[str, list[tuple[int, int, int]]] = {tag: [] for tag in tags}
        for number, s in enumerate(plant_file.signals):
            since, until = plant_file.instant(s.since, _LONG_AGO), plant_file.instant(s.until, FAR_FUTURE)
            spans[s.tag].append((micros(since), micros(until), number))
        table = pl.DataFrame([_limits(s) for s in plant_file.signals])
        return cls(plant_file.signals, tuple(tags), pl.Enum(tags), table, tuple(tuple(spans[tag]) for tag in tags))

    def number(self, code: int, times_us: NDArray[np.int64]) -> NDArray[np.int32]:
        """Return the signal number of one tag at each time; NO_SIGNAL when it means nothing then."""
        out = np.full(len(times_us), NO_SIGNAL, dtype=np.int32)
        for since, until, number in reversed(self.spans[code]):
            out[(times_us >= since) & (times_us < until)] = number
        return out

    def is_undated(self, code: int) -> bool:
        """Tell whether a tag means the same at all times."""
        since, until, _ = self.spans[code][0]
        return since == micros(_LONG_AGO) and until == micros(FAR_FUTURE)


def _limits(signal: Signal) -> dict[str, float | bool]:
    """Return one signal's row of the table."""
    u, role = units.unit(signal.unit), signal.meaning
    slope, base = 1.0, 0.0
    if signal.scaling is not None:
        (r0, r1), (v0, v1) = signal.scaling.raw, signal.scaling.reads
        slope = (v1 - v0) / (r1 - r0)
        base = v0 - slope * r0
    low, high = role.physical
    if signal.range is not None and role.kind != "state":
        margin = RANGE_MARGIN * (signal.range[1] - signal.range[0])
        low, high = ((signal.range[0] - margin) * u.factor + u.offset, (signal.range[1] + margin) * u.factor + u.offset)
    is_ma = signal.scaling is not None and tuple(sorted(signal.scaling.raw)) == RAW_MA
    row = {
        "factor": slope * u.factor, "offset": base * u.factor + u.offset, "low": low, "high": high,
        "physical_low": role.physical[0], "physical_high": role.physical[1], "is_state": role.kind == "state", "is_ma": is_ma,
    }  # fmt: skip
    plain_low, plain_high = _plain_state(signal) if role.kind == "state" else _plain(row)
    return {**row, "plain_low": plain_low, "plain_high": plain_high}


def _plain(row: dict[str, float | bool]) -> tuple[float, float]:
    """Return the numbers as written between which no rule can object; never wider than the limits themselves."""
    factor, offset = float(row["factor"]), float(row["offset"])
    if factor == 0.0:
        return np.inf, -np.inf
    inner = EDGE * (row["high"] - row["low"]) if row["high"] - row["low"] < row["physical_high"] - row["physical_low"] else 0.0
    ends = [
        (max(row["low"] + inner, row["physical_low"]) - offset) / factor,
        (min(row["high"] - inner, row["physical_high"]) - offset) / factor,
    ]
    low, high = min(ends), max(ends)
    return (max(low, FAILURE_MA[0]), min(high, FAILURE_MA[1])) if row["is_ma"] else (low, high)


def _plain_state(signal: Signal) -> tuple[float, float]:
    """Return (0, 1), or an empty span when the signal's own words give numbers another meaning."""
    return (np.inf, -np.inf) if is_recoded(signal) else (0.0, 1.0)


def is_recoded(signal: Signal) -> bool:
    """Tell whether the state words of a signal contain numbers that do not mean what they say (0 for on, 2 for off)."""
    on, off = as_numbers(signal.on_words), as_numbers(signal.off_words)
    return bool(on - {1.0} or off - {0.0})


def folded(text: str) -> str:
    """Return a word without case and blanks."""
    return "".join(text.split()).lower()


def as_numbers(words: tuple[str, ...]) -> set[float]:
    """Return those of the words that are numbers."""
    found = set()
    for word in words:
        try:
            found.add(float(word))
        except ValueError:
            continue
    return found


def state_of(text: str, number: float | None, signal: Signal) -> float | None:
    """Return 1 (on), 0 (off) or a share between; None for what means nothing. Words go before numbers."""
    word, on, off = folded(text), as_numbers(signal.on_words), as_numbers(signal.off_words)
    if word in {folded(w) for w in signal.on_words} or (number is not None and number in on):
        return 1.0
    if word in {folded(w) for w in signal.off_words} or (number is not None and number in off):
        return 0.0
    return number if number is not None and 0.0 <= number <= 1.0 and not is_recoded(signal) else None
