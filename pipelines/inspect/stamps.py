"""Which time format do these texts have, and what do they say of order, clock and zone?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise

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
_TIMES = ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%I:%M:%S %p", "%I:%M %p", "%H.%M", "%H:%M:%S,%f", "%H")
_ISO = re.compile(r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d+)?)?\s*(Z|[+-]\d\d:?\d\d)$|^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d([.,]\d+)?)?$")
_EPOCH0 = datetime(1899, 12, 30)  # noqa: DTZ001  spreadsheet day zero, wall clock


@dataclass(frozen=True)
class StampGuess:
    """A time format and what speaks for or against it."""

    time_format: str
    share: float  # of the texts that parse
    date_only: bool
    clues: tuple[str, ...]
    open_question: str | None
    has_zone: bool


_FEW = 20  # texts of which at least one must fit a format that fits most


def guess(texts: Sequence[str]) -> StampGuess | None:
    """Return the format that reads most of the texts (at least 80 %), or None."""
    seen = [t.strip().lstrip("'") for t in texts if t.strip()][:3000]
    if not seen:
        return None
    if sum(bool(_ISO.match(t)) for t in seen) >= 0.8 * len(seen):
        zoned = any(t.endswith("Z") or re.search(r"[+-]\d\d:?\d\d$", t) for t in seen)
        clue = "stamps carry their own offset" if zoned else "no offset in the stamps"
        return StampGuess("iso8601", 1.0, False, (clue,), None if zoned else "which time zone are the stamps in?", zoned)
    numeric = _numeric(seen)
    if numeric:
        return numeric
    candidates = [(f"{d} {t}" if t else d) for d in _DATES for t in (*_TIMES, "")]
    scored = [(share, fmt) for fmt in candidates if (share := _share(seen, fmt)) >= 0.8]
    if not scored:
        return None
    top = max(s for s, _ in scored)
    equal = [fmt for share, fmt in scored if share >= top - 1e-9]
    chosen = max(equal, key=lambda fmt: (_in_order(seen, fmt), -candidates.index(fmt)))
    return StampGuess(
        chosen, top, not any(t in chosen for t in ("%H", "%I")), tuple(_clues(seen, chosen)), _doubt(equal, chosen, seen), False
    )


def _numeric(seen: Sequence[str]) -> StampGuess | None:
    numbers = [float(t.replace(",", ".")) for t in seen if re.fullmatch(r"\d+([.,]\d+)?", t)]
    if len(numbers) < 0.8 * len(seen):
        return None
    middle = sorted(numbers)[len(numbers) // 2]
    if 9e8 < middle < 4e9:
        return StampGuess("epoch s", 1.0, False, ("seconds since 1970, UTC by definition",), None, True)
    if 9e11 < middle < 4e12:
        return StampGuess("epoch ms", 1.0, False, ("milliseconds since 1970, UTC by definition",), None, True)
    if 36_000 < middle < 60_000:
        day = (_EPOCH0 + timedelta(days=middle)).date().isoformat()
        return StampGuess("serial day", 1.0, False, (f"spreadsheet days, about {day}",), "which time zone are the stamps in?", False)
    return None


@lru_cache(maxsize=100_000)
def parse(text: str, fmt: str) -> datetime | None:
    """Return the naive time of a text, or None; 24:00 is the next midnight."""
    text = text.strip()
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
    clues = []
    backwards = [(a, b) for a, b in pairwise(times) if b < a]
    if backwards:
        a, b = backwards[0]
        hour = timedelta(minutes=30) <= a - b <= timedelta(minutes=90)
        clues.append(f"clock steps back at {a:%Y-%m-%d %H:%M}" + (": a repeated hour, so local time with daylight saving" if hour else ""))
    if any(s.day > 12 for s in times):
        clues.append("a day above 12 was seen, so day and month are told apart")
    return clues


def _doubt(equal: Sequence[str], chosen: str, seen: Sequence[str]) -> str | None:
    def first(fmt: str) -> tuple[int, ...] | None:
        found = parse(seen[0], fmt)
        return found.timetuple()[:5] if found else None

    others = [fmt for fmt in equal if first(fmt) != first(chosen)]
    if others:
        return f"day and month cannot be told apart from this file: {chosen!r} or {others[0]!r}?"
    return "which time zone are the stamps in?"
