"""Long, wide and lab files to chunks: headers, units, footers, ragged rows, blanks, and counts that balance."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from pydantic import ValidationError

from pipelines import receive
from pipelines.files.original import FileRefusedError
from pipelines.files.pieces import Chunk
from pipelines.plant.model import PlantFile
from pipelines.receive.shapes.rows import FileRows
from tests import plants

LONG = {
    "id": "long", "kind": "long", "files": "long*.csv", "time_column": "time", "time_format": "iso8601", "time_zone": "UTC",
    "tag_column": "tag", "value_column": "value", "quality_column": "quality",
    "quality_words": {"good": ["ok"], "bad": ["lost, no signal"]}, "footer_words": ["# rows"],
}  # fmt: skip
WIDE = {
    "id": "wide", "kind": "wide", "files": "wide*.csv", "time_column": "Time", "time_format": "%d.%m.%Y %H:%M", "time_zone": "plant",
    "unit_row": 1, "footer_words": ["Average"], "ignore_columns": ["Note"], "fill_values": ["-9999"],
}  # fmt: skip


def plant_file(*layouts: dict[str, Any], zone: str = "America/New_York", signals: list[dict[str, Any]] | None = None) -> PlantFile:
    tags = signals or [plants.GPM | {"tag": "Feed"}, plants.RUN | {"tag": "Run"}]
    return plants.plant_file(*tags, lines=("l",), line=plants.US, layouts=layouts, time_zone=zone, units="US")


def read(tmp_path: Path, name: str, text: str | bytes, plant: PlantFile, piece_bytes: int | None = None) -> tuple[FileRows, list[Chunk]]:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    opened = receive.open_file(path, name, plant)
    opened.piece_bytes = piece_bytes
    chunks = list(opened.chunks())
    lines = (text if isinstance(text, bytes) else text.encode()).count(b"\n") + (not path.read_bytes().endswith(b"\n"))
    emitted = {n for c in chunks for n in c.values["line_no"].to_list()}
    refused = [n for c in chunks for n in c.refused["line_no"].to_list()]
    assert sum(c.rows_read for c in chunks) == lines  # no quoted line ends in these files
    assert len(emitted) + len(refused) + sum(c.rows_dropped for c in chunks) == lines
    assert not emitted & set(refused)
    return opened, chunks


def rows(chunks: list[Chunk], *columns: str) -> list[tuple[Any, ...]]:
    return pl.concat([c.values for c in chunks]).select(columns).rows()


def refused(chunks: list[Chunk]) -> list[tuple[Any, ...]]:
    return pl.concat([c.refused for c in chunks]).select("line_no", "reason", "raw_text").rows()


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize("piece_bytes", [None, 40])
def test_long_rows_and_what_is_no_row(tmp_path: Path, piece_bytes: int | None) -> None:
    text = (
        "Export of a plant\n\ntime, tag ,value,quality\n"
        "2026-01-05T00:00:00.5Z,Feed,90.5,ok\n"
        "\n"
        '2026-01-05T00:01:00+01:00,Feed,,"lost, no signal"\n'
        "2026-01-05T00:02:00Z,Feed,,ok\n"
        "time,tag,value,quality\n"
        "nonsense,Feed,1,ok\n"
        "2026-01-05T24:00:00Z, Run ,'1,ok\n"
        "2026-01-05T00:03:00Z,Feed,1,ok,9\n"
        "2026-01-05T00:03:00Z,Feed,1\n"
        '2026-01-05T00:04:00Z,Feed,="7.5",ok,,\n'
        "# rows 9\n"
        "2026-01-05T00:05:00Z,Fee"
    )
    _, chunks = read(tmp_path, "LONG_1.CSV", text, plant_file({**LONG, "minimum_parse_rate": 0.0}), piece_bytes)
    assert rows(chunks, "line_no", "time_utc", "time_reason", "tag", "text", "quality_text") == [
        (4, datetime(2026, 1, 5, 0, 0, 0, 500_000, tzinfo=UTC), None, "Feed", "90.5", "ok"),
        (6, at("2026-01-04T23:01"), None, "Feed", "", "lost, no signal"),
        (9, None, "time stamp unreadable", "Feed", "1", "ok"),
        (10, at("2026-01-06T00:00"), None, "Run", "1", "ok"),
        (13, at("2026-01-05T00:04"), None, "Feed", "7.5", "ok"),
    ]
    assert refused(chunks) == [
        (11, "row has too many fields", "2026-01-05T00:03:00Z,Feed,1,ok,9"),
        (12, "row has too few fields", "2026-01-05T00:03:00Z,Feed,1"),
        (15, "partial last row", "2026-01-05T00:05:00Z,Fee"),
    ]
    for chunk in chunks:
        assert dict(chunk.values.schema) == {
            "line_no": pl.UInt32, "time_utc": pl.Datetime("us", "UTC"), "time_reason": pl.String, "tag": pl.String, "text": pl.String,
            "quality_text": pl.String,
        }  # fmt: skip


def test_complete_last_row_without_line_end_is_a_row(tmp_path: Path) -> None:
    _, chunks = read(tmp_path, "long.csv", "time,tag,value,quality\n2026-01-05T00:00:00Z,Feed,1,ok", plant_file(LONG))
    assert rows(chunks, "line_no", "text") == [(2, "1")]


@pytest.mark.parametrize("piece_bytes", [None, 40])
def test_wide_cells_by_name(tmp_path: Path, piece_bytes: int | None) -> None:
    text = (
        "Time,Run, Feed ,Note,New tag,\n,,GPM,,,\n"
        "05.01.2026 00:00,1,90.5,remark,7,\n"
        "05.01.2026 00:01,, ,,,\n"
        "05.01.2026 00:02,0,-9999\n"
        "05.01.2026 00:03,0,'12,,,\n"
        "Average,0.5,60,,,\n"
        "Time,Run,Feed,Note,New tag,\n,,GPM,,,\n"
        "05.01.2026 24:00,1,1,,,\n"
    )
    _, chunks = read(tmp_path, "wide.csv", text, plant_file(WIDE), piece_bytes)
    assert sorted(rows(chunks, "line_no", "tag", "text", "time_utc")) == [
        (3, "Feed", "90.5", at("2026-01-05T05:00")),
        (3, "New tag", "7", at("2026-01-05T05:00")),
        (3, "Run", "1", at("2026-01-05T05:00")),
        (6, "Feed", "12", at("2026-01-05T05:03")),
        (6, "Run", "0", at("2026-01-05T05:03")),
        (10, "Feed", "1", at("2026-01-06T05:00")),
        (10, "Run", "1", at("2026-01-06T05:00")),
    ]
    assert refused(chunks) == [(5, "row has too few fields", "05.01.2026 00:02,0,-9999")]


def test_wide_is_column_after_column_and_full_cells_take_the_short_way(tmp_path: Path) -> None:
    layout = {**WIDE, "time_format": "iso8601", "fill_values": [], "unit_row": None}
    text = "Time,Run,Feed\n" + "".join(f"2026-01-05T00:{m:02d}:00,1,{m}\n" for m in range(30))
    _, chunks = read(tmp_path, "wide.csv", text, plant_file(layout))
    assert [t for (t,) in rows(chunks, "tag")] == ["Run"] * 30 + ["Feed"] * 30
    assert [x for (x,) in rows(chunks, "text")][30:] == [str(m) for m in range(30)]


def test_a_fill_value_is_blank_and_a_row_of_blanks_is_dropped(tmp_path: Path) -> None:
    text = "Time,Feed\n,gpm\n05.01.2026 00:00,-9999\n05.01.2026 00:01,5\n"
    _, chunks = read(tmp_path, "wide.csv", text, plant_file(WIDE))
    assert rows(chunks, "line_no", "text") == [(4, "5")]
    assert sum(c.rows_dropped for c in chunks) == 3


def test_two_columns_of_one_name_are_both_read(tmp_path: Path) -> None:
    _, chunks = read(tmp_path, "wide.csv", "Time,Feed,Feed\n,,\n05.01.2026 00:00,1,2\n", plant_file(WIDE))
    assert rows(chunks, "tag", "text") == [("Feed", "1"), ("Feed", "2")]


@pytest.mark.parametrize(
    ("word", "passes"), [("GPM", True), ("gal/min", True), ("", True), ("-", True), ("m3/h", False), ("wibble", False)]
)
def test_unit_row_is_held_against_the_plant_file(tmp_path: Path, word: str, passes: bool) -> None:
    text = f"Time,Feed,Run\n,{word},whatever\n05.01.2026 00:00,1,1\n"
    if passes:
        read(tmp_path, "wide.csv", text, plant_file(WIDE))
        return
    with pytest.raises(FileRefusedError) as caught:
        read(tmp_path, "wide.csv", text, plant_file(WIDE))
    assert caught.value.reason == "unit row disagrees with plant file"
    assert all(part in caught.value.detail for part in ("Feed", repr(word), "gpm"))


def test_unit_of_a_scaled_or_redated_signal(tmp_path: Path) -> None:
    feed = {"line": "l", "role": "sludge_flow", "tag": "Feed", "range": [0, 600]}
    dated = [{**feed, "unit": "gpm", "until": "2026-01-01"}, {**feed, "unit": "m3/h", "since": "2026-01-01"}]
    for word in ("gpm", "m3/h"):
        read(tmp_path, "wide.csv", f"Time,Feed\n,{word}\n05.01.2026 00:00,1\n", plant_file(WIDE, signals=dated))
    scaled = [{**feed, "unit": "gpm", "scaling": {"raw": [4, 20], "reads": [0, 600]}}]
    read(tmp_path, "wide.csv", "Time,Feed\n,mA\n05.01.2026 00:00,1\n", plant_file(WIDE, signals=scaled))


def reason_of(tmp_path: Path, name: str, text: str | bytes, plant: PlantFile) -> tuple[str, str]:
    with pytest.raises(FileRefusedError) as caught:
        read(tmp_path, name, text, plant)
    return caught.value.reason, caught.value.detail


def test_files_without_a_layout_are_refused_with_what_is_missing(tmp_path: Path) -> None:
    plant = plant_file(LONG, WIDE)
    assert reason_of(tmp_path, "other.csv", "a\n", plant)[0] == "unknown layout"
    reason, detail = reason_of(tmp_path, "long.csv", "time,tag,val,quality\n2026-01-05T00:00:00Z,a,1,ok\n", plant)
    assert reason == "unknown layout"
    assert "'value'" in detail
    assert "'tag'" not in detail
    reason, detail = reason_of(tmp_path, "wide.csv", "Time,Other\n05.01.2026 00:00,1\n", plant)
    assert reason == "unknown layout"
    assert "beside the time column" in detail
    late_header = "title\n" * 200 + "time,tag,value,quality\n"
    assert reason_of(tmp_path, "long.csv", late_header, plant)[0] == "unknown layout"
    assert reason_of(tmp_path, "long.csv", b"", plant)[0] == "file not readable"
    assert reason_of(tmp_path, "long.csv", b"PK\x03\x04\x00\x00", plant)[0] == "file not readable"


def test_the_first_layout_whose_header_is_there_reads_the_file(tmp_path: Path) -> None:
    other = {**LONG, "id": "semicolons", "delimiter": ";", "encoding": "utf-16"}
    opened, _ = read(tmp_path, "long.csv", "time,tag,value,quality\n2026-01-05T00:00:00Z,Feed,1,ok\n", plant_file(other, LONG))
    assert opened.layout.id == "long"


def test_header_only_file_gives_a_balanced_empty_chunk(tmp_path: Path) -> None:
    for layout, head in ((LONG, "time,tag,value,quality\n"), (WIDE, "Time,Feed\n,gpm\n")):
        _, chunks = read(tmp_path, f"{layout['id']}.csv", head, plant_file(layout))
        assert sum(c.values.height for c in chunks) == 0


@pytest.mark.parametrize(("bad", "total", "refuses"), [(1, 100, False), (2, 100, True), (1, 19, False), (10, 19, True), (1, 1, True)])
def test_parse_rate_on_both_sides_of_the_edge(tmp_path: Path, bad: int, total: int, refuses: bool) -> None:
    lines = ["nonsense,Feed,1,ok"] * bad + ["2026-01-05T00:00:00Z,Feed,1,ok"] * (total - bad)
    text = "time,tag,value,quality\n" + "\n".join(lines) + "\n"
    if refuses:
        assert reason_of(tmp_path, "long.csv", text, plant_file(LONG))[0] == "parse rate too low"
    else:
        read(tmp_path, "long.csv", text, plant_file(LONG))


def test_minute_24_is_not_midnight(tmp_path: Path) -> None:
    layout = {**LONG, "time_format": "%d.%m.%Y %H:%M:%S"}
    text = "time,tag,value,quality\n05.01.2026 10:24:00,Feed,1,ok\n05.01.2026 24:00:00,Feed,1,ok\n05.01.2026 24:24:00,Feed,1,ok\n"
    _, chunks = read(tmp_path, "long.csv", text, plant_file(layout))
    assert [t for (t,) in rows(chunks, "time_utc")] == [at("2026-01-05T10:24"), at("2026-01-06T00:00"), None]


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    layout = {**WIDE, "date_column": "Day", "time_format": "%m/%d/%y %I:%M %p"}
    text = "Time,Feed,Day\n,gpm,\n01:05 PM,5,1/5/26\n12:00 AM,6,1/6/26\n"
    _, chunks = read(tmp_path, "wide.csv", text, plant_file(layout, zone="UTC"))
    assert rows(chunks, "tag", "time_utc") == [("Feed", at("2026-01-05T13:05")), ("Feed", at("2026-01-06T00:00"))]


LAB_WIDE = {
    "id": "lab", "kind": "lab wide", "files": "lab*.csv", "time_column": "Date", "time_format": "%m/%d/%Y", "footer_words": ["Mean"],
    "crew_column": "Crew",
    "results": [
        {"column": "Feed TS", "line": "l", "point": "feed", "analyte": "ts", "unit": "%"},
        {"column": "Cake TS", "line": "l", "point": "cake", "analyte": "ts", "unit": "%"},
    ],
}  # fmt: skip
LAB_LONG = {
    "id": "lab", "kind": "lab long", "files": "lab*.csv", "time_column": "when", "time_format": "%Y-%m-%d %H:%M", "point_column": "where",
    "analyte_column": "what", "result_column": "result", "qualifier_column": "flag", "sample_column": "id",
}  # fmt: skip


@pytest.mark.parametrize("piece_bytes", [None, 30])
def test_lab_wide_one_row_a_cell_and_dates_carried_down(tmp_path: Path, piece_bytes: int | None) -> None:
    text = "Lab\nDate,Crew,Feed TS,Cake TS\n1/5/2026,A,2.4,<20\n,B,2.5,\n\n1/6/2026,,,\nMean,,2.45,20\n,,,\n"
    _, chunks = read(tmp_path, "lab.csv", text, plant_file(LAB_WIDE), piece_bytes)
    assert rows(chunks, "line_no", "stamp_text", "time_utc", "crew", "column", "text") == [
        (3, "1/5/2026", at("2026-01-05T05:00"), "A", "Feed TS", "2.4"),
        (3, "1/5/2026", at("2026-01-05T05:00"), "A", "Cake TS", "<20"),
        (4, "1/5/2026", at("2026-01-05T05:00"), "B", "Feed TS", "2.5"),
    ]
    assert rows(chunks, "point_text", "analyte_text", "unit_text") == [(None, None, None)] * 3


def test_lab_long(tmp_path: Path) -> None:
    text = "when,where,what,result,flag,id\n2026-01-05 07:00,feed,TS,2.4,,S1\n2026-01-05 07:00,feed,TSS,,ND,S1\n2026-01-05 07:00,feed,VS,,,S1\n"
    _, chunks = read(tmp_path, "lab.csv", text, plant_file(LAB_LONG))
    assert rows(chunks, "line_no", "time_utc", "sample", "point_text", "analyte_text", "text", "qualifier_text", "column") == [
        (2, at("2026-01-05T12:00"), "S1", "feed", "TS", "2.4", None, None),
        (3, at("2026-01-05T12:00"), "S1", "feed", "TSS", "", "ND", None),
    ]
    assert chunks[0].values.columns == [
        "line_no", "stamp_text", "time_utc", "time_reason", "sample", "point_text", "analyte_text", "text", "unit_text", "qualifier_text",
        "limit_text", "reported_text", "method", "crew", "shift_text", "window_from", "window_to", "lot", "line_text", "replicate", "column",
    ]  # fmt: skip


def test_a_date_whose_midnight_does_not_exist_begins_later(tmp_path: Path) -> None:
    """America/Sao_Paulo skipped 00:00 to 01:00 on 2018-11-04 (IANA time zone database, see tests/published): 03:00 UTC."""
    _, chunks = read(tmp_path, "lab.csv", "Date,Crew,Feed TS,Cake TS\n11/04/2018,A,2.4,\n", plant_file(LAB_WIDE, zone="America/Sao_Paulo"))
    assert rows(chunks, "time_utc", "time_reason") == [(at("2018-11-04T03:00"), None)]


def test_a_quality_column_is_found_by_the_first_word_of_its_values_name(tmp_path: Path) -> None:
    text = "Time,FT1 Feed flow,FT1 Status,YI1 Pump run,YI1 Status\n2026-01-05 00:00:00,12.5,ok,on,err\n"
    layout = {"id": "x", "kind": "wide", "files": "*", "time_column": "Time", "quality_name": "{word} Status"}
    flow = {"line": "l", "role": "sludge_flow", "tag": "FT1 Feed flow", "unit": "gpm", "range": [0, 600]}
    _, chunks = read(tmp_path, "wide.csv", text, plant_file(layout, signals=[flow]))
    assert chunks[0].values.select("tag", "quality_text").rows() == [("FT1 Feed flow", "ok"), ("YI1 Pump run", "err")]


def test_units_of_a_long_file_are_handed_on_however_clean_it_is(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    lines = [f"2026-01-05T00:{k:02d}:00Z,Feed,{90 + k}.5,{'gpm' if k % 2 else 'm3/h'},ok" for k in range(60)]
    path.write_text("\n".join(["time,tag,value,unit,quality", *lines]) + "\n", encoding="utf-8")
    plant = plant_file({**LONG, "unit_column": "unit"})
    chunks = list(receive.open_file(path, path.name, plant, may_measure=True).chunks())
    assert rows([c for c in chunks if c.values.height], "unit_text")[:2] == [("m3/h",), ("gpm",)]


def test_a_wide_layout_has_its_units_in_a_row() -> None:
    with pytest.raises(ValidationError, match="unit_row"):
        plant_file({**WIDE, "unit_column": "unit"})
