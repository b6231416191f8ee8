"""Guess time format, order, clock and zone from time stamps."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise

from pipelines.base import clock

_DATES = (
    "%Y-%m-%d",
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%d-%m-%Y",
    "%d.%m.%Y",
    "%Y/%m/%d",
    "%d-%b-%Y",
    "%d-%b-%y",
    "%d %b %Y",
    "%m/%d/%y",
    "%d/%m/%y",
    "%d.%m.%y",
    "%m-%d-%Y",
    "%Y%m%d",
)
_JOINED = ("%Y%m%d%H%M%S", "%Y%m%d%H%M", "%Y%m%d %H%M%S", "%Y%m%d_%H%M%S")
_BARE = ("epoch s", "epoch ms", "serial day", "%Y%m%d", "%Y%m%d%H%M%S", "%Y%m%d%H%M")
_TIMES = ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%I:%M:%S %p", "%I:%M %p", "%H.%M", "%H:%M:%S,%f", "%H")
ZONE_QUESTION = "which time zone are the stamps in?"
_LOOKED_AT = 5_000  # stamps looked at, one of a run of equal ones
_ISO = re.compile(r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d+)?)?\s*(Z|[+-]\d\d:?\d\d)$|^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d([.,]\d+)?)?$")
_CHANGES = (3, 4, 9, 10, 11)  # months in which clocks change, north and south (common practice, no source)
_DATE_LIKE = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}|\d{1,2}[- ][^\W\d_]{3,4}\.?[- ]\d{2,4}|\d{8}")
_EPOCH0 = datetime(1899, 12, 30)  # noqa: DTZ001  spreadsheet day zero, wall clock
_YEARS_BACK, _YEARS_AHEAD = 20, 1  # spreadsheet days further from today are some other number (rule of this project)


@dataclass(frozen=True)
class StampGuess:
    """A time format with evidence for and against it."""

    time_format: str
    share: float  # of the texts that parse
    date_only: bool
    clues: tuple[str, ...]
    open_questions: tuple[str, ...]
    has_zone: bool
    nature: tuple[str, ...] = ()  # the clues that the way of writing alone gives

    @property
    def is_bare(self) -> bool:
        """Return whether the stamps are bare numbers, as the readings of a register are too."""
        return self.time_format in _BARE


_TOLD_APART = 500  # stamps over which two formats that read alike are told apart
_FEW = 20  # texts of which at least one must fit a format that fits most


def guess(texts: Sequence[str]) -> StampGuess | None:
    """Return the format that reads most of the texts (at least 80 %), or None."""
    told = [t.strip().lstrip("'") for t in texts if t.strip()]
    seen = [t for i, t in enumerate(told) if i == 0 or t != told[i - 1]][:_LOOKED_AT]  # long files repeat a stamp tag after tag
    every = told[:: max(len(told) // _LOOKED_AT, 1)]  # a date that stands in every row counts as often as it stands
    if not seen:
        return None
    if sum(bool(_ISO.match(t)) for t in every) >= 0.8 * len(every):
        zoned = any(t.endswith("Z") or re.search(r"[+-]\d\d:?\d\d$", t) for t in seen if _ISO.match(t))
        nature = ("stamps carry their own offset" if zoned else "no offset in the stamps",)
        questions = () if zoned else (ZONE_QUESTION,)
        days_only = len(seen) > 1 and all(re.search(r"T00:00(:00)?$", t) for t in seen if _ISO.match(t))  # dates of a workbook
        return StampGuess("iso8601", 1.0, days_only, (*nature, *_clues(seen, "iso8601")), questions, zoned, nature)
    numeric = _numeric(seen)
    if numeric:
        return numeric
    if sum(bool(_DATE_LIKE.search(t)) for t in seen[:_FEW]) < 0.5 * len(seen[:_FEW]):
        return None
    every_format = [*((f"{d} {t}" if t else d) for d in _DATES for t in (*_TIMES, "")), *_JOINED]
    signs = set("".join(seen[:_FEW]))
    candidates = [fmt for fmt in every_format if signs.issuperset(re.sub(r"%.|\s", "", fmt))]
    scored = [(share, fmt) for fmt in candidates if (share := _share(every, fmt)) >= 0.8]
    if not scored:
        return None
    top = max(s for s, _ in scored)
    equal = [fmt for share, fmt in scored if share >= top - 1e-9]
    chosen = max(equal, key=lambda fmt: (_in_order(seen, fmt), -candidates.index(fmt)))
    return StampGuess(
        chosen, top, not any(t in chosen for t in ("%H", "%I")), tuple(_clues(seen, chosen)), _doubts(equal, chosen, seen), False
    )


def _numeric(seen: Sequence[str]) -> StampGuess | None:
    numbers = [float(t.replace(",", ".")) for t in seen if re.fullmatch(r"\d+([.,]\d+)?", t)]
    if len(numbers) < 0.8 * len(seen):
        return None
    middle = sorted(numbers)[len(numbers) // 2]
    if 9e8 < middle < 4e9:
        nature = ("seconds since 1970, UTC by definition",)
        return StampGuess("epoch s", 1.0, False, (*nature, *_clues(seen, "epoch s")), (), True, nature)
    if 9e11 < middle < 4e12:
        nature = ("milliseconds since 1970, UTC by definition",)
        return StampGuess("epoch ms", 1.0, False, (*nature, *_clues(seen, "epoch ms")), (), True, nature)
    today = (clock.now_utc().replace(tzinfo=None) - _EPOCH0).days
    if today - 365 * _YEARS_BACK < middle < today + 365 * _YEARS_AHEAD:
        day = (_EPOCH0 + timedelta(days=middle)).date().isoformat()
        nature = (f"spreadsheet days, about {day}",)
        return StampGuess("serial day", 1.0, False, (*nature, *_clues(seen, "serial day")), (ZONE_QUESTION,), False, nature)
    return None


def _named(text: str, fmt: str) -> datetime | None:
    """Return the naive time of a stamp in ISO 8601 (as written), an epoch (UTC) or spreadsheet days."""
    try:
        if fmt == "iso8601":
            return datetime.fromisoformat(text.replace(",", ".")).replace(tzinfo=None) if _ISO.match(text) else None
        number = float(text.replace(",", "."))
        if fmt == "serial day":
            return _EPOCH0 + timedelta(seconds=round(number * 86_400))
        return datetime.fromtimestamp(number / (1000 if fmt == "epoch ms" else 1), UTC).replace(tzinfo=None)
    except (ValueError, OverflowError, OSError):
        return None


@lru_cache(maxsize=100_000)
def parse(text: str, fmt: str) -> datetime | None:
    """Return the naive time of a text, or None; 24:00 is the next midnight."""
    text = text.strip().lstrip("'")
    if "%" not in fmt:
        return _named(text, fmt)
    late = re.search(r"(?<![\d:])24:00(:00)?\b", text)
    if late and "%H" in fmt:
        text = text.replace(late[0], late[0].replace("24", "00", 1), 1)
    try:
        if fmt == "iso8601":
            return datetime.fromisoformat(text).replace(tzinfo=None)
        found = datetime.strptime(text, fmt)  # noqa: DTZ007  wall clock of an unknown zone
    except ValueError:
        return None
    return found + timedelta(days=1) if late and "%H" in fmt else found


def _share(seen: Sequence[str], fmt: str) -> float:
    probe = seen if len(seen) <= 200 else [*seen[:100], *seen[-100:]]
    if not any(parse(t, fmt) for t in probe[:: max(len(probe) // _FEW, 1)]):
        return 0.0
    first = sum(parse(t, fmt) is not None for t in probe) / len(probe)
    return sum(parse(t, fmt) is not None for t in seen) / len(seen) if first >= 0.6 and len(seen) > 200 else first


def _in_order(seen: Sequence[str], fmt: str) -> float:
    times = [t for t in (parse(s, fmt) for s in seen) if t]
    if len(times) < 2:
        return 1.0
    jumps = sum(1 for a, b in pairwise(times) if not timedelta(0) <= b - a <= timedelta(days=2))
    return 1.0 - jumps / (len(times) - 1)


def _clues(seen: Sequence[str], fmt: str) -> list[str]:
    times = [t for t in (parse(s, fmt) for s in seen) if t]
    if not times:
        return []
    pairs = list(pairwise(times))
    steps = sorted(b - a for a, b in pairs)
    usual = steps[len(steps) // 2] if steps else timedelta(0)
    return clues_of(
        (min(times), max(times)), pairs, usual, fmt, newest_first=bool(steps) and steps[-1] <= timedelta(0), days={t.day for t in times}
    )


def clues_of(
    span: tuple[datetime, datetime],
    pairs: Sequence[tuple[datetime, datetime]],
    usual: timedelta,
    fmt: str,
    *,
    newest_first: bool,
    days: set[int],
) -> list[str]:
    """Return what naive times say of order and clock; `pairs`: stamps that follow each other; only steps back and those of an hour above the `usual` one are needed.

    `days`: the days of the month that were seen.
    """
    clues = [f"from {span[0]:%Y-%m-%d %H:%M} to {span[1]:%Y-%m-%d %H:%M}"]
    backwards = [(a, b) for a, b in pairs if b < a]
    if newest_first:
        clues.append("newest first")
    elif backwards:
        a, b = next((p for p in backwards if _is_an_hour(*p)), backwards[0])
        repeated = ": a repeated hour, so local time with daylight saving" if _is_an_hour(a, b) else ""
        clues.append(f"clock steps back at {a:%Y-%m-%d %H:%M}{repeated}")
    if gone := [a for a, b in pairs if _is_missing_hour(a, b, usual)]:
        clues.append(f"an hour is missing after {gone[0]:%Y-%m-%d %H:%M}: perhaps local time where daylight saving begins")
    if re.search("%[dm].%[dm]", fmt):
        clues.append(
            "a day above 12 was seen, so day and month are told apart"
            if max(days) > 12
            else "no day above 12 was seen to tell day and month apart"
        )
    return clues


def _is_an_hour(before: datetime, after: datetime) -> bool:
    """Return whether the clock steps back within an hour of a Sunday night in spring or autumn, as where daylight saving ends."""
    is_night = before.weekday() == 6 and before.hour <= 3 and before.month in _CHANGES
    return is_night and timedelta(minutes=30) <= before - after <= timedelta(minutes=60)


def _is_missing_hour(before: datetime, after: datetime, usual: timedelta) -> bool:
    """Return whether rows of a steady step leave out just one hour of a night from Saturday to Sunday in spring or autumn."""
    is_night = after.weekday() == 6 and before.hour <= 3 and after.month in _CHANGES
    return is_night and timedelta(0) < usual <= timedelta(hours=1) and after - before == usual + timedelta(hours=1)


def _doubts(equal: Sequence[str], chosen: str, seen: Sequence[str]) -> tuple[str, ...]:
    """Return what stays open of stamps without a zone: which zone, and day or month first where both read."""

    def read(fmt: str) -> list[datetime | None]:
        return [parse(text, fmt) for text in seen[:_TOLD_APART]]

    others = [fmt for fmt in equal if read(fmt) != read(chosen)]
    if others:
        return f"day and month cannot be told apart from this file: {chosen!r} or {others[0]!r}?", ZONE_QUESTION
    return (ZONE_QUESTION,)
