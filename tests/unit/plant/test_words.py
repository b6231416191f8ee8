"""What a layout says of encoding, zone, time format and marks is judged when the plant file is read, with a remedy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from pipelines.base.errors import PlantFileError
from pipelines.plant import loader
from pipelines.plant.model import Layout

ROOT = Path(__file__).resolve().parents[3]


def layout(**keys: Any) -> Layout:
    return Layout.model_validate({"id": "x", "kind": "wide", "files": "*", "time_column": "t", **keys})


def refusal(**keys: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        layout(**keys)
    return str(caught.value)


@pytest.mark.parametrize(
    "encoding", ["utf-8", "UTF8", "utf-16", "utf-16-le", "latin-1", "cp1252", "iso8859-15", "shift_jis", "cp437", "utf-8-sig"]
)
def test_encodings_that_are_known(encoding: str) -> None:
    assert layout(encoding=encoding).encoding == encoding


@pytest.mark.parametrize("encoding", ["utf-9", "", "rot13", "base64", "ansi nonsense"])
def test_encodings_that_are_none(encoding: str) -> None:
    assert "no text encoding" in refusal(encoding=encoding)


@pytest.mark.parametrize(
    "zone", ["plant", "UTC", "utc", "Z", "+01:00", "-0330", "UTC+14:00", "Asia/Kolkata", "Australia/Adelaide", "America/New_York"]
)
def test_zones_that_are_known(zone: str) -> None:
    assert layout(time_zone=zone).time_zone == zone


@pytest.mark.parametrize(
    ("zone", "says"),
    [
        ("Mars/Nowhere", "IANA"),
        ("", "IANA"),
        ("EST5", "IANA"),
        ("+1", "IANA"),
        ("../zone", "IANA"),
        ("+15:00", "no clock"),
        ("+01:75", "no clock"),
    ],
)
def test_zones_that_are_none(zone: str, says: str) -> None:
    assert says in refusal(time_zone=zone)


@pytest.mark.parametrize(
    "fmt", ["iso8601", "epoch s", "epoch ms", "serial day", "%d.%m.%Y %H:%M", "%m/%d/%y %I:%M %p", "%Y%m%d%H%M%S", "%j/%Y %H"]
)
def test_time_formats_that_give_a_date(fmt: str) -> None:
    assert layout(time_format=fmt).time_format == fmt


@pytest.mark.parametrize(
    ("fmt", "says"),
    [("yyyy-mm-dd", "no whole date"), ("%H:%M", "no whole date"), ("%d.%m %H:%M", "no whole date"), ("%d.%m.%Y %Q", "no strptime directive"),
     ("%m/%d/%Y %I:%M", "without %p"), ("epoch", "no whole date"), ("%d.%m.%Y %", "no strptime directive")],
)  # fmt: skip
def test_time_formats_that_give_none(fmt: str, says: str) -> None:
    assert says in refusal(time_format=fmt)


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"quote": ",", "delimiter": ","}, "quote is the same sign as delimiter"),
        ({"escape": '"'}, "escape is the same sign as quote"),
        ({"delimiter": "\n"}, "line end"),
        ({"decimal": ",", "thousands": ","}, "same sign as decimal"),
        ({"thousands": "0"}, "no number holds"),
        ({"quality_name": "Q"}, "{tag}"),
        ({"quality_name": "{tag}"}, "{tag}"),
        ({"quality_name": "{word}"}, "{word}"),
        ({"quality_name": "{tag} {word}"}, "once"),
        ({"quality_name": "{tag} Q", "quality_column": "Q"}, "keep one"),
        ({"quality_name": "{tag} Q", "kind": "long", "tag_column": "a", "value_column": "b"}, "belongs to a wide layout"),
    ],
)
def test_marks_and_names_that_cannot_be(keys: dict[str, Any], says: str) -> None:
    assert says in refusal(**keys)


def test_no_quote_is_an_empty_text() -> None:
    assert layout(quote="").quote is None
    assert layout().quote == '"'


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("encoding", "utf8-le", ["no text encoding is called 'utf8-le'", "utf"]),
        ("time_zone", "America/NewYork", ["nor an IANA time zone", "did you mean 'America/New_York'?"]),
        ("time_format", "dd/mm/yyyy", ["says no whole date", "%Y-%m-%d"]),
    ],
)
def test_check_plant_names_line_value_and_remedy(tmp_path: Path, key: str, value: str, told: list[str]) -> None:
    text = (ROOT / "sample_data" / "plants" / "alder-fork.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    at = next(i for i, row in enumerate(lines) if row.startswith("[[layouts]]")) + 1
    lines = [row for i, row in enumerate(lines) if not (row.startswith(f"{key} =") and at <= i < at + 14)]
    lines.insert(at, f'{key} = "{value}"')
    path = tmp_path / "alder-fork.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(PlantFileError) as caught:
        loader.load(path)
    message = str(caught.value)
    assert all(part in message for part in [f"layouts[0].{key}", value, *told]), message
    assert f"line {at + 1}" in message
