"""Signals of the plant file: the one a tag belongs to at a time, and its limits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.base import units
from pipelines.files.pieces import as_enum
from pipelines.plant.calendar import FAR_FUTURE, LONG_AGO
from pipelines.plant.model import PlantFile, Scaling, Signal
from schemas.roles import TOP_IS_TRUE

RANGE_MARGIN = 0.01  # of the span: a transmitter reads a little past its ends (common practice, no source)
FAILURE_MA = (3.6, 21.0)  # below and above: transmitter failure (NE 43 signal levels, from memory)
MEASURING_MA = (3.8, 20.5)  # a transmitter measures within these; between them and 4 or 20 it is saturated (NE 43, from memory)
LIVE_MA = (4.0, 20.0)  # the range itself
EDGE = 1e-9  # of the span: a value on a limit is inside, whatever the conversion of units does to its last digits
NO_SIGNAL = -1
PART = 0.5  # on for a part of the interval that is not told: as likely less as more than half (rule of this project)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def micros(at: datetime) -> int:
    """Return an instant as microseconds since 1970."""
    return (at - _EPOCH) // timedelta(microseconds=1)


@dataclass(frozen=True)
class Signals:
    """All signals of a plant by number (their place in the plant file), and their tags as a sorted Enum.

    `table` has one row a signal: factor, offset (number in the file to SI), root_zero, root_span (null but for square-root
    signals), low, high, physical_low, physical_high, top [SI; top: from there on a reading is clipped], is_state, ma_factor,
    ma_offset (number in the file to mA, null where it is no current), and plain_low, plain_high: numbers as written between
    which no rule can object; stated: the range as the plant file has it.
    """

    all: tuple[Signal, ...]
    tags: tuple[str, ...]
    kind: pl.Enum
    table: pl.DataFrame
    spans: tuple[tuple[tuple[int, int, int], ...], ...]  # by tag: (since us, until us, signal number), in plant file order
    earliest_us: int  # data_since of the plant

    @cached_property
    def has_roots(self) -> bool:
        return self.table["root_span"].null_count() < self.table.height

    @classmethod
    def of(cls, plant_file: PlantFile) -> Signals:
        """Read the signals of a plant file."""
        tags = sorted({s.tag for s in plant_file.signals})
        spans: dict[str, list[tuple[int, int, int]]] = {tag: [] for tag in tags}
        for number, s in enumerate(plant_file.signals):
            since, until = plant_file.calendar.since(s.since), plant_file.calendar.until(s.until)
            spans[s.tag].append((micros(since), micros(until), number))
        table = pl.DataFrame([_limits(s) for s in plant_file.signals], schema=_TABLE)
        return cls(
            plant_file.signals,
            tuple(tags),
            pl.Enum(tags),
            table,
            tuple(tuple(spans[tag]) for tag in tags),
            micros(plant_file.calendar.since(plant_file.plant.data_since)),
        )

    def codes(self, tags: pl.Series) -> NDArray[np.uint32]:
        """Return the number of each tag (text or Enum) among `tags`; their count for one that the plant file does not have."""
        words = tags.dtype.categories if isinstance(tags.dtype, pl.Enum) else tags
        numbers: NDArray[np.uint32] = words.cast(self.kind, strict=False).to_physical().cast(pl.UInt32).fill_null(len(self.tags)).to_numpy()
        return numbers[tags.to_physical().to_numpy()] if words is not tags else numbers

    def named(self, codes: NDArray[np.uint32]) -> pl.Series:
        """Return tags by their numbers, as Enum."""
        return as_enum("tag", codes, self.kind)

    def number(self, code: int, times_us: NDArray[np.int64]) -> NDArray[np.int32]:
        """Return the signal number of one tag at each time; NO_SIGNAL where none is in force."""
        out = np.full(len(times_us), NO_SIGNAL, dtype=np.int32)
        for since, until, number in reversed(self.spans[code]):
            out[(times_us >= since) & (times_us < until)] = number
        return out

    def is_undated(self, code: int) -> bool:
        """Return whether a tag belongs to one signal at all times."""
        since, until, _ = self.spans[code][0]
        return since == micros(LONG_AGO) and until == micros(FAR_FUTURE)


_FLOATS = ("factor", "offset", "root_zero", "root_span", "low", "high", "physical_low", "physical_high", "top", "ma_factor", "ma_offset")
_TABLE = dict.fromkeys(_FLOATS, pl.Float64) | {
    "is_state": pl.Boolean,
    "plain_low": pl.Float64,
    "plain_high": pl.Float64,
    "stated": pl.String,
}


def _limits(signal: Signal) -> dict[str, float | bool | str | None]:
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
    reach = _reach(signal.scaling)
    if signal.range is not None and reach is not None:  # a current may leave the range as far as its transmitter measures
        (v0, v1), (r0, r1) = reach, sorted(signal.scaling.reads if signal.scaling else signal.range)
        low = min(low, v0 * u.factor + u.offset) if signal.range[0] == r0 else low
        high = max(high, v1 * u.factor + u.offset) if signal.range[1] == r1 else high
    clips = signal.range is not None and role.kind == "analog" and role.name not in TOP_IS_TRUE
    root, ma = _root(signal.scaling), _milliamperes(signal.scaling)
    row = {
        "factor": slope * u.factor, "offset": base * u.factor + u.offset, "root_zero": root[0], "root_span": root[1], "low": low, "high": high,
        "physical_low": role.physical[0], "physical_high": role.physical[1],
        "top": signal.range[1] * u.factor + u.offset if clips and signal.range else np.inf, "ma_factor": ma[0], "ma_offset": ma[1],
    }  # fmt: skip
    plain_low, plain_high = _plain_state(signal) if role.kind == "state" else _plain(row)
    stated = "" if signal.range is None else f"{signal.range[0]:g} to {signal.range[1]:g} {signal.unit}"
    return {**row, "is_state": role.kind == "state", "plain_low": plain_low, "plain_high": plain_high, "stated": stated}


def _milliamperes(scaling: Scaling | None) -> tuple[float | None, float | None]:
    """Return factor and offset from the raw number to mA; None where it stands for no current."""
    if scaling is None or scaling.current is None:
        return None, None
    factor = (scaling.current[1] - scaling.current[0]) / (scaling.raw[1] - scaling.raw[0])
    return factor, scaling.current[0] - factor * scaling.raw[0]


def _reach(scaling: Scaling | None) -> tuple[float, float] | None:
    """Return the values at the two ends of a current's span, low first, in the unit of the signal."""
    factor, offset = _milliamperes(scaling)
    if scaling is None or factor is None or offset is None:
        return None
    slope = (scaling.reads[1] - scaling.reads[0]) / (scaling.raw[1] - scaling.raw[0])
    zero, span = _root(scaling)
    raw = [(ma - offset) / factor for ma in MEASURING_MA]
    ends = sorted(scaling.reads[0] + slope * (straightened(r, zero, span) - scaling.raw[0]) for r in raw)
    return ends[0], ends[1]


