"""inspect on exports of shapes that are seldom met: the proposed block, as it is, reads every value; and never takes long.

The limit of time is generous here (a loaded machine): what is held against it took 25 to 145 s of CPU before.
"""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from pipelines import inspect, receive
from pipelines.files.original import FileRefusedError
from pipelines.plant.model import Layout, Plant, PlantFile

START = datetime(2026, 1, 13)  # noqa: DTZ001  wall clock of the exports
MOST_CPU_S = 4.0


def stamp(i: int) -> str:
    return f"{START + timedelta(minutes=5 * i):%Y-%m-%d %H:%M:%S}"


def press_column(path: Path) -> int:
    rows = [f"{stamp(i)},{press},{40 + i % 7}.5,{i % 5}.25" for i in range(60) for press in ("P1", "P2", "P3")]
    path.write_text("\n".join(["Time,Press,Feed flow,Polymer flow", *rows]) + "\n", encoding="utf-8")
    return 60 * 3 * 2


def station_numbers(path: Path) -> int:
    rows = [f"{stamp(i)},{station},{40 + (i * station) % 11}.5" for station in range(1, 22) for i in range(30)]
    path.write_text("\n".join(["Time,Station,Flow", *rows]) + "\n", encoding="utf-8")
    return 30 * 21


def two_header_rows(path: Path) -> int:
    rows = [f"{stamp(i)},{40 + i % 7}.5,{i % 5}.25,{50 + i % 7}.5,{i % 3}.25" for i in range(60)]
    head = ["Press 1,,Press 2,", "Feed flow,Polymer flow,Feed flow,Polymer flow"]
    path.write_text("\n".join([f"Time,{head[0]}", f",{head[1]}", *rows]) + "\n", encoding="utf-8")
    return 60 * 4


def title_and_two_header_rows(path: Path) -> int:
    rows = [f"{stamp(i)},{40 + i % 7}.5,{i % 5}.25,{50 + i % 7}.5" for i in range(60)]
    head = ["Day report of the invented works,,,", ",Press 1,Press 1,Press 2", "Time,Feed flow,Polymer flow,Feed flow", ",m3/h,L/h,m3/h"]
    path.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    return 60 * 3


def no_header(path: Path) -> int:
    rows = [f"{stamp(i)},{tag},{40 + i % 7}.5" for i in range(60) for tag in ("FT1", "FT2", "FT3")]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return 60 * 3


def no_header_wide(path: Path) -> int:
    rows = [f"{stamp(i)},{40 + i % 7}.5,{i}.25" for i in range(700)]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return 700 * 2


def two_signs(path: Path) -> int:
    rows = [f"{stamp(i)}||{40 + i % 7}.5||{i}.25" for i in range(60)]
    path.write_text("\n".join(["Time||Feed flow||Polymer flow", *rows]) + "\n", encoding="utf-8")
    return 60 * 2


def blanks(path: Path) -> int:
    rows = [f"{stamp(i)}   {40 + i % 7}.5    {i}.25" for i in range(60)]
    path.write_text("\n".join(["Date        Clock      Feed    Polymer", *rows]) + "\n", encoding="utf-8")
    return 60 * 2


SHAPES = [press_column, station_numbers, two_header_rows, title_and_two_header_rows, no_header, no_header_wide, two_signs, blanks]


def values_read(path: Path, block: str) -> tuple[int, set[str]]:
    layout = Layout.model_validate(tomllib.loads(block)["layouts"][0])
    plant = Plant(id="unseen", name="unseen", time_zone="UTC", units="SI")
    opened = receive.open_file(path, path.name, PlantFile.model_construct(plant=plant, lines=(), signals=(), layouts=(layout,)))
    count, tags, seen = 0, set[str](), set[tuple[object, ...]]()
    for chunk in opened.chunks():
        assert chunk.refused.height == 0
        assert chunk.values["time_utc"].null_count() == 0
        count += chunk.values.height
        tags |= set(chunk.values["tag"].to_list())
        seen |= set(chunk.values.select("tag", "time_utc").iter_rows())
    assert len(seen) == count  # no value under the stamp of another
    return count, tags


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: s.__name__)
def test_the_proposed_block_reads_every_value_under_its_own_name(tmp_path: Path, shape: Callable[[Path], int]) -> None:
    path = tmp_path / "export_20260113.csv"
    expected = shape(path)
    seen = inspect.run(path)
    count, tags = values_read(path, seen.layout_toml)
    assert count == expected
    if shape is two_header_rows:
        assert tags == {"Press 1 Feed flow", "Press 1 Polymer flow", "Press 2 Feed flow", "Press 2 Polymer flow"}
    if shape is title_and_two_header_rows:
        assert tags == {"Press 1 Feed flow", "Press 1 Polymer flow", "Press 2 Feed flow"}
        assert {t.tag: t.unit for t in seen.survey.tags}["Press 1 Polymer flow"] == "L/h"
    if shape is station_numbers:
        assert len(tags) == 21
    assert any("time zone" in q for q in seen.proposal.open_questions)


def wide_numbers(path: Path) -> None:
    head = ",".join(["Time", *(f"T{n}" for n in range(20_002))])
    rows = [",".join([stamp(i), *["1.5"] * 20_002]) for i in range(15)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


def many_numbers(path: Path) -> None:
    head = ",".join(["Time", *(f"T{n}" for n in range(2_000))])
    rows = [",".join([stamp(i), *["1.5"] * 2_000]) for i in range(250)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


def long_first_line(path: Path) -> None:
    path.write_text("x" * 300_000 + "\n" + "\n".join(f"{stamp(i)},1" for i in range(100)) + "\n", encoding="utf-8")


def endless_line(path: Path) -> None:
    path.write_text("x" * 5_000_000, encoding="utf-8")


def texts_without_header(path: Path) -> None:
    rows = [f"{stamp(i)},alpha {i % 17},beta,gamma delta,{i},{i * 2},{i}.5,OK" for i in range(1_300)]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def no_times_at_all(path: Path) -> None:
    path.write_text("\n".join(f"alpha {i},beta {i},gamma,delta,1/2,{i}-x,u,v" for i in range(2_500)) + "\n", encoding="utf-8")


def large(path: Path) -> None:
    block = "".join(f"{stamp(i)},FT{i % 40},{40 + i % 7}.5,Good\n" for i in range(100_000))
    with path.open("w", encoding="utf-8") as file:
        file.write("time,tag,value,quality\n")
        for _ in range(60):
            file.write(block)


@pytest.mark.parametrize("made", [wide_numbers, many_numbers, long_first_line, endless_line, texts_without_header, no_times_at_all, large])
def test_a_first_look_takes_no_time_and_never_crashes(tmp_path: Path, made: Callable[[Path], None]) -> None:
    path = tmp_path / "x.csv"
    made(path)
    started = time.process_time()
    with suppress(FileRefusedError):
        inspect.run(path)
    assert time.process_time() - started < MOST_CPU_S
