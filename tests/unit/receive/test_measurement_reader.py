"""Pieces typed in one pass say what the text reader says: against polars' own numbers, and table against table."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines import receive
from pipelines.check.readings.signals import Signals
from pipelines.check.readings.values import Typed, typed
from pipelines.files.pieces import Chunk
from pipelines.plant.model import Layout, PlantFile
from pipelines.receive.shapes import kinds, measurement_reader
from pipelines.receive.shapes.header import Header, find
from pipelines.receive.shapes.measurement_reader import MeasurementReader
from pipelines.receive.shapes.record_fields import Columns
from pipelines.receive.times import stamps
from tests.plants import EMULSION, FLOW, plant_file

RECEIVED = datetime(2026, 1, 8, tzinfo=UTC)
LONG = {
    "id": "long", "kind": "long", "files": "*.csv", "time_column": "time", "time_format": "iso8601", "time_zone": "UTC",
    "tag_column": "tag", "value_column": "value", "quality_column": "quality",
}  # fmt: skip
WIDE = {"id": "wide", "kind": "wide", "files": "*.csv", "time_column": "time", "time_format": "iso8601", "time_zone": "UTC"}


def plant(**layout: Any) -> PlantFile:
    """A plant of two signals and one layout."""
    flow, polymer = (
        FLOW | {"tag": "Feed", "range": [0, 200]},
        {"role": "polymer_neat_flow", "tag": "Poly ä", "unit": "L/h", "range": [0, 200]},
    )
    return plant_file(flow, polymer, layouts=(layout,), blocks={"polymers": [EMULSION]}, time_zone="Europe/Berlin")


def chunks(path: Path, layout: dict[str, Any], text: str, *, may_measure: bool, piece_bytes: int | None = None) -> list[Chunk]:
    path.write_bytes(text.encode())
    opened = receive.open_file(path, path.name, plant(**layout), may_measure=may_measure)
    opened.piece_bytes = piece_bytes
    return list(opened.chunks())


def judged(path: Path, layout: dict[str, Any], text: str, *, may_measure: bool, piece_bytes: int | None = None) -> tuple[list[Any], bool]:
    """What check makes of a file, piece after piece, and whether any piece was measured."""
    file, found, measured = plant(**layout), [], False
    signals = Signals.of(file)
    for chunk in chunks(path, layout, text, may_measure=may_measure, piece_bytes=piece_bytes):
        measured |= chunk.written is not None
        said = (
            typed(chunk.values, signals, file.layouts[0], RECEIVED, chunk.written)
            if chunk.values.height
            else Typed(pl.DataFrame(), False, pl.DataFrame())
        )
        found.append(
            (
                said.readings.rows(),
                said.has_repeats,
                said.failed.rows(),
                said.steps,
                chunk.refused.rows(),
                chunk.rows_read,
                chunk.rows_dropped,
                chunk.values.height,
            )
        )
    return found, measured


def reader(columns: Columns) -> MeasurementReader:
    how = kinds.reading(columns.layout).measurements
    assert how is not None
    return MeasurementReader(columns, how)


def as_arrow_reads(texts: list[str], decimal: str = ".") -> list[float] | None:
    layout = Layout.model_validate({**LONG, "decimal": decimal, "delimiter": ";"})
    columns = Columns(layout, Header(("time", "tag", "value", "quality"), (), 2, 30, {}))
    piece = "".join(f"2026-01-05T06:00:00Z;Feed;{t};Good\n" for t in texts).encode()
    found = reader(columns).read(piece, 2)
    return None if found is None else found.frame["c2"].to_list()


ODD_NUMBERS = [
    "1.",
    ".5",
    "1e5",
    "+1",
    " 1",
    "1 ",
    "1e400",
    "0x1p3",
    "1_000",
    "nan",
    "-inf",
    "",
    "-",
    "1e",
    "00012",
    "1.7976931348623157e308",
    "5e-324",
]


@given(st.text("0123456789.eE+-_ infatyx\t", max_size=12) | st.sampled_from(ODD_NUMBERS) | st.floats().map(repr))
@settings(max_examples=1_000, deadline=None)
def test_a_number_that_is_read_in_one_pass_is_the_one_polars_reads(text: str) -> None:
    found = as_arrow_reads([text])
    if found is not None:
        assert found == [pl.Series([text.strip()]).cast(pl.Float64, strict=False)[0]]


def test_numbers_with_a_decimal_comma() -> None:
    assert as_arrow_reads(["1,5", "-2,25", "3"], ",") == [1.5, -2.25, 3.0]
    assert as_arrow_reads(["1.5"], ",") is None


_cells = st.sampled_from(["1.5", "99", "-3", "250", "1e2", "Bad", "", " 7 ", "'8", "=9", "nan", "1;2", '"4"', "ON"])
_times = st.sampled_from(
    [
        "2026-01-05T06:00:00Z",
        "2026-01-05T06:00:01Z",
        "2026-01-05T06:00:01Z",
        "2026-01-05T05:59:00Z",
        "2026-01-09T06:00:00Z",
        "x",
        "2026-01-05T10Z",
    ]
)
_tags = st.sampled_from(["Feed", "Feed", "Feed", "Poly ä", " Feed", "Other", "'Feed"])
_qualities = st.sampled_from(["Good", "Good", "Good", "Bad", "", " Good", "odd", "0xC0"])


@given(st.lists(st.tuples(_times, _tags, _cells, _qualities), min_size=1, max_size=12), st.booleans(), st.integers(60, 4_000))
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_long_table_says_the_same_both_ways(tmp_path: Path, rows: list[tuple[str, ...]], is_clean: bool, piece_bytes: int) -> None:
    if is_clean:  # so that many pieces are measured
        rows = [
            (t if t != "x" else "2026-01-05T06:00:02Z", tag.strip(" '"), "12.5" if not v[:1].isdigit() or ";" in v else v, q)
            for t, tag, v, q in rows
        ]
    text = "time,tag,value,quality\n" + "".join(",".join(row) + "\n" for row in rows)
    ways = [
        judged(tmp_path / "x.csv", {**LONG, "minimum_parse_rate": 0.0}, text, may_measure=m, piece_bytes=piece_bytes)[0]
        for m in (False, True)
    ]
    assert ways[0] == ways[1]


@given(st.lists(st.tuples(_times, _cells, _cells), min_size=1, max_size=12), st.booleans(), st.integers(60, 4_000))
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_wide_table_says_the_same_both_ways(tmp_path: Path, rows: list[tuple[str, ...]], is_clean: bool, piece_bytes: int) -> None:
    if is_clean:
        rows = [
            (t if t != "x" else "2026-01-05T06:00:02Z", *("" if not c[:1].isdigit() or ";" in c else c for c in cells))
            for t, *cells in rows
        ]
    text = "time,Feed,Poly ä\n" + "".join(",".join(row) + "\n" for row in rows)
    ways = [
        judged(tmp_path / "x.csv", {**WIDE, "minimum_parse_rate": 0.0}, text, may_measure=m, piece_bytes=piece_bytes)[0]
        for m in (False, True)
    ]
    assert ways[0] == ways[1]


_words = st.sampled_from(["Bad Input", "", " ", "nan", "-", "ON", " off ", "'x", "=y", "Störung", "inf", "1e999", "+", "e", "No Data 5"])
_values = st.sampled_from(["1.5", "99", "-3", "250", "1e2", " 7 "])


@given(
    st.lists(st.tuples(_values, _values, _qualities), min_size=20, max_size=40),
    st.lists(st.tuples(st.integers(0, 39), _words, st.booleans()), max_size=8),
    st.integers(200, 4_000),
)
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_words_among_numbers_say_the_same_both_ways(
    tmp_path: Path, rows: list[tuple[str, str, str]], words: list[tuple[int, str, bool]], piece_bytes: int
) -> None:
    cells = [list(row) for row in rows]
    for place, word, is_second in words:
        cells[place % len(cells)][int(is_second)] = word
    stamp = [f"2026-01-05T06:{k:02d}:00Z" for k in range(len(cells))]
    wide = "time,Feed,Poly ä\n" + "".join(f"{t},{a},{b}\n" for t, (a, b, _) in zip(stamp, cells, strict=True))
    long = "time,tag,value,quality\n" + "".join(
        f"{t},Feed,{a},{q.strip()}\n{t},Poly ä,{b},{q.strip()}\n" for t, (a, b, q) in zip(stamp, cells, strict=True)
    )
    for layout, text in ((LONG, long), (WIDE, wide)):
        ways = [judged(tmp_path / "x.csv", layout, text, may_measure=m, piece_bytes=piece_bytes)[0] for m in (False, True)]
        assert ways[0] == ways[1]


@pytest.mark.parametrize(("word", "is_measured"), [("Bad Input", True), ("", True), ("nan", True), ("inf", False), ("Err 5", False)])
@pytest.mark.parametrize("layout", [LONG, WIDE])
def test_pieces_with_words_among_their_numbers_are_measured(tmp_path: Path, layout: dict[str, Any], word: str, is_measured: bool) -> None:
    values = [word if k % 50 == 7 else f"{k % 90}.5" for k in range(600)]
    stamps = [f"2026-01-05T{6 + k // 60:02d}:{k % 60:02d}:00Z" for k in range(600)]
    rows = [f"{t},Feed,{v},Good" if layout is LONG else f"{t},{v},{v or 3}" for t, v in zip(stamps, values, strict=True)]
    text = ("time,tag,value,quality\n" if layout is LONG else "time,Feed,Poly ä\n") + "\n".join(rows) + "\n"
    (as_text, _), (at_once, measured) = (judged(tmp_path / "x.csv", layout, text, may_measure=m) for m in (False, True))
    assert as_text == at_once
    assert measured == (is_measured or (layout is WIDE and word == ""))


def test_clean_pieces_are_measured_and_doubtful_values_get_their_texts(tmp_path: Path) -> None:
    rows = [
        f"2026-01-05T06:{m:02d}:{s:02d}Z,{tag},{m + s / 100:.2f},Good" for m in range(30) for s in range(60) for tag in ("Feed", "Poly ä")
    ]
    rows[77], rows[1001] = rows[77].replace("Good", "Bad"), "2026-01-05T06:08:20Z,Poly ä,999.25,Good"
    text = "time,tag,value,quality\n" + "\n".join(rows) + "\n"
    (as_text, _), (at_once, measured) = (judged(tmp_path / "x.csv", LONG, text, may_measure=m) for m in (False, True))
    assert measured
    assert as_text == at_once
    (chunk,) = chunks(tmp_path / "x.csv", LONG, text, may_measure=True)
    assert chunk.written is not None
    told = chunk.written.texts(pl.Series([1003, 79, 79], dtype=pl.UInt32))
    assert told.rows() == [(79, "Poly ä", "0.38", "Bad"), (1003, "Poly ä", "999.25", "Good")]


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_byte_order_marks_and_decimal_commas(tmp_path: Path, line_end: str, mark: str) -> None:
    rows = [
        f"2026-01-05T06:{m:02d}:{s:02d}Z;{tag};{m},{s:02d};{'Bad' if s == 7 else 'Good'}"
        for m in range(10)
        for s in range(60)
        for tag in ("Feed", "Poly ä")
    ]
    rows[50] = rows[50].replace(";0,25;", ";999,25;")
    text = mark + line_end.join(["time;tag;value;quality", *rows]) + line_end
    layout = {**LONG, "delimiter": ";", "decimal": ","}
    (as_text, _), (at_once, measured) = (judged(tmp_path / "x.csv", layout, text, may_measure=m, piece_bytes=9_000) for m in (False, True))
    assert measured
    assert as_text == at_once
    assert sum(len(failed) for _, _, failed, *_ in at_once) == 1


def test_the_repeated_hour_and_stamps_in_two_columns(tmp_path: Path) -> None:
    layout = {
        **LONG,
        "time_zone": "plant",
        "time_format": "%d.%m.%Y %H:%M",
        "date_column": "date",
        "time_column": "clock",
        "minimum_parse_rate": 0.0,
    }
    minutes = [
        (d, h, m)
        for d, h, m in [
            ("25.10.2026", 1, 30),
            ("25.10.2026", 2, 0),
            ("25.10.2026", 2, 30),
            ("25.10.2026", 2, 0),
            ("25.10.2026", 2, 30),
            ("25.10.2026", 3, 0),
        ]
    ]
    minutes += [("26.10.2026", h, m) for h in range(24) for m in range(0, 60, 10)]
    text = "date,clock,tag,value,quality\n" + "".join(f"{d},{h:02d}:{m:02d},Feed,{h}.{m:02d},Good\n" for d, h, m in minutes)
    for size in (None, 300):
        (as_text, _), (at_once, _) = (judged(tmp_path / "x.csv", layout, text, may_measure=m, piece_bytes=size) for m in (False, True))
        assert as_text == at_once


def test_a_table_that_seldom_reads_so_is_not_asked_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    real = MeasurementReader._read

    def counted(self: MeasurementReader, piece: bytes, line: int) -> object:
        asked.append(line)
        return real(self, piece, line)

    monkeypatch.setattr(MeasurementReader, "_read", counted)
    text = "time,tag,value,quality\n" + "2026-01-05T06:00:00Z,Feed,odd,Good\n" * 400
    chunks(tmp_path / "x.csv", LONG, text, may_measure=True, piece_bytes=1_000)
    assert len(asked) == measurement_reader._MOST_REFUSALS


@pytest.mark.parametrize("first", ["2026-01-05T06:00:00.000Z", "2026-01-05 06:00:00", "2026-01-05T06:00:00+01:00", "2026-01-05T06:00"])
def test_uniform_stamps_read_as_any_others(first: str) -> None:
    alike = [first.replace("-05", f"-{d:02d}").replace("06:", f"{h:02d}:") for d in (1, 28, 31, 32) for h in (0, 23, 24)]
    good = [t for t in alike if "-32" not in t and "24:" not in t]
    for texts in (good, alike, [*good, "", good[0]], [*good, good[0].replace("T", " ")]):
        together = stamps.parse(pl.Series(texts), "iso8601")
        one_by_one = [stamps.parse(pl.Series([t, "x"]), "iso8601") for t in texts]  # of two lengths: never uniform
        for side in ("wall", "instant"):
            found = getattr(together, side)
            alone = [None if (s := getattr(p, side)) is None else s[0] for p in one_by_one]
            assert ([None] * len(texts) if found is None else found.to_list()) == alone


def test_a_header_is_found_before_any_piece_is_measured(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("Report,,,\nquality,value,tag,time\nGood,1.5,Feed,2026-01-05T06:00:00Z\n", encoding="utf-8")
    layout, header, _ = find(path, path.name, plant(**LONG))
    assert reader(Columns(layout, header)).read(b"Good,1.5,Feed,2026-01-05T06:00:00Z\n", 3) is not None


@pytest.mark.parametrize("may_measure", [False, True])
def test_a_wide_table_whose_columns_have_no_names_says_nothing(tmp_path: Path, may_measure: bool) -> None:
    layout = {**WIDE, "ignore_columns": ("Feed",)}
    found = chunks(tmp_path / "x.csv", layout, "time,Feed,\n2026-01-05T06:00:00Z,1,\n2026-01-05T06:01:00Z,2,\n", may_measure=may_measure)
    assert [(c.values.height, c.rows_read, c.rows_dropped) for c in found] == [(0, 3, 3)]
