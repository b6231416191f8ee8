"""Any mixture of tables, titles, blank lines and damage: every record counted once, whatever the size of pieces."""

from __future__ import annotations

import csv
import io
import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines import receive
from pipelines.files.original import FileRefusedError
from pipelines.plant.model import PlantFile
from pipelines.receive.shapes import sections
from pipelines.receive.shapes.rows import FileRows

LINES = [
    "Time,Feed,Poly", "Time,Poly,Feed", "Time,Feed", "Time,Feed,Poly,Disch,", "time,tag,value", "value,tag,time", "Time,Tank A,Tank B", "Name,Remark",
    ",m3/h,m3/h", ",cmh,m3/h", "Shift report", "Page 2", "Average,1,2", "", ",,", "2026-01-05 00:00:00,1,1", "2026-01-05 00:01:00,2,x",
    "2026-01-05 00:02:00,3", "2026-01-05 00:03:00,Feed,4", "2026-01-05 00:04:00,Run,RUN", "yesterday,Feed,5", "Bo,belt washed",
    '2026-01-05 00:05:00,"two\nlines",6', '2026-01-05 00:06:00,"open,7', "2026-10-25 02:30:00,8,1", "2026-10-25 02:00:00,9,1", "2026-10-25 03:30:00,9,1",
]  # fmt: skip


@pytest.fixture(scope="module")
def plant() -> PlantFile:
    given_text = (Path(__file__).parent / "plant.toml").read_text(encoding="utf-8")
    given_plant = tomllib.loads(given_text)
    base: dict[str, Any] = given_plant.pop("base")
    own = {"minimum_parse_rate": 0.0, "footer_words": ["Average"], "time_zone": "Europe/Copenhagen"}
    layouts = [{"id": "wide", **base["wide"], **own, "unit_row": 1}, {"id": "long", **base["long"], **own}]
    return PlantFile.model_validate({**given_plant, "layouts": layouts})


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("tables") / "x.csv"


def outcome(path: Path, plant: PlantFile, piece_bytes: int | None) -> object:
    """All that came of a file, or the reason it was refused for."""
    try:
        opened = receive.open_file(path, "x.csv", plant)
        assert isinstance(opened, FileRows)
        opened.piece_bytes = piece_bytes
        chunks = list(opened.chunks())
    except FileRefusedError as refused:
        return refused.reason
    values = pl.concat([c.values for c in chunks])
    refused_rows = pl.concat([c.refused for c in chunks])
    read, dropped = sum(c.rows_read for c in chunks), sum(c.rows_dropped for c in chunks)
    told = set(values["line_no"].to_list())
    aside = refused_rows["line_no"].to_list()
    assert len(aside) == len(set(aside))
    assert not told & set(aside)
    assert read == dropped + len(told) + len(aside)
    return sorted(map(str, values.rows())), sorted(map(str, refused_rows.select("line_no", "reason", "detail").rows())), read, dropped


@settings(max_examples=120)
@given(st.lists(st.sampled_from(LINES), max_size=25), st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_every_record_is_counted_once_whatever_the_pieces(path: Path, plant: PlantFile, lines: list[str], end: str, ended: bool) -> None:
    text = end.join(["Time,Feed,Poly", ",m3/h,m3/h", *lines]) + (end if ended else "")
    path.write_text(text, encoding="utf-8", newline="")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sections, "SMALLEST_PART", 16)
        whole, small = outcome(path, plant, None), outcome(path, plant, 23)
    assert whole == small
    if isinstance(whole, tuple) and '"open' not in text:
        assert whole[2] == sum(1 for _ in csv.reader(io.StringIO(text, newline="")))