def _root(scaling: Scaling | None) -> tuple[float | None, float | None]:
    """Return raw zero and raw span of a square-root signal; None for a linear one."""
    if scaling is None or scaling.extraction == "linear":
        return None, None
    return scaling.raw[0], scaling.raw[1] - scaling.raw[0]


def straightened(raw: float, zero: float | None, span: float | None) -> float:
    """Return the raw number a linear signal would have: zero + span sqrt(share of span); below zero with its sign."""
    if zero is None or span is None:
        return raw
    share = (raw - zero) / span
    return float(zero + span * np.sign(share) * np.sqrt(abs(share)))


def _plain(row: dict[str, float | None]) -> tuple[float, float]:
    """Return the numbers as written between which no rule can object; never wider than the limits themselves."""
    v = {name: float(value) for name, value in row.items() if value is not None}
    if v["factor"] == 0.0:
        return np.inf, -np.inf
    inner = EDGE * (v["high"] - v["low"]) if v["high"] - v["low"] < v["physical_high"] - v["physical_low"] else 0.0
    below_top = v["top"] - 2 * EDGE * (v["high"] - v["low"])  # a value at the top is looked at, whatever its last digits
    limits = (max(v["low"] + inner, v["physical_low"]), min(v["high"] - inner, v["physical_high"], below_top))
    ends = [_bent((limit - v["offset"]) / v["factor"], row["root_zero"], row["root_span"]) for limit in limits]
    low, high = min(ends), max(ends)
    if "ma_factor" in v:  # saturated readings are looked at as well
        low, high = _within(low, high, sorted((ma - v["ma_offset"]) / v["ma_factor"] for ma in LIVE_MA))
    return low, high


def _within(low: float, high: float, ends: list[float]) -> tuple[float, float]:
    return max(low, ends[0]), min(high, ends[1])


def _bent(number: float, zero: float | None, span: float | None) -> float:
    """Return the raw number whose straightened one is `number`."""
    if zero is None or span is None:
        return number
    share = (number - zero) / span
    return float(zero + span * np.sign(share) * share * share)


def _plain_state(signal: Signal) -> tuple[float, float]:
    """Return (0, 1), or an empty span when the signal's own words give numbers another meaning."""
    return (np.inf, -np.inf) if is_recoded(signal) else (0.0, 1.0)


def is_recoded(signal: Signal) -> bool:
    """Return whether the state words of a signal contain numbers that do not mean what they say (0 for on, 2 for off)."""
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
    if word in {folded(w) for w in signal.part_words}:
        return PART
    return number if number is not None and 0.0 <= number <= 1.0 and not is_recoded(signal) else None
