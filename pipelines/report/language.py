"""The texts of the pages in the plant's language: one TOML file a language below `texts/`, with its decimal sign, dates and words. Pure once read."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any

from pipelines.base import resources

DEFAULT = "en"
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Language:
    """A language: `texts` by key, with `{name}` where values go; `days` from Monday; `months` from January."""

    code: str
    decimal: str
    thousands: str
    days: tuple[str, ...]
    months: tuple[str, ...]
    texts: dict[str, str]
    cautions: tuple[str, ...]

    def __call__(self, key: str, **values: Any) -> str:
        """Return the text of `key` with its values; KeyError when the language has no such text."""
        return self.texts[key].format(**values)

    def count(self, key: str, number: int) -> str:
        """Return "1 day", "5 days": the texts `<key>_one` or `<key>_many` with `{n}`."""
        return self(f"{key}_{'one' if number == 1 else 'many'}", n=self.numeral(f"{number:,}"))

    def numeral(self, text: str) -> str:
        """Return a number written as "1,520.3" in the signs of this language."""
        return text.translate({ord(","): self.thousands, ord("."): self.decimal})

    def word(self, kind: str, name: str) -> str:
        """Return the word for a name of a closed vocabulary ("detector", "data gap"); the name itself where the language has none."""
        return self.texts.get(f"{kind}.{name}", name.replace("_", " "))

    def why(self, reason: str) -> str:
        """Return a reason of a table in this language: its text is known with `#` for each number; one that is not known stays as it is."""
        numbers = iter(_NUMBER.findall(reason))
        known = self.texts.get(f"why.{_NUMBER.sub('#', reason)}")
        return reason if known is None else re.sub("#", lambda _: self.numeral(next(numbers, "")), known)

    def joined(self, parts: Sequence[str]) -> str:
        """Return "a", "a and b", "a, b and c"."""
        return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {self('and')} {parts[-1]}" if parts else ""

    def day(self, at: date, form: str = "short") -> str:
        """Return a day: "short" Tue 3 Mar, "long" Tuesday 3 March, "year" Tue 3 Mar 2026, "tick" 3 Mar."""
        weekday, month = self.days[at.isoweekday() - 1], self.months[at.month - 1]
        return self(f"day_{form}", weekday=weekday, wd=weekday[:3], day=at.day, month=month, mon=month[:3], year=at.year)

    def moment(self, at: datetime, form: str = "short") -> str:
        """Return a local time: its day, and hours and minutes."""
        return f"{self.day(at.date(), form)} {at:%H:%M}"


def available() -> list[str]:
    """Return the codes of the languages that have a file."""
    return sorted(p.stem for p in (resources.folder("pipelines.report") / "texts").glob("*.toml"))


@cache
def of(code: str) -> Language:
    """Return a language by its code ("en", "da"); FileNotFoundError when there is no file for it."""
    raw = tomllib.loads((resources.folder("pipelines.report") / "texts" / f"{code}.toml").read_text(encoding="utf-8"))
    signs = raw["signs"]
    return Language(
        code, signs["decimal"], signs["thousands"], tuple(raw["days"]), tuple(raw["months"]), _flat(raw["texts"]), tuple(raw["cautions"])
    )


def _flat(texts: dict[str, Any], before: str = "") -> dict[str, str]:
    """Return nested tables as one: {"role": {"sludge_flow": "x"}} to {"role.sludge_flow": "x"}."""
    found: dict[str, str] = {}
    for key, value in texts.items():
        found |= _flat(value, f"{before}{key}.") if isinstance(value, dict) else {f"{before}{key}": value}
    return found


def sentence(text: str) -> str:
    """Return a text that begins with a capital and ends with one full stop."""
    bare = text.strip().rstrip(".")
    return f"{bare[:1].upper()}{bare[1:]}."
