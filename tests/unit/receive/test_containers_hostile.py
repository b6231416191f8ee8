"""Files that mean harm or are broken beyond use: refused or read within bounds, never opened where they are no files, never
written where they do not belong, and never able to act on a terminal.

Memory and time are measured in a process of its own; the bounds are generous.
"""

from __future__ import annotations

import gzip
import itertools
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pipelines import order, receive
from pipelines.base import sanitise
from pipelines.base.home import Home
from pipelines.cli.app import app
from pipelines.files.original import FileRefusedError
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.receive.containers import zip_files
from pipelines.receive.shapes import rows
from pipelines.receive.text import dialect
from pipelines.runs import summary_text

ROOT = Path(__file__).resolve().parents[3]
FUZZ = ROOT / "tests" / "fuzz"
PLANT = loader.load(FUZZ / "plant.toml")
LONG = (FUZZ / "seeds" / "long.csv").read_bytes()
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
BASE_MIB = 300  # what Python with polars and duckdb takes before it reads anything, generously
HEAD = b"time,tag,value,quality\n"


def read(path: Path, plant: PlantFile = PLANT, name: str | None = None) -> int:
    opened = receive.open_file(path, name or path.name, plant)
    return sum(c.rows_read for c in opened.chunks())


def refused(path: Path, said: str, name: str | None = None) -> None:
    with pytest.raises(FileRefusedError, match=said) as error:
        read(path, name=name)
    assert error.value.reason == "file not readable"


MEASURE = """
import json, resource, sys, time
from pathlib import Path
from pipelines import receive
from pipelines.plant import loader
from pipelines.files.original import FileRefusedError
plant = loader.load(Path(sys.argv[2]))
started, rows, aside, told = time.perf_counter(), 0, 0, ""
try:
    opened = receive.open_file(Path(sys.argv[1]), Path(sys.argv[1]).name, plant)
    for chunk in opened.chunks():
        rows, aside = rows + chunk.rows_read, aside + chunk.refused.height
except FileRefusedError as error:
    told = error.detail
status = Path("/proc/self/status")  # its high-water mark is this process's own; getrusage starts with the parent's
found = [x.split()[1] for x in status.read_text().splitlines() if x.startswith("VmHWM")] if status.is_file() else []
peak = int(found[0] if found else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) / 1024
print(json.dumps({"rows": rows, "aside": aside, "told": told, "peak_mib": peak, "seconds": time.perf_counter() - started}))
"""


def measured(path: Path) -> dict[str, Any]:
    """Read a file in a process of its own: rows, rows refused, the refusal of the file, peak memory [MiB], time [s]."""
    command = [sys.executable, "-c", MEASURE, str(path), str(FUZZ / "plant.toml")]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, timeout=300)
    return dict(json.loads(done.stdout))


def test_an_endless_line_is_refused_wherever_it_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (dialect, sys.modules["pipelines.receive.text.exact_reader"]):
        monkeypatch.setattr(module, "LONGEST_LINE", 100_000)
    path = tmp_path / "long.csv"
    line = b"x" * 150_000
    for content in (line, HEAD + line, HEAD + line + b"\n" + LONG, gzip.compress(HEAD + line), HEAD + b'"' + line):
        path.write_bytes(content)
        refused(path, "a line is longer than")


