"""The locator of TOML keys: its lines against marks in the text, its keys against the standard library's parser."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pipelines.base import resources
from pipelines.plant import toml_lines
from pipelines.plant.toml_lines import Location

TEXT = '''\
top = 1
"quoted key" = 2
a.b.c = 3
text = """
[not.a.table]
x = "no"
"""
literal = \'\'\'
[[nor.this]]
\'\'\'
list = [
  1, # a [comment] with = signs
  "two ] , # no comment",
  [3, 4],
  { k = "v", deep.er = { z = 1 } },
]

[table] # [other]
k = 'a # b'

[[many]]
name = "first"

[many.sub]
x = 1

[[many.items]]
y = 1

[[many.items]]
y = 2

[[many]]
name = "second"
esc = "a \\" b ] ["

[[many.items]]
y = 3

[a.d]
e = true
'''


def leaves(value: Any, place: Location = ()) -> list[Location]:
    """All locations of a parsed TOML document."""
    found: list[Location] = [place] if place else []
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        found += leaves(inner, (*place, key))
    return found


@pytest.mark.parametrize(
    ("location", "line"),
    [
        (("top",), 1), (("quoted key",), 2), (("a", "b", "c"), 3), (("text",), 4), (("literal",), 8), (("list",), 11),
        (("list", 0), 12), (("list", 1), 13), (("list", 2, 1), 14), (("list", 3, "deep", "er", "z"), 15), (("table",), 18), (("table", "k"), 19),
        (("many",), 21), (("many", 0), 21), (("many", 0, "name"), 22), (("many", 0, "sub"), 24), (("many", 0, "sub", "x"), 25),
        (("many", 0, "items", 0), 27), (("many", 0, "items", 1, "y"), 31), (("many", 1), 33), (("many", 1, "esc"), 35),
        (("many", 1, "items", 0, "y"), 38), (("a", "d", "e"), 41),
    ],
)  # fmt: skip
def test_line_of_a_key(location: Location, line: int) -> None:
    assert toml_lines.lines(TEXT)[location] == line


def test_every_key_the_parser_sees_has_a_line_and_no_other() -> None:
    found = toml_lines.lines(TEXT)
    assert set(found) == set(leaves(tomllib.loads(TEXT)))


@pytest.mark.parametrize("path", sorted((resources.folder("sample_data") / "plants").glob("*.toml")), ids=lambda p: p.stem)
def test_sample_plant_files_are_located_whole(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    found = toml_lines.lines(text)
    assert set(found) == set(leaves(tomllib.loads(text)))
    rows = text.splitlines()
    for location, line in found.items():
        if isinstance(location[-1], str):
            assert location[-1] in rows[line - 1]


def test_lines_end_with_crlf() -> None:
    assert toml_lines.lines("a = 1\r\n[b]\r\nc = 2\r\n")[("b", "c")] == 3


def test_nearest_is_the_longest_beginning() -> None:
    found = toml_lines.lines(TEXT)
    assert toml_lines.nearest(found, ("many", 1, "items", 0, "missing")) == (("many", 1, "items", 0), 37)
    assert toml_lines.nearest(found, ("nowhere",)) == ((), None)
