"""Text to values: unit, scaling, states, quality words and ranges, each failure with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import polars as pl

from pipelines import units
from pipelines.check.quality import code_of
from pipelines.plantfile import FAR_FUTURE, Layout, PlantFile, Signal
from schemas.vocabulary import BAD

RANGE_MARGIN = 0.01  # of the span: a transmitter reads a little past its ends (common practice, no source)
FUTURE_MARGIN = timedelta(days=1)  # clocks of loggers run ahead; a stamp a day ahead of receipt is wrong
FAILURE_MA = (3.6, 21.0)  # below and above: transmitter failure (NE 43 signal levels)
_LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Rules:
    """What the plant file says of its signals, as columns to gather from by signal number."""

    signals: tuple[Signal, ...]
    table: pl.DataFrame  # factor, offset, low, high, physical_low, physical_high, is_state, is_ma; one row a signal
    since: tuple[datetime, ...]
    until: tuple[datetime, ...]

    @classmethod
    def of(cls, plant_file: PlantFile) -> Rules:
        """Read the rules of all signals."""
        signals = plant_file.signals
        rows = [_limits(s) for s in signals]
        return cls(
            signals,
            pl.DataFrame(rows),
            tuple(plant_file.instant(s.since, _LONG_AGO) for s in signals),
            tuple(plant_file.instant(s.until, FAR_FUTURE) for s in signals),
        )

    def number_signals(self, frame: pl.DataFrame) -> pl.Series:
        """Return the number of the signal each row (tag, time_utc) belongs to; null when there is none."""
        tags = list(dict.fromkeys(s.tag for s in self.signals))
        code = frame["tag"].cast(pl.Enum(tags), strict=False).to_physical()
        first = {tag: i for i, tag in reversed(list(enumerate(s.tag for s in self.signals)))}
        number = pl.Series("signal", [first[t] for t in tags], dtype=pl.UInt32).gather(code.cast(pl.UInt32))
        dated = {s.tag for s, a, b in zip(self.signals, self.since, self.until, strict=True) if a != _LONG_AGO or b != FAR_FUTURE}
        if not dated:
            return number
        choice = pl.when(pl.col("tag").is_in(dated)).then(pl.lit(None, dtype=pl.UInt32)).otherwise("signal")
        for i, signal in enumerate(self.signals):
            if signal.tag in dated:
                inside = (pl.col("tag") == signal.tag) & (pl.col("time_utc") >= self.since[i]) & (pl.col("time_utc") < self.until[i])
                choice = pl.when(inside).then(pl.lit(i, dtype=pl.UInt32)).otherwise(choice)
        return frame.select("tag", "time_utc").with_columns(signal=number).select(choice.alias("signal"))["signal"]


def _limits(signal: Signal) -> dict[str, float | bool]:
    """Return one signal's affine map from file text to SI and its limits in SI."""
    u = units.unit(signal.unit)
    slope, base = 1.0, 0.0
    if signal.scaling is not None:
        (r0, r1), (v0, v1) = signal.scaling.raw, signal.scaling.reads
        slope = (v1 - v0) / (r1 - r0)
        base = v0 - slope * r0
    role = signal.meaning
    low, high = role.physical
    if signal.range is not None and role.kind == "analog":
        margin = RANGE_MARGIN * (signal.range[1] - signal.range[0])
        low, high = u.factor * (signal.range[0] - margin) + u.offset, u.factor * (signal.range[1] + margin) + u.offset
    return {
        "factor": slope * u.factor,
        "offset": base * u.factor + u.offset,
        "low": low,
        "high": high,
        "physical_low": role.physical[0],
        "physical_high": role.physical[1],
        "is_state": role.kind == "state",
        "is_ma": signal.scaling is not None and 3.9 <= signal.scaling.raw[0] <= 4.1 and 19.9 <= signal.scaling.raw[1] <= 20.1,
    }