def test_a_hundred_thousand_columns_are_read_within_bounds(tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    head = ",".join(["Time", "Feed", *(f"x{n}" for n in range(100_000))])
    units = "," * 100_001
    row = "01/05/2026 06:00,401.5" + ",1" * 100_000
    path.write_text("\n".join([head, units, *[row] * 10]) + "\n", encoding="utf-8")
    found = measured(path)
    assert found["peak_mib"] < BASE_MIB + 700
    assert found["seconds"] < 30
    assert found["rows"] == 12 or "columns" in found["told"]


def test_a_hundred_thousand_fields_under_a_narrow_header_are_rows_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(HEAD + b"2026-01-05T06:00:00Z,Feed,1,ok\n" + b",".join([b"1"] * 100_000) + b"\n")
    opened = receive.open_file(path, path.name, PLANT)
    (chunk,) = opened.chunks()
    assert chunk.refused["reason"].to_list() == ["row has too many fields"]


def test_empty_lines_are_counted_and_dropped(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(HEAD + b"\n" * 60_000 + b"2026-01-05T06:00:00Z,Feed,1,ok\n")
    opened = receive.open_file(path, path.name, PLANT)
    chunks = list(opened.chunks())
    assert sum(c.rows_dropped for c in chunks) == 60_001
    assert [n for c in chunks for n in c.values["line_no"]] == [60_002]


def test_a_quote_never_closed_costs_one_row(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    row = b"2026-01-05T06:00:00Z,Feed,1,ok\n"
    path.write_bytes(HEAD + row * 3_000 + b'2026-01-05T06:00:00Z,"Feed,1,ok\n' + row * 5_000)
    opened = receive.open_file(path, path.name, PLANT)
    opened.piece_bytes = 20_000
    chunks = list(opened.chunks())
    assert sum(c.rows_read for c in chunks) == 8_002
    told = [r for c in chunks for r in c.refused.select("line_no", "detail").rows()]
    assert told == [(3_002, "a quote is opened here and never closed")]


def test_quotes_on_every_line_never_closed_stay_linear(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(HEAD + b'2026-01-05T06:00:00Z,"Feed,1,ok"x\n' * 60_000)
    found = measured(path)
    assert found["peak_mib"] < BASE_MIB + 500
    assert found["seconds"] < 60


def test_a_file_mostly_of_other_columns_is_refused_not_set_aside_row_by_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "_MOST_ODD", 1_000)
    path = tmp_path / "long.csv"
    row, odd = b"2026-01-05T06:00:00Z,Feed,1,ok\n", b"x\n"
    path.write_bytes(HEAD + row * 1_500 + odd * 1_500)
    assert read(path) == 3_001
    path.write_bytes(HEAD + row * 1_400 + odd * 1_500)
    with pytest.raises(FileRefusedError, match="parse rate too low: 1500 of 2900 rows"):
        read(path)


@pytest.mark.parametrize(
    "name, content, said",
    [
        ("long.csv", HEAD + b"2026-01-05\x00T06:00:00Z,Feed,1,ok\n", "NUL bytes"),
        ("long.csv", bytes(5_000), "NUL bytes"),
        ("long.csv", HEAD + b"2026-01-05T06:00:00Z,F\xffeed,1,ok\n", "is not UTF-8"),
        ("long.csv", "time,tag,value,quality\n\udc80x".encode("utf-8", "surrogatepass"), "is not UTF-8"),
        ("split.csv", "Date\tTime\tFeed\n".encode("utf-16") + b"\x00", "the encoding of the layout"),
        ("split.csv", b"\xff\xfeD\x00a\x00\x00\xd8x\x00", "the encoding of the layout"),
        ("split.csv", b"\xff\xfe\x00\xdc\x00\xdc", "the encoding of the layout"),
        ("long.csv.gz", gzip.compress(LONG, mtime=0)[:-9], "end-of-stream|ended before"),
        ("long.csv.gz", gzip.compress(LONG, mtime=0)[:40], "end-of-stream|ended before"),
        ("long.csv.gz", gzip.compress(LONG, mtime=0)[:-8] + bytes(8), "CRC"),
        ("long.csv.gz", gzip.compress(LONG, mtime=0) + b"trailing rubbish", "gzip"),
        ("long.csv.gz", b"\x1f\x8b\x08\xff", "."),
    ],
)  # fmt: skip
def test_bytes_that_are_no_text_refuse_the_file(tmp_path: Path, name: str, content: bytes, said: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    refused(path, said)


def test_a_gz_of_several_members_is_one_text(tmp_path: Path) -> None:
    path = tmp_path / "long.csv.gz"
    cut = len(LONG) // 2
    path.write_bytes(gzip.compress(LONG[:cut]) + gzip.compress(b"") + gzip.compress(LONG[cut:]) + bytes(20))  # zero padding is allowed
    plain = tmp_path / "long.csv"
    plain.write_bytes(LONG)
    assert read(path) == read(plain) == 8


def test_a_gz_bomb_stops_at_its_ratio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "long.csv.gz"
    monkeypatch.setattr(zip_files, "HARMLESS", 2**18)
    path.write_bytes(gzip.compress(HEAD + b"\n" * 2**20))
    with pytest.raises(FileRefusedError, match="more than 250 times its size"):
        read(path)


def home_in(folder: Path) -> Home:
    made = Home(folder)
    made.plant_file("fuzz").parent.mkdir(parents=True)
    shutil.copyfile(FUZZ / "plant.toml", made.plant_file("fuzz"))
    made.inbox("fuzz").mkdir(parents=True)
    return made


EVIL = (
    "long\x1b[2J\x1b]0;owned\x07.csv",
    "long\nall 0 = 0.csv",
    "-rf.csv",
    'long"; DROP TABLE loads; --.csv',
    "long\u202egnp.csv",
    "long\x9b31m.csv",
    "..long.csv",
)


def test_names_cannot_act_on_the_terminal_nor_forge_a_line(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    for number, name in enumerate(EVIL):
        path = home.inbox("fuzz") / name
        path.write_bytes(LONG.replace(b"401.5", str(400 + number).encode()))
        os.utime(path, (1.7e9, 1.7e9))
    printed = CliRunner().invoke(app, ["--home", str(home.root), "nightly"]).output
    assert all(c.isprintable() or c == "\n" for c in printed)
    assert "\\u001b[2J" in printed
    assert sum(line.startswith("  all ") for line in printed.splitlines()) == 1
    asked = CliRunner().invoke(app, ["--home", str(home.root), "ask", "SELECT file_name, archived_as FROM loads ORDER BY ALL"]).output
    assert all(c.isprintable() or c in "\n\t" for c in asked)
    kept = list(home.archive("fuzz").iterdir())
    assert len(kept) == len(EVIL) - 1  # a dot file waits for its real name
    assert all(p.name.isprintable() for p in kept)
    assert sorted(a.file_name for a in receive.archived(home, "fuzz")) == sorted(n for n in EVIL if not n.startswith("."))


def test_what_is_inspected_cannot_act_on_the_terminal(tmp_path: Path) -> None:
    path = tmp_path / "x\x1b[31m.csv"
    path.write_text("time,\x1b[2Jtag,value\n" + "".join(f"2026-01-05T06:0{n}:00Z,a\x9b2J,{n}\n" for n in range(9)), encoding="utf-8")
    for given in ([], ["--json"]):
        told = CliRunner().invoke(app, ["inspect", str(path), *given])
        assert told.exit_code == 0, told.output
        assert all(c.isprintable() or c in "\n\t" for c in told.output)
    broken = tmp_path / "y.csv"
    broken.write_text("no header here", encoding="utf-8")
    assert "unknown layout" in CliRunner().invoke(app, ["inspect", str(broken)], standalone_mode=False).exception.args[0]  # type: ignore[union-attr]


def test_shown_text_is_harmless_and_nothing_else_changes() -> None:
    every = "".join(map(chr, range(0x110000)))
    assert sanitise.harmless(every).isprintable()
    assert sanitise.harmless("Räjähdys 水 (1).csv") == "Räjähdys 水 (1).csv"
    assert sanitise.lines("a\tb\n\x1b\r") == "a\tb\n\\u001b\\u000d"
    assert len(sanitise.name("x" * 1_000)) == sanitise.LONGEST_NAME
    assert sanitise.harmless("\U000e0001") == "\\U000e0001"


def test_only_plain_files_of_the_inbox_are_ever_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = home_in(tmp_path)
    outside = tmp_path / "secret.csv"
    outside.write_bytes(LONG)
    inbox = home.inbox("fuzz")
    (inbox / "long1.csv").symlink_to(outside)
    (inbox / "long2.csv").symlink_to("/dev/zero")
    (inbox / "long3.csv").symlink_to(tmp_path / "gone")
    os.mkfifo(inbox / "long4.csv")
    (inbox / "long5.csv").mkdir()
    (inbox / "long6.zip").symlink_to("/dev/stdin")
    opened: list[str] = []
    real = Path.open

    def noted(self: Path, *given: Any, **named: Any) -> Any:
        opened.append(self.name)
        return real(self, *given, **named)

    monkeypatch.setattr(Path, "open", noted)
    summary = order.nightly(home, "fuzz", WHEN, publish_now=False)
    assert summary.receipts == []
    assert not [n for n in opened if n.startswith("long") or n == outside.name]
    assert len(list(inbox.iterdir())) == 6
    assert outside.read_bytes() == LONG


def test_a_file_swapped_for_a_link_after_it_was_seen_is_not_followed(tmp_path: Path) -> None:
    home = home_in(tmp_path)
    outside = tmp_path / "secret.csv"
    outside.write_bytes(LONG)
    path = home.inbox("fuzz") / "long.csv"
    path.symlink_to(outside)
    with pytest.raises(OSError, match=r"symbolic|Too many levels|not a plain file"):
        receive.fingerprint(path)
    fifo = home.inbox("fuzz") / "long2.csv"
    os.mkfifo(fifo)
    with pytest.raises(OSError, match="not a plain file"):
        receive.fingerprint(fifo)


def test_a_file_that_vanishes_or_may_not_be_read_stops_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = home_in(tmp_path)
    for name in ("long1.csv", "long2.csv", "long3.csv"):
        path = home.inbox("fuzz") / name
        path.write_bytes(LONG.replace(b"401.5", name.encode()[4:5]))
        os.utime(path, (1.7e9, 1.7e9))
    real = receive.fingerprint

    def failing(path: Path) -> Any:
        if path.name == "long1.csv":
            path.unlink()
        if path.name == "long2.csv":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(receive, "fingerprint", failing)
    summary = order.nightly(home, "fuzz", WHEN, publish_now=False)
    assert [(r.file_name, r.status) for r in summary.receipts] == [("long3.csv", "taken")]
    assert [n.data["file"] for n in summary.notices] == ["long1.csv", "long2.csv"]
    assert len(summary_text.lines(summary)) <= summary_text.MOST_LINES


def test_a_file_that_grows_while_it_is_hashed_waits_for_the_next_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(LONG)
    real = os.fstat
    seen: list[int] = []

    def growing(fd: int) -> os.stat_result:
        found = real(fd)
        if not seen:
            with path.open("ab") as more:
                more.write(b"more\n")
        seen.append(fd)
        return found

    monkeypatch.setattr(os, "fstat", growing)
    with pytest.raises(OSError, match="changed while"):
        receive.fingerprint(path)


def test_an_archived_file_cut_short_is_refused_not_misread(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(HEAD + b"2026-01-05T06:00:00Z,Feed,1,ok\n" * 2_000)
    opened = receive.open_file(path, path.name, PLANT)
    opened.piece_bytes = 4_096
    chunks = opened.chunks()
    next(chunks)
    os.truncate(path, 8_000)
    with pytest.raises(FileRefusedError, match="became shorter"):
        list(chunks)


def written(path: Path, parts: Any) -> None:
    with path.open("wb") as out:
        for part in parts:
            out.write(part)


@pytest.mark.slow
@pytest.mark.parametrize(
    "name, parts, told, count",
    [
        ("long.csv", lambda: itertools.chain([HEAD], (b"x" * 2**20 for _ in range(1024))), "a line is longer than", 0),
        ("long.csv", lambda: itertools.chain([HEAD, b'"'], (b"x\n" * 2**19 for _ in range(300))), "rows do not have the columns", None),
        ("long.csv", lambda: (HEAD, b"\n" * 10_000_000), "", 10_000_001),
        ("long.csv", lambda: itertools.chain([HEAD], (b'2026-01-05T06:00:00Z,"Feed,1,ok\n' * 30_000 for _ in range(100))), "", None),
    ],
    ids=["1 GiB line", "open quote over 300 MiB", "10 million empty lines", "3 million open quotes"],
)
def test_large_hostile_files_stay_below_a_gib(tmp_path: Path, name: str, parts: Callable[[], Any], told: str, count: int | None) -> None:
    path = tmp_path / name
    written(path, parts())
    found = measured(path)
    assert told in found["told"]
    assert found["peak_mib"] < 1_500
    assert count is None or found["rows"] == count


@pytest.mark.slow
@pytest.mark.parametrize("suffix", ["gz", "zip"])
def test_large_bombs_stop_early(tmp_path: Path, suffix: str) -> None:
    import zipfile

    path = tmp_path / f"long.csv.{suffix}"
    size = 2 * zip_files.HARMLESS
    if suffix == "gz":
        with gzip.open(path, "wb") as out:
            out.write(HEAD)
            for _ in range(size // 2**20):
                out.write(b"\n" * 2**20)
        found = measured(path)
        assert "more than 250 times its size" in found["told"]
        assert found["peak_mib"] < 1_500
    else:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("long.csv", "w", force_zip64=True) as member:
            for _ in range(size // 2**20):
                member.write(b"\n" * 2**20)
        with pytest.raises(FileRefusedError, match="more than 250 times its size"):
            receive.members(path, "x.zip")
