"""Text time stamps to times: wall-clock times where the text says no zone, instants where it does."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl
import pyarrow as pa
import pyarrow.compute as pa_compute

UNREADABLE = "time stamp unreadable"
UTC_US = pl.Datetime("us", "UTC")
_EARLIEST, _LATEST = datetime(1900, 1, 1), datetime(9999, 1, 1)  # noqa: DTZ001  outside of these it is no time stamp
_EPOCH_DAYS_1899 = 25_569  # days from the spreadsheet's day zero (1899-12-30) to 1970-01-01
_EPOCH_LIMIT_US = 253_370_764_800_000_000  # 9999-01-01
_AT_MIDNIGHT = {"H": "24", "M": "00", "S": "00", ".f": "(?:[.,]0+)?", "z": "[^ ]+", "#z": "[^ ]+", ":z": "[^ ]+"}  # at 24:00 of a day
_ISO = re.compile(r"^\d{4}-\d\d-\d\d([T ])\d\d:\d\d(:\d\d)?(\.\d+)?(Z|[+-]\d\d:?\d\d)?$")
_ISO_BASIC = r"^(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)"  # 20260105T101500Z
_ZONED = r"(?:[Zz]|[+-]\d\d(?::?\d\d)?)$"
_FEW = 1_000  # stamps looked at to see how often one repeats


@dataclass(frozen=True)
class Times:
    """Parsed stamps: `wall` Datetime[us] for naive ones, `instant` Datetime[us, UTC] for zoned ones, null elsewhere.

    A side that has nothing at all is None.
    """

    wall: pl.Series | None
    instant: pl.Series | None

    def readable(self) -> pl.Series:
        """Return which stamps could be read."""
        sides = [s.is_not_null() for s in (self.wall, self.instant) if s is not None]
        return sides[0] if len(sides) == 1 else sides[0] | sides[1]


def parse(text: pl.Series, time_format: str, codes: pl.Series | None = None) -> Times:
    """Read stamps by a strptime format, "iso8601", "epoch s", "epoch ms" or "serial day"; unreadable ones are null.

    With `codes`, `text` holds each stamp once and `codes` says which one a row has. Else runs of equal stamps (long files) are
    read once. 24:00 is the next midnight.
    """
    once, back = _runs(text) if codes is None else (text, codes)
    times = _bounded(_parsed(once, time_format))
    if back is None:
        return times
    return Times(*(None if s is None else s.gather(back) for s in (times.wall, times.instant)))


def is_date_only(time_format: str) -> bool:
    """Return whether a format says no time of day."""
    return "%" in time_format and re.search(r"%-?[HIklTRrcXs]", time_format) is None


def _runs(text: pl.Series) -> tuple[pl.Series, pl.Series | None]:
    head = text.head(_FEW)
    if len(text) <= _FEW or (head != head.shift(1)).sum() * 2 > len(head):
        return text, None
    begins = text.ne_missing(text.shift(1))
    begins[0] = True
    return text.filter(begins), begins.cum_sum() - 1


def _parsed(text: pl.Series, time_format: str) -> Times:
    if time_format == "iso8601":
        return _iso(text)
    if time_format in ("epoch s", "epoch ms"):
        micros = (_number(text) * (1e6 if time_format == "epoch s" else 1e3)).round()
        inside = micros.abs() < _EPOCH_LIMIT_US
        return Times(None, _where(inside, micros).cast(pl.Int64).cast(pl.Datetime("us")).dt.replace_time_zone("UTC"))
    if time_format == "serial day":
        micros = ((_number(text) - _EPOCH_DAYS_1899) * 86_400_000.0).round() * 1000.0  # a day fraction is good to about a millisecond
        inside = micros.abs() < _EPOCH_LIMIT_US
        return Times(_where(inside, micros).cast(pl.Int64).cast(pl.Datetime("us")), None)
    chrono = chrono_format(time_format)
    if "%z" in chrono:
        return Times(None, _retried(text, chrono, lambda t: _read(t, chrono, zoned=True)))
    return Times(_retried(text, chrono, lambda t: _formatted(t, chrono)), None)


def _number(text: pl.Series) -> pl.Series:
    return text.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)


def _where(keep: pl.Series, values: pl.Series) -> pl.Series:
    """Return the values where `keep` is true, else null."""
    return pl.select(pl.when(keep).then(values)).to_series()


def _bounded(times: Times) -> Times:
    """Give up times outside the years 1900 to 9998: a year written with two or five digits, a wild epoch."""
    wall, instant = times.wall, times.instant
    if wall is not None and not (_inside(wall).all()):
        wall = _where(_inside(wall), wall)
    if instant is not None and not (_inside(instant.dt.replace_time_zone(None)).all()):
        instant = _where(_inside(instant.dt.replace_time_zone(None)), instant)
    return Times(wall, instant)


def _inside(naive: pl.Series) -> pl.Series:
    return naive.is_between(_EARLIEST, _LATEST, closed="left").fill_null(True)


def chrono_format(time_format: str) -> str:
    """Return the polars (chrono) spelling of a strptime format: fractions of a second, and hours without minutes."""
    spelled = re.sub(r"[.,]%f", "%.f", time_format)
    if re.search(r"%[HI]", spelled) and "%M" not in spelled:
        spelled += " %M"
    return spelled


def _midnight_24(chrono: str) -> tuple[str, str]:
    """Return a pattern that a stamp of this format fits at 24:00 of its day, and the replacement that writes 00:00.

    Only the hour of the format itself counts: minute 24 is no midnight.
    """
    pattern, into = "", ""
    for number, (literal, directive) in enumerate(re.findall(r"([^%]*)(?:%-?(\.f|#z|:z|.))?", chrono)):
        piece = _AT_MIDNIGHT.get(directive, ".+?") if directive else ""
        if directive == "H":
            pattern += f"(?P<t{number}>{re.escape(literal)}){piece}"
            into += f"${{t{number}}}00"
        else:
            pattern += f"(?P<t{number}>{re.escape(literal)}{piece})"
            into += f"${{t{number}}}"
    return f"^{pattern}$", into


def _retried(text: pl.Series, chrono: str, read: Callable[[pl.Series], pl.Series]) -> pl.Series:
    """Read all; what could not be read is tried again with 24:00, decimal commas, a.m., Z and doubled blanks mended."""
    times = read(text)
    failed = times.is_null() & text.is_not_null() & (text != "")
    if not failed.any():
        return times
    again = text.filter(failed)
    mended = again.str.replace_all(r"\s+", " ").str.replace(r"(\d),(\d+)", "$1.$2")
    if "%p" in chrono or "%P" in chrono:
        mended = mended.str.replace(r"(?i)\b([ap])\.? ?m\.?$", "${1}m")
    if "%z" in chrono:
        mended = mended.str.replace(r"[Zz]$", "+0000")
    pattern, into = _midnight_24(chrono.removesuffix(" %M") if _has_hours_only(chrono) else chrono)
    late = mended.str.contains(pattern) if "%H" in chrono else pl.Series([False]).new_from_index(0, len(mended))
    mended = mended.str.replace(pattern, into) if late.any() else mended
    second = read(mended)
    second = pl.select(pl.when(late).then(second + timedelta(days=1)).otherwise(second)).to_series()
    return times.scatter(failed.arg_true(), second) if second.null_count() < len(second) else times


def _formatted(text: pl.Series, chrono: str) -> pl.Series:
    if is_date_only(chrono):
        return text.str.to_date(chrono, strict=False).cast(pl.Datetime("us"))
    if _has_hours_only(chrono):
        text = text + " 00"
    return _read(text, chrono, zoned=False)


def _has_hours_only(chrono: str) -> bool:
    """Return whether the minutes of a format were added by `chrono_format`."""
    return chrono.endswith(" %M") and not re.search(r"%[HI]\S*%M", chrono)


def _read(text: pl.Series, chrono: str, *, zoned: bool) -> pl.Series:
    """Read by one format to whole microseconds; null where it does not fit."""
    return text.str.to_datetime(chrono, time_unit="us", strict=False, time_zone="UTC" if zoned else None)


def _iso(text: pl.Series) -> Times:
    """ISO 8601 in its usual spellings. The first stamp shows the spelling that most others share; it is tried alone
    (fixed digits are read several times faster than free ones), the rest one spelling after the other.
    """
    first = next((t for t in text.head(_FEW) if t), "")
    shown = _iso_format(first)
    zoned_first = shown.endswith(("Z", "z"))
    found = _uniform(text, first, zoned=zoned_first)
    if found is None:
        found = _read(text, shown, zoned=zoned_first)
    wall, instant = (None, found) if zoned_first else (found, None)
    left = found.is_null() & (text.fill_null("") != "")
    if left.any():
        at, rest = left.arg_true(), text.filter(left)
        plain = rest.str.to_uppercase().str.replace(r"^(\d{4}-\d\d-\d\d)\s+", "${1}T").str.replace(r",(\d)", ".$1")
        plain = plain.str.replace(_ISO_BASIC, "${1}-${2}-${3}T${4}:${5}").str.replace(r"^(.{10}T\d\d:\d\d)(\d\d)", "${1}:${2}")
        zoned = plain.str.contains(_ZONED).fill_null(False)
        wall = _filled(wall, at, _iso_rest(_where(~zoned, plain), "", zoned=False), len(text), zoned=False)
        offsets = _where(zoned, plain).str.replace(r"\s*(Z|[+-]\d\d(?::?\d\d)?)$", "$1")
        instant = _filled(instant, at, _iso_rest(offsets, "%#z", zoned=True), len(text), zoned=True)
    return Times(wall, instant)


def _uniform(text: pl.Series, first: str, *, zoned: bool) -> pl.Series | None:
    """Read stamps of one length and spelling by Arrow's ISO 8601 reader, several times faster; None when they are not all such."""
    sizes = text.str.len_bytes()
    if not _ISO.match(first) or text.null_count() or sizes.min() != len(first) or sizes.max() != len(first):
        return None
    try:
        return pl.Series(pl.from_arrow(pa_compute.cast(text.to_arrow(), pa.timestamp("us", "UTC" if zoned else None))))
    except pa.ArrowInvalid:
        return None


