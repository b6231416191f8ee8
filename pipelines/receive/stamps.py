"""Text time stamps to UTC: declared format and zone, the missing hour refused, the repeated hour by file order."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import timedelta

import polars as pl

from pipelines.plantfile import Layout

UNREADABLE = "time stamp unreadable"
MISSING_HOUR = "local time does not exist"
AMBIGUOUS = "ambiguous local time"
_UTC = pl.Datetime("us", "UTC")
_EPOCH_DAYS_1899 = 25_569  # days from the spreadsheet's day zero (1899-12-30) to 1970-01-01


def parse_naive(text: pl.Series, time_format: str) -> tuple[pl.Series, bool]:
    """Return (times, is_utc): naive wall-clock times [us], or UTC when the stamps themselves say the zone.

    Unreadable texts give null. 24:00 is the next midnight.
    """
    if time_format == "iso8601":
        return _iso(text)
    if time_format in ("epoch s", "epoch ms"):
        scale = 1e6 if time_format == "epoch s" else 1e3
        return (text.cast(pl.Float64, strict=False) * scale).round().cast(pl.Int64, strict=False).cast(
            pl.Datetime("us")
        ).dt.replace_time_zone("UTC"), True
    if time_format == "serial day":
        days = text.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False) - _EPOCH_DAYS_1899
        micros = (days * 86_400_000.0).round() * 1000.0  # a stored day fraction is good to about a millisecond
        return micros.cast(pl.Int64, strict=False).cast(pl.Datetime("us")), False
    return _formatted(text, time_format), False


def _formatted(text: pl.Series, time_format: str) -> pl.Series:
    if not re.search(r"%[HIT]", time_format):
        return text.str.to_date(time_format, strict=False).cast(pl.Datetime("us"))
    if "%M" not in time_format and "%T" not in time_format:  # hour only: chrono needs minutes
        text, time_format = text + " 00", time_format + " %M"
    late = text.str.contains("24:00", literal=True) if "%H" in time_format else None
    if late is not None and late.any():
        mended = text.str.replace("24:00", "00:00", literal=True)
        times = mended.str.to_datetime(time_format, time_unit="us", strict=False)
        return times.to_frame("t").with_columns(late=late).select(pl.when("late").then(pl.col("t") + timedelta(days=1)).otherwise("t"))["t"]
    return text.str.to_datetime(time_format, time_unit="us", strict=False)


def _iso(text: pl.Series) -> tuple[pl.Series, bool]:
    """ISO 8601 in any of its usual spellings; the first value shows the spelling most others share."""
    first = next((t for t in text.head(50) if t), "")
    zoned = first.endswith("Z") or re.search(r"[+-]\d\d:?\d\d$", first) is not None
    found: pl.Series | None = None
    for fmt in dict.fromkeys((_iso_format(first), *_iso_formats(zoned))):
        times = text.str.to_datetime(fmt, time_unit="us", strict=False, time_zone="UTC" if zoned else None)
        found = times if found is None else found.zip_with(found.is_not_null(), times)
        if found.null_count() == text.null_count():
            break
    assert found is not None
    return found, zoned


def _iso_format(first: str) -> str:
    """Return the exact format of one stamp; fixed digits parse several times faster than free ones."""
    match = re.match(r"^\d{4}-\d\d-\d\d([T ])\d\d:\d\d(:\d\d)?(\.\d+)?(Z|[+-]\d\d:?\d\d)?$", first)
    if not match:
        return "%Y-%m-%dT%H:%M:%S"
    fraction = {0: "", 3: "%.3f", 6: "%.6f", 9: "%.9f"}.get(max(len(match[3] or "") - 1, 0), "%.f")
    zone = "" if not match[4] else "Z" if match[4] == "Z" else "%:z" if ":" in match[4] else "%z"
    return f"%Y-%m-%d{match[1]}%H:%M{':%S' if match[2] else ''}{fraction}{zone}"


def _iso_formats(zoned: bool) -> list[str]:
    tails = ("Z", "%:z", "%z") if zoned else ("",)
    return [f"%Y-%m-%d{sep}{clock}{tail}" for sep in "T " for clock in ("%H:%M:%S%.f", "%H:%M") for tail in tails]


@dataclass
class Localiser:
    """Turn wall-clock times into UTC, remembering where in the file it is; one per file.

    `zone` is an IANA name or "UTC" or an offset such as "+01:00". `by_tag` sequences are judged per tag when the
    file as a whole is not in time order.
    """

    layout: Layout
    plant_zone: str
    _last: list[object] = field(default_factory=lambda: [None, False])  # last naive time of the file, in second pass

    def to_utc(self, text: pl.Series, order_by: pl.Series | None = None) -> tuple[pl.Series, pl.Series]:
        """Return (time_utc Datetime[us, UTC], time_reason String); `order_by` are the tags of a long file."""
        naive, is_utc = parse_naive(text, self.layout.time_format)
        reason = pl.Series("time_reason", [None], dtype=pl.String).new_from_index(0, len(text))
        unreadable = naive.is_null()
        if is_utc:
            utc = naive
        else:
            utc, reason = self._localised(naive, reason, order_by)
        if self.layout.stamp == "interval end":
            utc = utc - timedelta(hours=self.layout.interval or 0.0)
        if unreadable.any():
            reason = reason.zip_with(~unreadable, pl.Series([UNREADABLE], dtype=pl.String).new_from_index(0, len(text)))
        return utc.cast(_UTC).alias("time_utc"), reason.alias("time_reason")

    def _localised(self, naive: pl.Series, reason: pl.Series, order_by: pl.Series | None) -> tuple[pl.Series, pl.Series]:
        zone = self.plant_zone if self.layout.time_zone == "plant" else self.layout.time_zone
        offset = re.fullmatch(r"([+-])(\d\d):?(\d\d)", zone)
        if offset:
            shift = timedelta(hours=int(offset[2]), minutes=int(offset[3])) * (1 if offset[1] == "+" else -1)
            return (naive - shift).dt.replace_time_zone("UTC"), reason
        early = naive.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null").dt.convert_time_zone("UTC")
        gone = early.is_null() & naive.is_not_null()
        if gone.any():
            reason = reason.zip_with(~gone, pl.Series([MISSING_HOUR], dtype=pl.String).new_from_index(0, len(naive)))
        late = naive.dt.replace_time_zone(zone, ambiguous="latest", non_existent="null").dt.convert_time_zone("UTC")
        twice = (early != late).fill_null(False)
        if not twice.any():
            self._last = [naive.drop_nulls().last() if naive.null_count() < len(naive) else self._last[0], False]
            return early, reason
        return self._passes(naive, early, late, twice, reason, order_by)

    def _passes(
        self, naive: pl.Series, early: pl.Series, late: pl.Series, twice: pl.Series, reason: pl.Series, order_by: pl.Series | None
    ) -> tuple[pl.Series, pl.Series]:
        """Decide for each stamp of the repeated hour whether it is the first or the second pass."""
        frame = pl.DataFrame({"naive": naive, "twice": twice}).with_row_index("i")
        frame = frame.with_columns(tag=order_by) if order_by is not None else frame.with_columns(tag=pl.lit(""))
        whole = frame.filter(pl.col("naive").is_not_null())
        outside = whole.filter(~pl.col("twice"))["naive"]
        scopes = [whole] if outside.is_sorted() else whole.partition_by("tag", maintain_order=True)
        second: list[int] = []
        unclear: list[int] = []
        for scope in scopes:
            for day in scope.filter("twice")["naive"].dt.date().unique().sort():
                late_rows, unclear_rows = self._one_hour(scope, day)
                second += late_rows
                unclear += unclear_rows
        is_second = (
            pl.Series([False]).new_from_index(0, len(naive)).scatter(second, True)
            if second
            else pl.Series([False]).new_from_index(0, len(naive))
        )
        utc = late.zip_with(is_second, early)
        if unclear:
            clear = pl.Series([True]).new_from_index(0, len(naive)).scatter(unclear, False)
            reason = reason.zip_with(clear, pl.Series([AMBIGUOUS], dtype=pl.String).new_from_index(0, len(naive)))
        self._last = [naive.drop_nulls().last(), False]
        return utc, reason

    def _one_hour(self, scope: pl.DataFrame, day: object) -> tuple[list[int], list[int]]:
        """Return (rows of the second pass, rows that cannot be told) of one repeated hour within one scope."""
        hour = scope.filter(pl.col("twice") & (pl.col("naive").dt.date() == day))
        rows, times, tags = hour["i"].to_list(), hour["naive"].to_list(), hour["tag"].to_list()
        back = [k for k in range(1, len(times)) if times[k] < times[k - 1]]
        if len(back) == 1:
            first, after = back[0], rows[back[0] :]
            clean = len(set(zip(tags[:first], times[:first], strict=True))) == first and len(
                set(zip(tags[first:], times[first:], strict=True))
            ) == len(after)
            return (after, []) if clean else ([], rows)
        if back or len(set(zip(tags, times, strict=True))) < len(times):
            return [], rows  # interleaved: the order is lost
        before = scope.filter((pl.col("i") < rows[0]) & ~pl.col("twice"))["naive"]
        behind = scope.filter((pl.col("i") > rows[-1]) & ~pl.col("twice"))["naive"]
        from_before = (len(before) > 0 and times[0] - before[-1] < timedelta(hours=1)) or (len(before) == 0 and self._near(times[0]))
        into_behind = len(behind) > 0 and behind[0] - times[-1] < timedelta(hours=1)
        if from_before and not into_behind:
            return [], []  # the file ends in the first pass
        if into_behind and not from_before:
            return rows, []  # the file begins in the second pass
        return [], rows

    def _near(self, time: object) -> bool:
        last = self._last[0]
        return last is not None and timedelta(0) <= time - last < timedelta(hours=1)  # type: ignore[operator]
