"""Restatement of operating days: which late data wait for a command, and which days a backfill computes again.

Days that were published and lie more than `restate_days` before the plant's newest day are not restated by themselves when a late
file speaks of them: they are put on the list `held`, and `backfill` takes them off. The age counts from the newest data, not from the
clock, so that a night gives the same tables whenever it runs. A rebuild and a changed plant file compute all days and hold none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta

from pipelines.base.errors import DataMissingError, Notice
from pipelines.plant.model import PlantFile
from pipelines.store.plant_store import Store

STAGE = "held"
HELD = "restatement.held"  # name of the notice
PIECE_DAYS = 62  # computed at a time, so that progress is seen and a kill costs a piece at most


def days_to_hold(store: Store, plant_file: PlantFile) -> frozenset[date]:
    """Return the published operating days that are too old to be restated without a command."""
    newest = store.rows("SELECT max(last_utc) FROM loads")[0][0]
    if newest is None:
        return frozenset()
    limit = plant_file.calendar.operating_day(newest) - timedelta(days=plant_file.plant.restate_days)
    sql = "SELECT DISTINCT operating_day FROM kpi_day_history WHERE operating_day < $limit"
    return frozenset(day for (day,) in store.rows(sql, {"limit": limit}))


def notices(store: Store, before: Sequence[date]) -> list[Notice]:
    """Return a notice of the days held now that were not held `before`."""
    held = sorted(set(store.pending_days(STAGE)) - set(before))
    if not held:
        return []
    sentence = (
        f"late data for {len(held)} published operating day{'s' if len(held) > 1 else ''} ({held[0]} to {held[-1]}) are older than the "
        f"restatement horizon: taken in, but the published numbers stay until flocledger backfill --plant {store.plant}"
    )
    return [Notice(HELD, sentence, {"first": str(held[0]), "last": str(held[-1]), "days": len(held)})]


def pieces(store: Store, first: date | None, last: date | None) -> list[tuple[date, date]]:
    """Return the operating days to compute again as spans of at most `PIECE_DAYS`: `first` to `last`, by default the days held.

    DataMissingError when the plant has no minutes there, or no day is held.
    """
    held = store.pending_days(STAGE)
    if first is None and last is None and not held:
        raise DataMissingError(f"no late data of {store.plant} wait for a restatement", remedy="name the days with --from and --to")
    from_day, to_day = store.rows("SELECT min(operating_day), max(operating_day) FROM minutes")[0]
    begin = max(first or (held[0] if last is None else date.min), from_day or date.max)
    end = min(last or (held[-1] if first is None else date.max), to_day or date.min)
    if begin > end:
        said = f"from {first or 'the first day'} to {last or 'the last day'}"
        raise DataMissingError(f"{store.plant} has no minutes {said}", remedy="`flocledger status` shows the days with data")
    return list(_cut(begin, end))


def mark(store: Store, plant_file: PlantFile, first: date, last: date) -> None:
    """Put the hours of a span of operating days on the work list, and take its days off the list of days held."""
    begin, end = plant_file.calendar.day_start(first), plant_file.calendar.day_end(last)
    with store.transaction():
        store.mark_hours(begin, end - timedelta(microseconds=1))
        store.mark_days("compute", (first + timedelta(days=k) for k in range((last - first).days + 1)))
        store.con.execute(
            "DELETE FROM pending_days WHERE stage = $s AND operating_day BETWEEN $a AND $b", {"s": STAGE, "a": first, "b": last}
        )


def unheld_spans(plant_file: PlantFile, first: datetime, end: datetime, held: frozenset[date]) -> Iterator[tuple[datetime, datetime]]:
    """Return the parts of [first, end) that lie in operating days which are not held."""
    calendar, start = plant_file.calendar, None
    day, last = calendar.operating_day(first), calendar.operating_day(end - timedelta(microseconds=1))
    while day <= last:
        if day not in held and start is None:
            start = max(first, calendar.day_start(day))
        elif day in held and start is not None:
            yield start, calendar.day_start(day)
            start = None
        day += timedelta(days=1)
    if start is not None:
        yield start, end


def _cut(begin: date, end: date) -> Iterator[tuple[date, date]]:
    while begin <= end:
        yield begin, min(end, begin + timedelta(days=PIECE_DAYS - 1))
        begin += timedelta(days=PIECE_DAYS)
