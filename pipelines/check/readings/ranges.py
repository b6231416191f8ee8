"""Validity rules of values, each with its reason; the first that applies in the order of the closed list is recorded."""

from __future__ import annotations

import polars as pl

from pipelines.check.readings.signals import EDGE, FAILURE_MA, LIVE_MA, MEASURING_MA
from schemas.vocabulary import BAD, GOOD, UNCERTAIN

NOTHING_FAILED = pl.DataFrame(
    schema={"line_no": pl.UInt32, "time_utc": pl.Datetime("us", "UTC"), "name": pl.String, "reason": pl.String, "detail": pl.String}
)


def _outside(low: str, high: str, edge: float = 0.0) -> pl.Expr:
    slack = edge * (pl.col(high) - pl.col(low))
    return (pl.col("value") < pl.col(low) - slack) | (pl.col("value") > pl.col(high) + slack)


def reason(earliest_us: int, latest_us: int) -> pl.Expr:
    """Return the primary reason of a row, or null.

    Needs time_reason, time_utc, tag, signal, quality, number (as written; share for states), value [SI], ma, is_other_unit and the signal's limits.
    Bad-quality values are fit for use as what they are: bad readings without value.
    """
    c = pl.col
    usable = c("quality") != BAD
    failed, measuring = ~_current_within(FAILURE_MA), _current_within(MEASURING_MA)
    physical = ~c("value").is_finite() | _outside("physical_low", "physical_high")
    return (
        pl.when(c("time_reason").is_not_null()).then("time_reason")
        .when(c("time_utc").is_null()).then(pl.lit("time stamp unreadable"))
        .when(c("time_utc").to_physical() > latest_us).then(pl.lit("time in the future"))
        .when(c("time_utc").to_physical() < earliest_us).then(pl.lit("time before data_since"))
        .when(c("tag").is_null()).then(pl.lit("unknown tag"))
        .when(c("signal").is_null()).then(pl.lit("scaling not known for date"))
        .when(c("quality").is_null()).then(pl.lit("unknown quality word"))
        .when(usable & c("is_state") & c("number").is_null()).then(pl.lit("unknown state word"))
        .when(usable & c("number").is_null()).then(pl.lit("text in number"))
        .when(usable & failed & c("number").is_finite()).then(pl.lit("transmitter failure level"))
        .when(usable & physical).then(pl.lit("value outside physical range"))
        .when(usable & (~measuring | _outside("low", "high", EDGE))).then(pl.lit("value outside transmitter range"))
        .when(usable & c("is_other_unit")).then(pl.lit("unit implausible"))
    )  # fmt: skip


def _current_within(limits_ma: tuple[float, float]) -> pl.Expr:
    """Return whether the current behind a number lies within limits, ends included; true where it is no current."""
    return pl.col("ma").is_between(limits_ma[0] - EDGE, limits_ma[1] + EDGE).fill_null(True)


def graded() -> pl.Expr:
    """Return the quality of a value that is used: uncertain instead of good when clipped at the range top or saturated."""
    c = pl.col
    clipped = c("value") >= c("top") - EDGE * (c("high") - c("low"))
    doubtful = (clipped | ~_current_within(LIVE_MA)).fill_null(False)
    return pl.when(doubtful & (c("quality") == GOOD)).then(pl.lit(UNCERTAIN, dtype=pl.UInt8)).otherwise("quality")


def detail() -> pl.Expr:
    """Return what exactly was wrong with a row that has a reason: tag, text, limit."""
    c = pl.col
    name, text = c("name").fill_null("no tag"), c("text").fill_null("")
    return (
        pl.when(c("reason") == "unknown quality word").then(pl.format("{}: quality {}", name, c("quality_text").fill_null("")))
        .when(c("reason") == "value outside transmitter range")
        .then(pl.format("{}: {} is not within {} to {} (SI, 1 % of span added), range {}", name, text, c("low").round(3), c("high").round(3), c("stated")))
        .when(c("reason") == "value outside physical range")
        .then(pl.format("{}: {} is not within {} to {} (SI)", name, text, c("physical_low").round(3), c("physical_high").round(3)))
        .when(c("reason") == "transmitter failure level")
        .then(pl.format("{}: {} ({} mA) is not within {} to {} mA", name, text, c("ma").round(3), pl.lit(FAILURE_MA[0]), pl.lit(FAILURE_MA[1])))
        .when(c("reason") == "scaling not known for date")
        .then(pl.format("{}: {} at {}: no [[signals]] block of this tag is in force then (its since and until)", name, text, c("time_utc").dt.strftime("%Y-%m-%dT%H:%M:%SZ")))
        .when(c("reason").is_in(["unknown tag", "time in the future", "time before data_since"])).then(pl.format("{}: {} at {}", name, text, c("time_utc").dt.strftime("%Y-%m-%dT%H:%M:%SZ")))
        .when(c("reason") == "unit implausible").then(pl.format("{}: {} is in {} here; the plant file has another unit for it", name, text, c("unit_text")))
        .when(c("reason").is_not_null()).then(pl.format("{}: {}", name, text))
    )  # fmt: skip
