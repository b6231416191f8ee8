"""What the plants' loggers write: three layouts, day by day, from what the instruments showed."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sample_data.axis import Axis
from sample_data.instruments import Shown
from sample_data.physics import Array

QUIET_DIGITS = 9  # significant digits when nothing is rounded
EXPORT_AT = time(2, 30)  # plant time of the nightly export


@dataclass(frozen=True)
class File:
    """A file as delivered: name, content, subfolder of exports/, and when it lands, plant time."""

    name: str
    content: bytes
    lands_local: datetime  # naive
    folder: str = ""

    @property
    def path(self) -> str:
        return f"{self.folder}/{self.name}" if self.folder else self.name

    def lands_utc(self, zone: ZoneInfo) -> datetime:
        """Return the instant of arrival; a time that the clock change leaves out is the one an hour later."""
        return self.lands_local.replace(tzinfo=zone).astimezone(UTC)


def morning_after(day: date, rng: np.random.Generator, quiet: bool) -> datetime:
    """Return when the export of a day lands: 02:30, or some minutes round it; now and then a day late."""
    if quiet:
        return datetime.combine(day + timedelta(days=1), EXPORT_AT)
    late = timedelta(days=int(rng.random() < 0.02))
    return datetime.combine(day + timedelta(days=1), time(2)) + timedelta(minutes=int(rng.integers(0, 60))) + late


def _columns(shown: list[Shown], quiet: bool, on: str, off: str) -> dict[str, pl.Series]:
    """Return each tag as the numbers or words written, null where nothing was recorded."""
    out = {}
    for s in shown:
        if s.kind == "state":
            column = pl.select(pl.when(pl.Series(s.values >= 0.5)).then(pl.lit(on)).otherwise(pl.lit(off))).to_series()
        elif quiet:
            column = pl.Series(s.values).round_sig_figs(QUIET_DIGITS)
        else:
            column = pl.Series(np.round(s.values, s.digits) + 0.0)
            column = column.cast(pl.Int64) if s.digits == 0 else column
        out[s.tag] = pl.select(pl.when(pl.Series(~s.gone)).then(column)).to_series()
    return out


def _days(stamps: pl.Series) -> Iterator[tuple[date, int, int]]:
    """Yield (day, first row, rows) of stamps in time order."""
    first = 0
    for size, day in stamps.dt.date().rle().struct.unnest().iter_rows():
        yield day, first, size
        first += size


def wide_files(title: str, prefix: str, ax: Axis, shown: list[Shown], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Return one file a local calendar day: two titles, blank, header, units, one row a minute by the wall clock, footers."""
    frame = pl.DataFrame({"Date/Time": ax.local.dt.strftime("%m/%d/%Y %H:%M"), **_columns(shown, quiet, "1", "0")})
    files = []
    for day, first, size in _days(ax.local):
        lands = morning_after(day, rng, quiet)
        rows = frame.slice(first, size)
        out = io.BytesIO()
        out.write(f"{title} (invented)\nExported {lands:%m/%d/%Y %H:%M}\n\n".encode())
        out.write((",".join(frame.columns) + "\n" + ",".join(["", *(s.unit for s in shown)]) + "\n").encode())
        rows.write_csv(out, include_header=False)
        numbers = rows.drop("Date/Time").with_columns(pl.all().cast(pl.Float64))
        out.write(_footers(numbers, ("Average", "Minimum", "Maximum"), ",").encode() + b"End of report\n")
        files.append(File(f"{prefix}_{day:%Y%m%d}.csv", out.getvalue(), lands))
    return files


def _footers(numbers: pl.DataFrame, words: tuple[str, str, str], delimiter: str) -> str:
    lines = []
    for word, row in zip(words, (numbers.mean(), numbers.min(), numbers.max()), strict=True):
        lines.append(delimiter.join([word, *("" if v is None else f"{v:.2f}" for v in row.row(0))]))
    return "\n".join(lines) + "\n"


def quarter_files(prefix: str, ax: Axis, shown: list[Shown], rng: np.random.Generator, quiet: bool) -> list[File]:
    """Return one file a local calendar day of 15-minute means, stamped at the end of each quarter: Latin-1, decimal comma.

    A quarter of which any minute has no record is blank. The last row of a day carries 00:00 of the next day.
    """
    size = ax.n // 15
    means = [
        Shown(
            s.tag, s.line, s.role, s.unit, s.kind, s.values[: size * 15].reshape(size, 15).mean(axis=1), s.digits, 0.0, {},
            s.gone[: size * 15].reshape(size, 15).any(axis=1),
        )
        for s in shown
    ]  # fmt: skip
    local = ax.local.gather_every(15).head(size)
    ends = (ax.utc.gather_every(15).head(size) + timedelta(minutes=15)).dt.convert_time_zone("Europe/Copenhagen")
    columns = _columns(means, quiet, "Drift", "Stop")
    written = pl.DataFrame({"Tidspunkt": ends.dt.strftime("%d-%m-%Y %H:%M"), **columns})
    written = written.with_columns(pl.col(s.tag).cast(pl.String).str.replace(".", ",", literal=True) for s in shown if s.kind != "state")
    numbers = pl.DataFrame({s.tag: columns[s.tag].cast(pl.Float64) if s.kind != "state" else pl.Series(s.values) for s in means})
    files = []
    for day, first, rows in _days(local):
        out = io.BytesIO()
        out.write((";".join(written.columns) + "\n" + ";".join(["", *(s.unit for s in shown)]) + "\n").encode())
        written.slice(first, rows).write_csv(out, include_header=False, separator=";", quote_style="never")
        out.write(_footers(numbers.slice(first, rows), ("Middel", "Minimum", "Maksimum"), ";").replace(".", ",").encode())
        content = out.getvalue().decode("utf-8").encode("latin-1")
        files.append(File(f"{prefix}_{day:%Y%m%d}.csv", content, morning_after(day, rng, quiet)))
    return files


