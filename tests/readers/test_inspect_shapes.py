"""inspect on ordinary shapes of exports: the proposed block, as it is, reads every value at its time; new-plant likewise.

Each shape writes the same two hours of invented readings its own way; what must be read back is known from how they were made.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipelines import check, inspect, receive
from pipelines.files.original import Original
from pipelines.inspect import blocks, first_plant
from pipelines.plant.model import Layout, PlantFile
from pipelines.store import Store
from tests import plants

START = datetime(2026, 1, 13, 5, 30)  # noqa: DTZ001  wall clock of the export; the 13th tells day from month
ROWS = 40
Reading = tuple[datetime, str, str]  # wall time, tag, number or word


def feed(i: int) -> float:
    return 40 + (i * 37 % 101) / 10


def readings(step_min: int = 5, *, tags: tuple[str, str, str] = ("FIT-1 Sludge Feed", "FIT-2 Polymer", "YI-1 Pump Run")) -> list[Reading]:
    found = []
    for i in range(ROWS):
        at = START + timedelta(minutes=step_min * i)
        found += [(at, tags[0], f"{feed(i):.1f}"), (at, tags[1], f"{0.5 + i / 100:.2f}"), (at, tags[2], "RUN" if i % 7 else "STOP")]
    return found


def quoted(text: str, delimiter: str) -> str:
    return f'"{text}"' if delimiter in text or '"' in text else text


def wide(
    rows: list[Reading],
    stamp: Callable[[datetime], str] = lambda t: f"{t:%Y-%m-%d %H:%M:%S}",
    number: Callable[[str], str] = str,
    *,
    d: str = ",",
    head: tuple[str, ...] = ("Time",),
    cells: Callable[[str, str], list[str]] = lambda _, text: [text],
    names: Callable[[str], list[str]] = lambda tag: [tag],
    units: bool = False,
    note: bool = False,
    behind: str = "",
) -> str:
    """A wide text; `stamp` may write several columns parted by the delimiter."""
    tags = list(dict.fromkeys(tag for _, tag, _ in rows))
    lines = [d.join([*head, *(n for tag in tags for n in names(tag)), *(["Remark"] if note else [])]) + behind]
    if units:
        lines.append(d.join([*([""] * len(head)), "m3/h", "L/h", "on/off"]))
    by_time: dict[datetime, dict[str, str]] = {}
    for at, tag, text in rows:
        by_time.setdefault(at, {})[tag] = text
    for i, (at, row) in enumerate(by_time.items()):
        values = [quoted(c, d) for tag in tags for c in cells(tag, number(row[tag]) if row[tag][0].isdigit() else row[tag])]
        remark = ['"belt ""A"" washed, by hand"' if i == 3 else ""] if note else []
        lines.append(d.join([stamp(at), *values, *remark]) + behind)
    return "\n".join(lines) + "\n"


def long(
    rows: list[Reading],
    stamp: Callable[[datetime], str] = lambda t: f"{t:%Y-%m-%d %H:%M:%S}",
    number: Callable[[str], str] = str,
    *,
    d: str = ",",
    head: str = "time,tag,value",
    more: Callable[[int], str] = lambda _: "",
) -> str:
    lines = [head.replace(",", d)]
    for i, (at, tag, text) in enumerate(rows):
        lines.append(d.join([stamp(at), tag, quoted(number(text) if text[0].isdigit() else text, d)]) + more(i).replace(",", d))
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class Shape:
    name: str
    text: str
    rows: list[Reading]
    encoding: str = "utf-8"
    zone: str = "UTC"
    shift: timedelta = timedelta(0)  # from the wall clock to UTC, where the stamps or the zone say one
    line_end: str = "\n"
    says: dict[str, object] = field(default_factory=dict)  # keys of the block that must be proposed
    ignored: tuple[str, ...] = ()


def comma(text: str) -> str:
    return text.replace(".", ",")


def serial(at: datetime) -> str:
    days = at - datetime(1899, 12, 30)  # noqa: DTZ001
    return f"{days / timedelta(days=1):.9f}"


def epoch(at: datetime, per_second: int = 1) -> str:
    return str(int(at.replace(tzinfo=UTC).timestamp() * per_second))


def grouped(text: str) -> str:
    return f"{float(text) * 100:,.1f}"


def in_hundreds(rows: list[Reading]) -> list[Reading]:
    return [(at, tag, f"{float(text) * 100:.1f}" if text[0].isdigit() else text) for at, tag, text in rows]


def dialects() -> Iterator[Shape]:
    base = readings()
    yield Shape("wide", wide(base), base)
    yield Shape("semicolon and decimal comma", wide(base, number=comma, d=";"), base, says={"decimal": ",", "delimiter": ";"})
    yield Shape("tab", wide(base, d="\t"), base)
    yield Shape("bar", wide(base, d="|"), base)
    yield Shape("decimal comma in quotes", wide(base, number=comma), base, says={"decimal": ","})
    yield Shape("UTF-8 with byte order mark and CRLF", "\ufeff" + wide(base), base, line_end="\r\n")
    yield Shape("CR line ends", wide(base), base, line_end="\r")
    for encoding in ("utf-16-le", "utf-16-be"):
        yield Shape(f"{encoding} with mark", "\ufeff" + wide(base, d="\t"), base, encoding=encoding)
        yield Shape(f"{encoding} without mark", wide(base, d="\t"), base, encoding=encoding, says={"encoding": encoding})
    danish = readings(tags=("FT1 Slamflow", "PT2 Tryk før mixer", "YI3 Pumpe drift"))
    yield Shape("Latin-1, semicolon, decimal comma", wide(danish, number=comma, d=";"), danish, encoding="latin-1")
    dashed = readings(tags=("FT1 Feed – raw", "FT2 Polymer “neat”", "YI3 Pump run"))
    yield Shape("code page 1252", wide(dashed), dashed, encoding="cp1252", says={"encoding": "cp1252"})


def surroundings() -> Iterator[Shape]:
    base = readings()
    titled = "Invented plant\nExport of 2026-01-14\n\n" + wide(base, units=True)
    yield Shape("titles and unit row", titled, base, says={"unit_row": 1})
    yield Shape(
        "unit row, semicolon, decimal comma", wide(base, number=comma, d=";", units=True), base, says={"unit_row": 1, "decimal": ","}
    )
    yield Shape("footers", wide(base) + "Average,45.0,0.7,\nMaximum,50.1,0.9,\nEnd of report\n", base)
    yield Shape("delimiter behind every row", wide(base, behind=","), base)
    pages = wide(base[:60]) + wide(base[60:])
    yield Shape("header again on each page", pages, base)


def stamps() -> Iterator[Shape]:
    base = readings()
    two = {"head": ("Date", "Clock")}
    yield Shape("date and time in two columns", wide(base, lambda t: f"{t:%d.%m.%Y};{t:%H:%M}", comma, d=";", **two), base)  # type: ignore[arg-type]
    yield Shape("date and twelve-hour clock in two columns", wide(base, lambda t: f"{t:%m/%d/%Y},{t:%I:%M %p}", **two), base)  # type: ignore[arg-type]
    yield Shape("epoch s", wide(base, epoch), base, zone="America/New_York", says={"time_format": "epoch s"})
    yield Shape("epoch ms", long(base, lambda t: epoch(t, 1000)), base, says={"time_format": "epoch ms"})
    yield Shape("serial day", wide(base, serial), base, says={"time_format": "serial day"})
    yield Shape("serial day with decimal comma", wide(base, lambda t: comma(serial(t)), comma, d=";"), base)
    yield Shape("twelve-hour clock", wide(base, lambda t: f"{t:%m/%d/%Y %I:%M:%S %p}"), base)
    yield Shape("day before month", wide(base, lambda t: f"{t:%d/%m/%Y %H:%M}"), base, says={"time_format": "%d/%m/%Y %H:%M"})
    yield Shape("two-digit year", wide(base, lambda t: f"{t:%m/%d/%y %H:%M}"), base, says={"time_format": "%m/%d/%y %H:%M"})
    yield Shape("names of months", wide(base, lambda t: f"{t:%d-%b-%Y %H:%M:%S}".upper()), base)
    yield Shape("hours behind a point", wide(base, lambda t: f"{t:%d.%m.%Y %H.%M}", comma, d=";"), base)
    hourly = readings(60)
    yield Shape("hours only", wide(hourly, lambda t: f"{t - timedelta(minutes=30):%d/%m/%Y %H}"), hourly, shift=timedelta(minutes=-30))
    yield Shape("all in digits", wide(base, lambda t: f"{t:%Y%m%d%H%M%S}"), base)
    yield Shape("fractions of a second", wide(base, lambda t: f"{t:%d.%m.%Y %H:%M:%S}.250", d=";"), base, shift=timedelta(seconds=0.25))
    yield Shape("ISO 8601 with Z", long(base, lambda t: f"{t:%Y-%m-%dT%H:%M:%SZ}"), base, zone="America/New_York")
    yield Shape("ISO 8601 with offset", long(base, lambda t: f"{t:%Y-%m-%dT%H:%M:%S}+05:30"), base, shift=timedelta(hours=-5.5))
    yield Shape("wall clock of a zone", wide(base), base, zone="Asia/Kolkata", shift=timedelta(hours=-5.5))


def columns() -> Iterator[Shape]:
    base = readings()
    quality = {"cells": lambda _, text: [text, "G"], "names": lambda tag: [tag, f"{tag} Q"]}
    yield Shape("wide with quality columns named after their values", wide(base, **quality), base, says={"quality_name": "{tag} Q"})  # type: ignore[arg-type]
    status = {"cells": lambda _, text: [text, "Good"], "names": lambda tag: [tag, "Status"]}
    yield Shape("wide with quality columns of one name", wide(base, **status), base, says={"quality_column": "Status"})  # type: ignore[arg-type]
    prefixed = {"cells": lambda _, text: ["OK", text], "names": lambda tag: [f"Q_{tag}", tag]}
    yield Shape("wide with quality columns named before their values", wide(base, **prefixed), base, says={"quality_name": "Q_{tag}"})  # type: ignore[arg-type]
    yield Shape("long", long(base), base)
    worded = {
        "cells": lambda _, text: [text, "Malo" if text == base[3][2] else "Bueno"],
        "names": lambda tag: [tag, f"{tag.split()[0]} Estado"],
    }
    yield Shape("wide with quality columns after first words", wide(base, **worded), base, says={"quality_name": "{word} Estado"})  # type: ignore[arg-type]
    yield Shape("long, semicolon, decimal comma", long(base, number=comma, d=";"), base, says={"decimal": ","})
    worded = long(base, head="time,tag,value,quality", more=lambda i: ",Uncertain" if i == 5 else ",Good")
    yield Shape("long with quality words", worded, base, says={"quality_column": "quality"})


def numbers_and_marks() -> Iterator[Shape]:
    base = readings()
    hundreds = in_hundreds(base)
    yield Shape("commas part thousands", wide(base, number=grouped), hundreds, says={"thousands": ","})
    german = wide(base, number=lambda x: grouped(x).translate(str.maketrans(",.", ".,")), d=";")
    yield Shape("points part thousands before a decimal comma", german, hundreds, says={"thousands": ".", "decimal": ","})
    yield Shape("remarks with delimiters and doubled quotes", wide(base, note=True), base, ignored=("Remark",))
    escaped = wide(base, note=True).replace('""', '\\"')
    yield Shape("remarks with escaped quotes", escaped, base, ignored=("Remark",), says={"escape": "\\"})
    single = "\n".join(",".join(f"'{f}'" for f in line.split(",")) for line in wide(base).splitlines()) + "\n"
    yield Shape("single quotes round all fields", single, base, says={"quote": "'"})
    yield Shape("apostrophes before values", wide(base, lambda t: f"'{t:%Y-%m-%d %H:%M:%S}", lambda x: f"'{x}"), base)
    filled = wide(base).replace(f",{base[4][2]},", ",-9999,").replace(f",{base[7][2]},", ",-9999,").replace(f",{base[10][2]},", ",-9999,")
    kept = [r for i, r in enumerate(base) if not (r[1] == base[4][1] and r[2] in {base[4][2], base[7][2], base[10][2]})]
    yield Shape("fill value -9999", filled, kept, says={"fill_values": ("-9999",)})
    blank = [r for i, r in enumerate(base) if i % 5]
    gappy = wide(base).splitlines()
    lines = [gappy[0]]
    for i, line in enumerate(gappy[1:]):
        first, *fields = line.split(",")
        lines.append(",".join([first, *(f if (3 * i + k) % 5 else "---" for k, f in enumerate(fields))]))
    yield Shape("dashes for no value", "\n".join(lines) + "\n", blank, says={"fill_values": ("---",)})


SHAPES = [*dialects(), *surroundings(), *stamps(), *columns(), *numbers_and_marks()]


def written(shape: Shape, folder: Path) -> Path:
    path = folder / "export_20260114.csv"
    path.write_bytes(shape.text.replace("\n", shape.line_end).encode(shape.encoding))
    return path


def value(text: str, decimal: str, thousands: str | None) -> str | float:
    plain = text.replace(thousands, "") if thousands else text
    try:
        return round(float(plain.replace(decimal, ".")), 6)
    except ValueError:
        return text


def read_back(path: Path, layout: Layout, plant: PlantFile) -> list[tuple[datetime, str, str | float]]:
    values = pl.concat([c.values for c in receive.open_file(path, path.name, plant).chunks()])
    assert values["time_reason"].null_count() == values.height
    told = values.select("time_utc", "tag", "text").rows()
    return sorted((at, tag, value(text, layout.decimal, layout.thousands)) for at, tag, text in told)


def truth(shape: Shape) -> list[tuple[datetime, str, str | float]]:
    return sorted(
        (at.replace(tzinfo=UTC) + shape.shift, tag, round(float(text), 6) if text[0].isdigit() else text) for at, tag, text in shape.rows
    )


@pytest.mark.parametrize("shape", SHAPES, ids=[s.name for s in SHAPES])
def test_the_proposed_block_works_as_it_is(tmp_path: Path, shape: Shape) -> None:
    path = written(shape, tmp_path)
    seen = inspect.run(path, time_zone=shape.zone)
    block = tomllib.loads(seen.layout_toml)["layouts"][0]
    layout = Layout.model_validate(block)
    assert layout == seen.layout
    for key, expected in shape.says.items():
        assert getattr(layout, key) == expected, key
    assert set(shape.ignored) <= set(layout.ignore_columns)
    plant = PlantFile.model_construct(plant=PLANT, lines=(), signals=(), layouts=(layout,))
    assert read_back(path, layout, plant) == truth(shape)
    assert (seen.survey.unreadable_times, seen.survey.refused) == (0, {})
    assert {t.tag for t in seen.survey.tags} == {tag for _, tag, _ in shape.rows}
    assert sum(t.count for t in seen.survey.tags) == len(shape.rows)


@pytest.mark.parametrize("shape", SHAPES, ids=[s.name for s in SHAPES])
def test_a_first_plant_file_takes_the_file_in(tmp_path: Path, shape: Shape) -> None:
    """What new-plant prints is a plant file, and a night with it keeps every value of a tag whose role was guessed."""
    path = written(shape, tmp_path)
    toml = first_plant.new_plant([path], plant_id="first", time_zone=shape.zone)
    assert blocks.QUESTION in toml
    plant = PlantFile.model_validate(tomllib.loads(toml))
    known = {s.tag for s in plant.signals}
    with Store(Path(":memory:"), "first") as store:
        opened = receive.open_file(path, path.name, plant)
        original = Original(path, path.name, "a" * 64, path.stat().st_size)
        receipt = check.run(
            store, plant, original, path.name, opened, lambda lines: receive.raw_lines(path, opened.layout, lines), seq=1,
            received_utc=datetime(2026, 1, 15, tzinfo=UTC),
        )  # fmt: skip
        kept = store.rows("SELECT time_utc, tag FROM readings ORDER BY ALL")
        reasons = {r for (r,) in store.rows("SELECT DISTINCT reason FROM set_aside")}
    assert known
    assert kept == [(at, tag) for at, tag, _ in truth(shape) if tag in known]
    assert reasons <= {"unknown tag"}
    assert receipt.balances


def test_the_shapes_are_enough() -> None:
    assert len(SHAPES) >= 40
    assert len({s.name for s in SHAPES}) == len(SHAPES)


PLANT = plants.plant_file(time_zone="UTC").plant