def typed(values: pl.DataFrame, rules: Rules, layout: Layout, received_utc: datetime) -> pl.DataFrame:
    """Return line_no, time_utc, tag, signal, value [SI], quality, reason, detail; reason null where the value is fit for use.

    `values` is the frame of a Chunk. Bad-quality values are fit for use as what they are: bad readings without value.
    """
    signal = rules.number_signals(values)
    columns = rules.table.select(pl.all().gather(signal)) if len(signal) else rules.table.head(0)
    frame = values.hstack([signal.alias("signal"), *columns.get_columns()])
    frame = frame.with_columns(number=_number(layout).cast(pl.Float64, strict=False), quality=_quality(values["quality_text"], layout))
    frame = _with_states(frame, rules)
    frame = frame.with_columns(value=pl.col("number") * pl.col("factor") + pl.col("offset"))
    frame = frame.with_columns(reason=_reason(received_utc))
    detail = _detail() if frame["reason"].null_count() < frame.height else pl.lit(None, dtype=pl.String)
    keeps = pl.col("reason").is_null() & (pl.col("quality") != BAD)
    return frame.select(
        "line_no",
        "time_utc",
        "tag",
        "signal",
        value=pl.when(keeps).then("value"),
        quality=pl.when(pl.col("reason").is_null()).then("quality").otherwise(pl.lit(BAD, dtype=pl.UInt8)),
        reason="reason",
        detail=detail,
    )


def _number(layout: Layout) -> pl.Expr:
    text = pl.col("text")
    if layout.thousands:
        text = text.str.replace_all(layout.thousands, "", literal=True)
    return text.str.replace(",", ".", literal=True) if layout.decimal == "," else text


def _quality(texts: pl.Series, layout: Layout) -> pl.Series:
    """Return quality codes; null for a word that means nothing known."""
    if texts.null_count() == len(texts):
        return pl.Series("quality", [0], dtype=pl.UInt8).new_from_index(0, len(texts))
    words = texts.unique().to_list()
    codes = {w: (0 if w is None or w == "" else code_of(w, layout.quality_words)) for w in words}
    if set(codes.values()) == {0}:
        return pl.Series("quality", [0], dtype=pl.UInt8).new_from_index(0, len(texts))
    return texts.replace_strict(list(codes), list(codes.values()), return_dtype=pl.UInt8).alias("quality")


def _with_states(frame: pl.DataFrame, rules: Rules) -> pl.DataFrame:
    """Give state words their 1 or 0; words of no meaning stay null."""
    words = frame.filter(pl.col("is_state") & pl.col("number").is_null()).select("signal", "text").unique()
    if words.height == 0:
        return frame
    meant = [_state(text, rules.signals[number]) for number, text in words.iter_rows()]
    known = words.with_columns(state=pl.Series(meant, dtype=pl.Float64))
    joined = frame.join(known, on=["signal", "text"], how="left", maintain_order="left", nulls_equal=True)
    return joined.with_columns(number=pl.coalesce("number", "state")).drop("state")


def _state(text: str, signal: Signal) -> float | None:
    folded = "".join((text or "").split()).lower()
    if folded in {"".join(w.split()).lower() for w in signal.on_words}:
        return 1.0
    return 0.0 if folded in {"".join(w.split()).lower() for w in signal.off_words} else None


def _reason(received_utc: datetime) -> pl.Expr:
    """Return the primary reason by the precedence of the closed list, or null."""
    c = pl.col
    usable = c("quality") != BAD
    state = c("is_state")
    outside = (c("value") < c("low")) | (c("value") > c("high"))
    physical = ~c("value").is_finite() | (c("value") < c("physical_low")) | (c("value") > c("physical_high"))
    failed = c("is_ma") & ((c("number") < FAILURE_MA[0]) | (c("number") > FAILURE_MA[1]))
    return (
        pl.when(c("time_reason").is_not_null()).then("time_reason")
        .when(c("time_utc") > received_utc + FUTURE_MARGIN).then(pl.lit("time in the future"))
        .when(c("signal").is_null()).then(pl.lit("unknown tag"))
        .when(c("quality").is_null()).then(pl.lit("unknown quality word"))
        .when(usable & state & (c("number").is_null() | (c("number") < 0) | (c("number") > 1))).then(pl.lit("unknown state word"))
        .when(usable & c("number").is_null()).then(pl.lit("text in number"))
        .when(usable & failed).then(pl.lit("transmitter failure level"))
        .when(usable & physical).then(pl.lit("value outside physical range"))
        .when(usable & outside).then(pl.lit("value outside transmitter range"))
    )  # fmt: skip


def _detail() -> pl.Expr:
    c = pl.col
    return (
        pl.when(c("reason") == "unknown quality word").then(pl.format("{}: quality {}", "tag", c("quality_text").fill_null("")))
        .when(c("reason").str.starts_with("value outside")).then(pl.format("{}: {} is not within {} to {} (SI)", "tag", "text", c("low").round(3), c("high").round(3)))
        .when(c("reason").is_not_null()).then(pl.format("{}: {}", c("tag").fill_null(""), c("text").fill_null("")))
    )  # fmt: skip
