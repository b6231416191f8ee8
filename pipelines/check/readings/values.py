"""Text to values: signal, number, state, unit, quality; what fails goes to `ranges` for its reason.

The plain case is decided column by column on numbers as written; only values that some rule might object to
are looked at rule by rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipelines.check.readings import numbers, quality, ranges, sorting
from pipelines.check.readings.clock_steps import StepsBack, steps_back
from pipelines.check.readings.signals import NO_SIGNAL, Signals, micros, state_of
from pipelines.files.fill_values import is_fill
from pipelines.files.pieces import Written
from pipelines.plant.model import Layout
from pipelines.plant.signals import unit_agrees
from schemas.vocabulary import BAD

FUTURE_MARGIN = timedelta(days=1)  # clocks of loggers run ahead; a stamp later than this after receipt is wrong
# Refused for one of these, a value has a time and a tag that can be trusted: it leaves a bad reading behind.
LEAVES_A_MARK = (
    "unknown quality word", "unknown state word", "text in number", "transmitter failure level",
    "value outside physical range", "value outside transmitter range", "unit implausible",
)  # fmt: skip
_NULL_TIME = np.iinfo(np.int64).min


@dataclass(frozen=True)
class Typed:
    """`readings`: line_no, tag (Enum), time_utc, value [SI], quality, is_mark, in (tag, time, line) order.

    A mark is the bad reading that a value set aside leaves at its time. `has_repeats`: a tag and time occur more than once.
    `failed`: line_no, time_utc, name, reason, detail. `steps`: where rows went back in time.
    """

    readings: pl.DataFrame
    has_repeats: bool
    failed: pl.DataFrame
    steps: StepsBack | None = None


def typed(
    values: pl.DataFrame,
    signals: Signals,
    layout: Layout,
    received_utc: datetime,
    written: Written | None = None,
    *,
    codes: NDArray[np.uint32] | None = None,
) -> Typed:
    """Return the typed values of a Chunk (with their text in the file, where that differs) and the unusable ones with their reason.

    `codes`: the numbers of their tags, where known.
    """
    number = _numbers(values, layout)
    coded = quality.codes(values["quality_text"], layout)
    latest_us = micros(received_utc + FUTURE_MARGIN)

    code = signals.codes(values["tag"]) if codes is None else codes
    order = _by_tag(code, len(signals.tags))
    code = code[order]
    times = values["time_utc"].to_physical().fill_null(_NULL_TIME).to_numpy()[order]
    known = int(np.searchsorted(code, len(signals.tags)))  # unknown tags share one number, the last: their columns follow each other
    steps = None if layout.late_rows else steps_back(code[:known], times[:known], _NULL_TIME)
    meant = _signal_runs(code, times, signals)
    figures, qualities = number.to_numpy()[order], coded.to_numpy()[order]
    plain = _plain(figures, times, meant, qualities, signals, latest_us)
    is_other = _in_other_units(values, order, meant, signals)
    if is_other is not None:
        plain &= ~is_other
    if values["time_reason"].null_count() < values.height:
        plain &= values["time_reason"].is_null().to_numpy()[order]

    all_plain = bool(plain.all())
    keep = slice(None) if all_plain else plain
    readings = pl.DataFrame(
        {
            "line_no": values["line_no"].to_numpy()[order][keep],
            "tag": signals.named(code[keep]),
            "time_utc": pl.Series(times[keep]).cast(values.schema["time_utc"]),
            "value": _scaled(figures, meant, signals)[keep],
            "quality": qualities[keep].astype(np.uint8, copy=False),
        }
    ).with_columns(is_mark=pl.lit(False))
    if all_plain:
        return Typed(*sorting.in_order(readings), ranges.NOTHING_FAILED, steps)
    doubtful = pl.Series(np.arange(len(code))[order][~plain])
    rows = values.select("line_no", "time_utc").with_columns(number=number, quality=coded)[doubtful]
    rows = rows.with_columns(is_other_unit=pl.lit(False) if is_other is None else pl.Series(is_other[~plain]))
    said = _said(values, written, doubtful)
    rows = rows.with_columns(said["name"].cast(signals.kind, strict=False).alias("tag")).hstack(said)
    if "unit_text" not in rows.columns:
        rows = rows.with_columns(unit_text=pl.lit(None, dtype=pl.String))
    judged = _judged(rows, meant.spread(meant.signal)[~plain], signals, layout, latest_us)
    failed = judged.filter(pl.col("reason").is_not_null()).select(ranges.NOTHING_FAILED.columns).sort("line_no", maintain_order=True)
    usable = judged.filter(pl.col("reason").is_null() | pl.col("reason").is_in(LEAVES_A_MARK)).select(readings.columns)
    return Typed(*sorting.in_order(pl.concat([readings, usable])), failed, steps)


def _in_other_units(values: pl.DataFrame, order: NDArray[np.intp] | slice, meant: _Runs, signals: Signals) -> NDArray[np.bool_] | None:
    """Return the rows that state another unit than their signal's; None for a file without a unit column."""
    if "unit_text" not in values.columns:
        return None
    said = pl.DataFrame(
        {"signal": meant.spread(meant.signal), "unit": values["unit_text"].fill_null("").gather(np.arange(values.height)[order])}
    )
    pairs = said.unique()
    other = [s != NO_SIGNAL and not unit_agrees(word, [signals.all[s]]) for s, word in pairs.iter_rows()]
    joined = said.join(
        pairs.with_columns(pl.Series("other", other, dtype=pl.Boolean)), on=["signal", "unit"], how="left", maintain_order="left"
    )
    return joined["other"].to_numpy()