def _iso_rest(text: pl.Series, tail: str, *, zoned: bool) -> pl.Series:
    """Read what the first spelling did not fit: with and without seconds, 24:00 as the next midnight, dates alone."""
    if text.null_count() == len(text):
        return pl.Series([None], dtype=UTC_US if zoned else pl.Datetime("us")).new_from_index(0, len(text))
    late = text.str.contains(r"T24:00(:00(\.0+)?)?(Z|[+-]|$)").fill_null(False)
    text = text.str.replace("T24:00", "T00:00", literal=True)
    found = _read(text, f"%Y-%m-%dT%H:%M:%S%.f{tail}", zoned=zoned)
    found = found.zip_with(found.is_not_null(), _read(text, f"%Y-%m-%dT%H:%M{tail}", zoned=zoned))
    if not zoned:
        found = found.zip_with(found.is_not_null(), text.str.to_date("%Y-%m-%d", strict=False).cast(pl.Datetime("us")))
    return pl.select(pl.when(late).then(found + timedelta(days=1)).otherwise(found)).to_series()


def _filled(side: pl.Series | None, at: pl.Series, more: pl.Series, size: int, *, zoned: bool) -> pl.Series | None:
    """Put further times into one side; None stays None when there are none."""
    if more.null_count() == len(more):
        return side
    if side is None:
        side = pl.Series([None], dtype=UTC_US if zoned else pl.Datetime("us")).new_from_index(0, size)
    return side.scatter(at, more)


def _iso_format(first: str) -> str:
    """Return the exact format of one stamp."""
    match = _ISO.match(first)
    if not match:
        return "%Y-%m-%dT%H:%M:%S"
    fraction = {0: "", 3: "%.3f", 6: "%.6f", 9: "%.9f"}.get(max(len(match[3] or "") - 1, 0), "%.f")
    zone = "" if not match[4] else "Z" if match[4] == "Z" else "%:z" if ":" in match[4] else "%z"
    return f"%Y-%m-%d{match[1]}%H:%M{':%S' if match[2] else ''}{fraction}{zone}"
