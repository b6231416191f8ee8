"""Find the line of a key in a TOML text; the standard library's parser does not keep it.

The text is valid TOML already, so the scanner only has to find its way: headers, arrays of tables (counted),
dotted keys, arrays, inline tables, strings of all four kinds, comments.
"""

from __future__ import annotations

import re
from bisect import bisect_right

Location = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]*")
_STRINGS = (  # the triple forms first; a basic string may hold escaped quotes
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


def lines(text: str) -> dict[Location, int]:
    """Return location -> line number (from 1) of every table header, key and array element of a valid TOML text."""
    return _Scanner(text.replace("\r\n", "\n")).scan()


def nearest(found: dict[Location, int], location: Location) -> tuple[Location, int | None]:
    """Return the longest beginning of a location that stands in the text, and its line; ((), None) when nothing does."""
    for size in range(len(location), 0, -1):
        if location[:size] in found:
            return location[:size], found[location[:size]]
    return (), None


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.starts = [0, *(m.end() for m in re.finditer("\n", text))]
        self.found: dict[Location, int] = {}
        self.counts: dict[Location, int] = {}

    def scan(self) -> dict[Location, int]:
        table: Location = ()
        while True:
            self.skip(_BLANK)
            if self.at >= len(self.text):
                return self.found
            table = self.header() if self.text[self.at] == "[" else self.pair(table)

    def line(self) -> int:
        return bisect_right(self.starts, self.at)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        found = match[0] if match else ""
        self.at += len(found)
        return found

    def take(self, mark: str) -> bool:
        if not self.text.startswith(mark, self.at):
            return False
        self.at += len(mark)
        return True

    def header(self) -> Location:
        """Read [a.b] or [[a.b]] and return where the keys below it belong."""
        line = self.line()
        is_array = self.take("[[")
        if not is_array:
            self.take("[")
        keys = self.keys()
        self.take("]]" if is_array else "]")
        place: Location = ()
        for index, key in enumerate(keys):
            place = (*place, key)
            if is_array and index == len(keys) - 1:
                self.counts[place] = self.counts.get(place, 0) + 1
            self.found.setdefault(place, line)
            if place in self.counts:
                place = (*place, self.counts[place] - 1)
        self.found.setdefault(place, line)
        return place

    def pair(self, table: Location) -> Location:
        """Read `key = value` of a table; returns the table."""
        line = self.line()
        place = table
        for key in self.keys():
            place = (*place, key)
            self.found.setdefault(place, line)
        self.take("=")
        self.value(place)
        return table

    def keys(self) -> list[str]:
        found = []
        while True:
            self.skip(_SPACE)
            found.append(self.skip(_BARE_KEY) or self.string()[1:-1])
            self.skip(_SPACE)
            if not self.take("."):
                return found

    def string(self) -> str:
        for pattern in _STRINGS:
            if text := self.skip(pattern):
                return text
        self.at += 1  # not in valid TOML; moves on so that the scan ends
        return ""

    def value(self, place: Location) -> None:
        self.skip(_SPACE)
        if self.take("["):
            self.items(place)
        elif self.take("{"):
            self.inline(place)
        elif self.text[self.at : self.at + 1] in ("'", '"'):
            self.string()
        else:
            self.skip(_SCALAR)

    def items(self, place: Location) -> None:
        """Read an array up to its closing bracket."""
        index = 0
        while True:
            self.skip(_BLANK)
            if self.at >= len(self.text) or self.take("]"):
                return
            self.found[(*place, index)] = self.line()
            self.value((*place, index))
            self.skip(_BLANK)
            self.take(",")
            index += 1

    def inline(self, place: Location) -> None:
        """Read an inline table up to its closing brace."""
        while True:
            self.skip(_BLANK)
            if self.at >= len(self.text) or self.take("}"):
                return
            self.pair(place)
            self.skip(_BLANK)
            self.take(",")