def _numbers(values: pl.DataFrame, layout: Layout) -> pl.Series:
    """Return the number of each value as written; null where it is none."""
    if "number" in values.columns:
        return values["number"]
    return values.select(numbers.as_written(layout).cast(pl.Float64, strict=False).fill_nan(None).alias("number"))["number"]


def _said(values: pl.DataFrame, written: Written | None, rows: pl.Series) -> pl.DataFrame:
    """Return text, quality_text, time_reason and name (of the tag) of some values."""
    columns: list[str | pl.Expr] = ["text", "quality_text", "time_reason", pl.col("tag").alias("name")]
    if written is None:
        return values.select(*columns, *({"unit_text"} & set(values.columns)))[rows]
    asked = values.select("line_no", "time_reason", "tag")[rows].with_columns(pl.col("tag").cast(pl.String))
    return asked.join(written.texts(asked["line_no"]), on=["line_no", "tag"], how="left", maintain_order="left").select(columns)


def _by_tag(code: NDArray[np.uint32], tags: int) -> NDArray[np.intp] | slice:
    """Return the permutation that groups rows by tag, in file order; a slice when they are grouped already (wide files)."""
    if not len(code) or (code[1:] >= code[:-1]).all():
        return slice(None)
    small = code.astype(np.uint16) if tags < 2**16 else code  # radix sort: quick for small whole numbers
    return np.argsort(small, kind="stable")


@dataclass(frozen=True)
class _Runs:
    """A run of consecutive rows of one signal: length and signal number."""

    sizes: NDArray[np.int64]
    signal: NDArray[np.int32]

    def spread(self, of_run: NDArray[Any]) -> NDArray[Any]:
        """Return for each row what its run has."""
        return np.repeat(of_run, self.sizes)

    def limit(self, signals: Signals, name: str, of_none: float) -> NDArray[np.float64]:
        """Return a column of the signals for each row, `of_none` where a tag means nothing."""
        return self.spread(np.append(signals.table[name].to_numpy(), of_none)[self.signal])


def _signal_runs(code: NDArray[np.uint32], times: NDArray[np.int64], signals: Signals) -> _Runs:
    """Return the runs of signals; rows of a tag stand together."""
    if not len(code):
        return _Runs(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int32))
    starts = np.concatenate(([0], np.flatnonzero(code[1:] != code[:-1]) + 1, [len(code)]))
    if all(tag == len(signals.tags) or signals.is_undated(tag) for tag in code[starts[:-1]].tolist()):
        of_tag = np.array([*(spans[0][2] for spans in signals.spans), NO_SIGNAL], dtype=np.int32)
        return _Runs(np.diff(starts), of_tag[code[starts[:-1]]])
    number = np.full(len(code), NO_SIGNAL, dtype=np.int32)
    for first, end in pairwise(starts):
        if code[first] < len(signals.tags):
            number[first:end] = signals.number(int(code[first]), times[first:end])
    starts = np.concatenate(([0], np.flatnonzero(number[1:] != number[:-1]) + 1))
    return _Runs(np.diff(np.append(starts, len(number))), number[starts])


