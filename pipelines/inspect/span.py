"""Analyse the time stamps of a whole file: first and last, order, clock changes."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from pipelines.inspect.stamps import clues_of
from pipelines.plant.layout_checks import fixed_offset

if TYPE_CHECKING:
    import polars as pl

    from pipelines.plant.model import Layout

_MOST_PAIRS = 10_000  # unusual steps looked at
_MOST_DAYS = 40_000


def whole_file(utc: pl.Series, layout: Layout) -> list[str]:
    """Return the clues of all rows: `utc`, one time a row in the order of the file, told on the clock of the stamps."""
    import polars as pl

    known = utc.drop_nulls()
    if known.is_empty():
        return []
    shift = timedelta(hours=layout.interval or 0.0) if layout.stamp == "interval end" else timedelta(0)
    rows = pl.DataFrame({"at": _wall(known, layout.time_zone) + shift}).with_columns(before=pl.col("at").shift())
    moved = rows.filter(pl.col("before") != pl.col("at")).with_columns(step=pl.col("at") - pl.col("before"))
    usual = moved["step"].median() if moved.height else timedelta(0)
    assert isinstance(usual, timedelta)
    hour = timedelta(hours=1)
    odd = moved.filter((pl.col("step") < timedelta(0)) | (pl.col("step") == usual + hour)).head(_MOST_PAIRS).select("before", "at").rows()
    newest_first = bool(moved.height) and not moved.select((pl.col("step") > timedelta(0)).any()).item()
    first, last = rows["at"].min(), rows["at"].max()
    assert isinstance(first, datetime)
    assert isinstance(last, datetime)
    days = set(rows["at"].dt.day().unique().to_list())
    told = clues_of((first, last), odd, usual, layout.time_format, newest_first=newest_first, days=days)
    return [*told, *_changes(first, last, layout.time_zone)]


def _wall(utc: pl.Series, zone: str) -> pl.Series:
    offset = fixed_offset(zone)
    if offset is not None:
        return utc.dt.replace_time_zone(None) + offset
    return utc.dt.convert_time_zone(zone).dt.replace_time_zone(None)


def _changes(first: datetime, last: datetime, zone: str) -> list[str]:
    """Return a sentence when the clocks of the zone change between two times of it."""
    if fixed_offset(zone) is not None:
        return []
    tz = ZoneInfo(zone)
    for n in range(min((last.date() - first.date()).days + 1, _MOST_DAYS)):
        night = datetime(first.year, first.month, first.day, tzinfo=tz) + timedelta(days=n)
        change = (night + timedelta(days=1)).utcoffset() - night.utcoffset()  # type: ignore[operator]
        if change:
            way = "forward" if change > timedelta(0) else "back"
            return [f"the clocks of {zone} go {way} on {night:%Y-%m-%d}, within the file"]
    return []
