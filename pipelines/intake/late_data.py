"""Late and odd data: lines whose last readings are older than a day, files whose days are far apart."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from pipelines.base import sanitise
from pipelines.base.errors import Notice, UsageError
from pipelines.base.receipts import Receipt
from pipelines.plant.model import PlantFile
from pipelines.runs.summary import NO_DATA
from pipelines.store import Store

NAME = NO_DATA  # of the notice
FAR_APART = "file.days_far_apart"
LONG_SPAN, FEW_DAYS = 60, 0.1  # a file over so many days with readings on less than this share of them (rule of this project)
CLOCK_CORRECTION = timedelta(minutes=5)  # a clock set back by so much changes nothing that matters
AT_MOST = timedelta(days=1)  # exports come once a day; common practice, no source
LOOKED_AT = 8  # last steps from one delivery's end to the next: their median is how seldom a plant delivers


def late(store: Store, plant_file: PlantFile, when: datetime) -> list[Notice]:
    """Return a notice of the lines whose last reading lies more than a day before `when` (UTC); none when there is no such line.

    Where files come less often than daily, the limit is a day more than their usual interval. Signals that ended and lines without signals of their own are ignored.
    """
    since = when - _patience(store)
    tags = {
        line.id: [s.tag for s in plant_file.signals_of(line.id) if s.line == line.id and plant_file.calendar.until(s.until) > since]
        for line in plant_file.lines
    }
    recent = "SELECT DISTINCT t.tag FROM packed_readings r JOIN tag_numbers t USING (tag_no) WHERE r.time_utc >= $since"
    seen = {tag for (tag,) in store.rows(recent, {"since": since})}
    last = {line: _last(store, own) for line, own in tags.items() if own and seen.isdisjoint(own)}
    if not last:
        return []
    spans: dict[str, list[str]] = {}
    for line, at in last.items():
        spans.setdefault("no data yet" if at is None else f"no data after {at:%Y-%m-%d %H:%M} UTC", []).append(line)
    sentence = "; ".join(f"{said} for {', '.join(lines)}" for said, lines in sorted(spans.items()))
    return [Notice(NAME, sentence, {line: None if at is None else at.isoformat() for line, at in last.items()})]


def far_apart(store: Store, receipts: Iterable[Receipt]) -> list[Notice]:
    """Return a notice for each file that spans a long time with readings on few days: one wrong stamp extends a plant's record."""
    sql = "SELECT min(operating_day), max(operating_day), count(*) FROM load_days WHERE load_id = $id"
    notices = []
    for receipt in receipts:
        first, last, days = store.rows(sql, {"id": receipt.load_id})[0]
        span = (last - first).days + 1 if days else 0
        if span > LONG_SPAN and days < FEW_DAYS * span:
            sentence = (
                f"{sanitise.name(receipt.file_name)} has readings on {days} of the {span:,} days it spans, the first on {first}; "
                "if that date is wrong, give the plant file data_since and run flocledger rebuild"
            )
            notices.append(Notice(FAR_APART, sentence, {"file": receipt.file_name, "first": str(first)}))
    return notices


def check_clock(store: Store, when: datetime) -> None:
    """Raise UsageError when `when` (UTC) lies before the newest receipt of the plant: the clock is behind now, or was ahead then.

    Rows after the time of receipt are set aside, so a night with a clock behind would set good data aside.
    """
    newest, first_seq, last_seq = store.rows(
        "SELECT max(received_utc), min(received_seq) FILTER (received_utc > $limit), max(received_seq) FILTER (received_utc > $limit) FROM loads",
        {"limit": when + CLOCK_CORRECTION},
    )[0]
    if first_seq is None:
        return
    receipts = f"{first_seq}" if first_seq == last_seq else f"{first_seq}-{last_seq}"
    raise UsageError(
        f"now is {when:%Y-%m-%d %H:%M:%S} UTC, which lies before the newest receipt of {store.plant} ({newest:%Y-%m-%d %H:%M:%S} UTC); nothing was taken in",
        remedy=f"set the clock of this machine; if it is right now and was ahead then, run "
        f"`flocledger rebuild --plant {store.plant} --receipt {receipts}=<time of receipt>`",
    )


def _patience(store: Store) -> timedelta:
    """Return how old the last reading may be: a day, or a day more than the usual step between deliveries."""
    ends = "SELECT DISTINCT last_utc FROM loads WHERE last_utc IS NOT NULL ORDER BY last_utc DESC LIMIT $n"
    found = [at for (at,) in store.rows(ends, {"n": LOOKED_AT + 1})]
    steps = [later - earlier for later, earlier in pairwise(found)]
    usual = median(steps) if steps else timedelta(0)
    return AT_MOST if usual <= AT_MOST + timedelta(hours=1) else usual + AT_MOST  # an hour: the night the clocks go back


def _last(store: Store, tags: list[str]) -> datetime | None:
    """Return the time of the last reading of some tags."""
    sql = "SELECT max(r.time_utc) FROM packed_readings r JOIN tag_numbers t USING (tag_no) WHERE list_contains($tags, t.tag)"
    found: datetime | None = store.rows(sql, {"tags": tags})[0][0]
    return found