def _plain(
    number: NDArray[np.float64],
    times: NDArray[np.int64],
    meant: _Runs,
    coded: NDArray[np.uint8],
    signals: Signals,
    latest_us: int,
) -> NDArray[np.bool_]:
    """Return the rows that meet every rule at first look."""
    with np.errstate(invalid="ignore"):
        plain: NDArray[np.bool_] = number >= meant.limit(signals, "plain_low", np.inf)
        plain &= number <= meant.limit(signals, "plain_high", -np.inf)
        if times.min(initial=0) < signals.earliest_us or times.max(initial=_NULL_TIME) > latest_us:  # no time is the smallest number
            plain &= (times >= signals.earliest_us) & (times <= latest_us)
        return plain & (coded < BAD)


def _scaled(number: NDArray[np.float64], meant: _Runs, signals: Signals) -> NDArray[np.float64]:
    """Return numbers as written in SI units."""
    if signals.has_roots:
        number = _straightened(number, meant.limit(signals, "root_zero", np.nan), meant.limit(signals, "root_span", np.nan))
    value: NDArray[np.float64] = number * meant.limit(signals, "factor", np.nan)
    value += meant.limit(signals, "offset", np.nan)
    return value


def _straightened(number: NDArray[np.float64], zero: NDArray[np.float64], span: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the numbers linear signals would have (`signals.straightened`, in columns); zero is nan for linear ones."""
    share = (number - zero) / span
    return np.where(np.isnan(zero), number, zero + span * np.sign(share) * np.sqrt(np.abs(share)))


def _judged(doubtful: pl.DataFrame, signal: NDArray[np.int32], signals: Signals, layout: Layout, latest_us: int) -> pl.DataFrame:
    """Return line_no, tag, time_utc, value, quality, is_mark, name, reason, detail of values looked at rule by rule."""
    number = pl.Series("signal", signal)
    known = pl.DataFrame({"signal": number}).select(pl.when(pl.col("signal") != NO_SIGNAL).then("signal").cast(pl.UInt32))["signal"]
    frame = doubtful.with_columns(known).hstack(signals.table.select(pl.all().gather(known)))
    blank = is_fill(pl.col("text").fill_null(""), ("", *layout.fill_values))
    # a record without a value is a bad reading: it has no value and ends the hold of the one before
    frame = frame.with_columns(
        quality=pl.when(blank & pl.col("quality").is_not_null()).then(pl.lit(BAD, dtype=pl.UInt8)).otherwise("quality")
    )
    share = (pl.col("number") - pl.col("root_zero")) / pl.col("root_span")
    straight = (pl.col("root_zero") + pl.col("root_span") * share.sign() * share.abs().sqrt()).fill_null(pl.col("number"))
    frame = _with_states(frame, signals).with_columns(
        value=straight * pl.col("factor") + pl.col("offset"), ma=pl.col("number") * pl.col("ma_factor") + pl.col("ma_offset")
    )
    frame = frame.with_columns(reason=ranges.reason(signals.earliest_us, latest_us)).with_columns(detail=ranges.detail())
    fit = pl.col("reason").is_null() & (pl.col("quality") != BAD)
    return frame.with_columns(
        value=pl.when(fit).then("value"),
        quality=pl.when(pl.col("reason").is_null()).then(ranges.graded()).otherwise(pl.lit(BAD, dtype=pl.UInt8)),
        is_mark=pl.col("reason").is_not_null(),
    )


def _with_states(frame: pl.DataFrame, signals: Signals) -> pl.DataFrame:
    """Convert the words of state signals to 1, 0 or a share; unknown words become null."""
    words = frame.filter("is_state").select("signal", "text", "number").unique()
    if words.height == 0:
        return frame
    meant = [state_of(text or "", number, signals.all[which]) for which, text, number in words.iter_rows()]
    known = words.select("signal", "text", state=pl.Series(meant, dtype=pl.Float64))
    joined = frame.join(known, on=["signal", "text"], how="left", maintain_order="left", nulls_equal=True)
    return joined.with_columns(number=pl.when("is_state").then("state").otherwise("number")).drop("state")