_SILENCE_MIN = {"analog": 10, "state": 240, "total": 5}  # longest time between records


def change_files(prefix: str, ax: Axis, shown: list[Shown], rng: np.random.Generator, *, quiet: bool, deadband: bool) -> list[File]:
    """Return one long file a UTC day, by exception: a record when a value leaves its deadband or its status changes.

    Each file begins with the values as they stand, and no tag stays silent longer than its limit.
    """
    tag, minute = logged(ax, shown, deadband)
    first_us = int(ax.utc.to_physical()[0])
    jitter_us = np.zeros(len(tag), dtype=np.int64) if quiet else rng.integers(2000, 9000, len(tag)) * 1000
    time_us = first_us + minute * 60_000_000 + jitter_us
    order = np.lexsort((tag, time_us))
    tag, minute = tag[order], minute[order]
    frame = pl.DataFrame({
        "time": pl.Series(time_us[order]).cast(pl.Datetime("us")),
        "point": pl.Series([s.tag for s in shown]).gather(pl.Series(tag)),
        "value": _texts(shown, tag, minute, quiet), "status": _statuses(shown, tag, minute),
    })  # fmt: skip
    written = frame.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S.%3fZ"))
    files = []
    for day, first, rows in _days(frame["time"]):
        out = io.BytesIO()
        out.write(b"timestamp,point,value,status\n")
        written.slice(first, rows).write_csv(out, include_header=False)
        out.write(f"# rows {rows}\n".encode())
        files.append(File(f"{prefix}_{day:%Y%m%d}.csv", out.getvalue(), morning_after(day, rng, quiet)))
    return files


def logged(ax: Axis, shown: list[Shown], deadband: bool) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (tag number, minute) of every record. All days and tags step through the minutes of the day together."""
    lead = int(ax.utc.to_physical()[0]) // 60_000_000 % 1440  # minutes of the first UTC day before the axis
    days = -(-(lead + ax.n) // 1440)
    value = _padded(np.stack([s.values for s in shown]), lead, days, np.nan)
    gone = _padded(np.stack([s.gone for s in shown]), lead, days, True)
    status = _padded(np.stack([_status_numbers(s, ax.n) for s in shown]), lead, days, 0)
    totals = np.array([s.kind == "total" for s in shown])[:, None]
    band = np.array([(s.deadband if deadband else 0.0) for s in shown])[:, None]
    silence = np.array([_SILENCE_MIN[s.kind] for s in shown])[:, None]
    keep = np.zeros(value.shape, dtype=bool)
    last, word, since = np.full(value.shape[:2], np.nan), np.full(value.shape[:2], -1), np.zeros(value.shape[:2], dtype=np.int64)
    for m in range(1440):
        now, said = value[:, :, m], status[:, :, m]
        moved = ~(np.abs(now - last) <= band) & ~totals
        record = ~gone[:, :, m] & (moved | (since >= silence) | (word != said))
        keep[:, :, m] = record
        last, word, since = np.where(record, now, last), np.where(record, said, word), np.where(record, 1, since + 1)
    tag, day, minute = np.nonzero(keep)
    return tag, day * 1440 + minute - lead


def _padded(rows: NDArray, lead: int, days: int, fill: float) -> NDArray:  # type: ignore[type-arg]
    """Return (tags, minutes) as (tags, UTC days, minutes of the day), filled where the axis has no minute."""
    out = np.full((rows.shape[0], days * 1440), fill, dtype=rows.dtype)
    out[:, lead : lead + rows.shape[1]] = rows
    return out.reshape(rows.shape[0], days, 1440)


def _status_numbers(s: Shown, n: int) -> Array:
    number = np.zeros(n)
    for k, minutes in enumerate(s.status.values(), 1):
        number[minutes] = k
    return number


def _texts(shown: list[Shown], tag: NDArray[np.int64], minute: NDArray[np.int64], quiet: bool) -> pl.Series:
    text = np.empty(len(tag), dtype=object)
    for k, s in enumerate(shown):
        mine = tag == k
        values = s.values[minute[mine]]
        if s.kind == "state":
            text[mine] = np.where(values >= 0.5, "RUN", "STOP")
        elif s.kind == "total":
            text[mine] = pl.Series(values).cast(pl.Int64).cast(pl.String).to_numpy()
        else:
            column = pl.Series(values).round_sig_figs(QUIET_DIGITS) if quiet else pl.Series(np.round(values, s.digits) + 0.0)
            text[mine] = column.cast(pl.String).to_numpy()
    return pl.Series(text, dtype=pl.String)


def _statuses(shown: list[Shown], tag: NDArray[np.int64], minute: NDArray[np.int64]) -> pl.Series:
    text = np.full(len(tag), "Good", dtype=object)
    for k, s in enumerate(shown):
        for word, minutes in s.status.items():
            text[(tag == k) & minutes[minute]] = word
    return pl.Series(text, dtype=pl.String)
