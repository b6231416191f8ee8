"""ZIP archives in the inbox: members taken in as if they had come alone, broken or hostile archives set aside whole."""

from __future__ import annotations

import io
import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pipelines import order, receive, trace
from pipelines.base.home import Home
from pipelines.files.original import FileRefusedError
from pipelines.intake import load_files
from pipelines.plant import loader, model
from pipelines.receive.containers import zip_files
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
SMALL = ROOT / "sample_data" / "small" / "exports"
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
FILES = ("ALDER_SCADA_20260105.csv", "ALDER_SCADA_20260106.csv", "ALDER_LAB_20260106.csv", "ALDER_NOTES_20260116.csv")
DATA = b"Date/Time,x\n"


def deliver(home: Home, name: str, data: bytes) -> None:
    path = home.inbox(PLANT) / name
    path.write_bytes(data)
    os.utime(path, (1.7e9, 1.7e9))


def packed(*names: str, folder: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in names:
            archive.writestr(zipfile.ZipInfo(folder + name), (SMALL / name).read_bytes(), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def taken(home: Home) -> list[tuple[str, str, str | None]]:
    with Store(home.store(PLANT), PLANT) as store:
        plant_file = loader.load(home.plant_file(PLANT))
        receipts, _ = load_files.load_inbox(home, store, plant_file, WHEN)
    return [(r.file_name, r.status, r.reason) for r in receipts]


def rows(home: Home, sql: str) -> list[tuple[object, ...]]:
    with Store(home.store(PLANT), PLANT) as store:
        return store.rows(sql)


READINGS = "SELECT tag, time_utc, value, quality, load_id FROM readings ORDER BY ALL"
SET_ASIDE = "SELECT load_id, line_no, reason, raw_text FROM set_aside ORDER BY ALL"
LOADS = (
    "SELECT load_id, file_name, archived_as, received_seq, received_utc, status, rows_read, values_kept, version FROM loads ORDER BY ALL"
)


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory, home_in: Callable[[Path], Home]) -> Home:
    """The same files, delivered one by one."""
    home = home_in(tmp_path_factory.mktemp("plain"))
    for name in FILES:
        deliver(home, name, (SMALL / name).read_bytes())
    taken(home)
    return home


def test_members_count_as_if_they_had_come_alone(tmp_path: Path, unpacked: Home, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    data = packed(*FILES, folder="january/")
    deliver(home, "week.zip", data)
    found = taken(home)
    assert [(n, s) for n, s, _ in found] == [
        *((f"week.zip/january/{n}", "taken") for n in sorted(FILES) if "NOTES" not in n and "LAB" in n),
        ("week.zip/january/ALDER_NOTES_20260116.csv", "set aside"),
        *((f"week.zip/january/{n}", "taken") for n in sorted(FILES) if "SCADA" in n),
        ("week.zip", "taken"),
    ]
    for sql in (READINGS, SET_ASIDE, "SELECT * EXCLUDE (reported_utc) FROM lab_results ORDER BY ALL"):
        assert rows(home, sql) == rows(unpacked, sql)
    (kept,) = home.archive(PLANT).iterdir()
    assert kept.read_bytes() == data  # untouched, and nothing is unpacked beside it
    assert rows(home, "SELECT count(*), sum(rows_read) FROM loads WHERE file_name = 'week.zip'") == [(1, 0)]


def test_same_archive_and_same_members_again_change_nothing(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    deliver(home, "week.zip", packed(*FILES))
    taken(home)
    before = rows(home, LOADS), rows(home, READINGS)
    deliver(home, "again.zip", packed(*FILES))
    assert taken(home) == [("again.zip", "known already", None)]
    deliver(home, "ALDER_SCADA_20260105.csv", (SMALL / FILES[0]).read_bytes())
    assert taken(home) == [("ALDER_SCADA_20260105.csv", "known already", None)]
    assert (rows(home, LOADS), rows(home, READINGS)) == before
    deliver(home, "other.zip", packed(FILES[1], folder="x/"))
    assert taken(home) == [("other.zip/x/ALDER_SCADA_20260106.csv", "known already", None), ("other.zip", "taken", None)]
    assert rows(home, READINGS) == before[1]


def test_rebuild_gives_the_same_loads(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    deliver(home, "a.zip", packed(FILES[0], FILES[2]))
    order.nightly(home, PLANT, WHEN, publish_now=False)
    deliver(home, "ALDER_SCADA_20260107.csv", (SMALL / "ALDER_SCADA_20260107.csv").read_bytes())
    deliver(home, "b.zip", packed(FILES[2], FILES[1]))
    deliver(home, "c.zip", b"PK\x03\x04 cut off")
    order.nightly(home, PLANT, WHEN, publish_now=False)
    tables = (LOADS, READINGS, SET_ASIDE, "SELECT * FROM lab_results_history ORDER BY ALL", "SELECT * FROM minutes ORDER BY ALL")
    before = [rows(home, sql) for sql in tables]
    order.rebuild(home, PLANT, as_of=WHEN)
    for sql, was in zip(tables, before, strict=True):
        assert rows(home, sql) == was


@pytest.mark.parametrize("at", [1, 3, 4])
def test_killed_between_members_the_next_run_completes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, unpacked: Home, at: int, home_in: Callable[[Path], Home]
) -> None:
    home, real, calls = home_in(tmp_path), load_files.check_one, []

    def dying(*args: object, **named: object) -> object:
        calls.append(args)
        if len(calls) == at:
            raise KeyboardInterrupt
        return real(*args, **named)  # type: ignore[arg-type]

    deliver(home, "week.zip", packed(*FILES))
    monkeypatch.setattr(load_files, "check_one", dying)
    with pytest.raises(KeyboardInterrupt):
        taken(home)
    monkeypatch.setattr(load_files, "check_one", real)
    assert taken(home)[-1] == ("week.zip", "taken", None)
    assert taken(home) == []
    assert rows(home, READINGS) == rows(unpacked, READINGS)
    whole = home_in(tmp_path / "unbroken")
    deliver(whole, "week.zip", packed(*FILES))
    taken(whole)
    assert rows(home, LOADS) == rows(whole, LOADS)


def test_trace_leads_into_the_member(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    deliver(home, "week.zip", packed(*FILES, folder="january/"))
    order.nightly(home, PLANT, WHEN)
    found = trace.run(home, PLANT, "line-1", date(2026, 1, 6), "dose_active_kg_t")
    flow = next(r for r in found.readings if r.role == "sludge_flow")
    assert flow.archived_as.endswith("_week.zip/january/ALDER_SCADA_20260106.csv")
    assert flow.line_no is not None
    assert flow.raw_text == (SMALL / FILES[1]).read_text(encoding="utf-8").splitlines()[flow.line_no - 1]


def archive_of(*entries: tuple[str | zipfile.ZipInfo, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return out.getvalue()


def linked(mode: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo("ALDER_SCADA_x.csv")
    entry.external_attr = mode << 16
    return entry


def renamed(old: bytes, new: bytes) -> bytes:
    """A name that no packing program writes: put over one of equal length, in both places."""
    assert len(old) == len(new)
    return archive_of((old.decode(), DATA)).replace(old, new)


def with_flag(bits: int) -> bytes:
    data = bytearray(archive_of(("a.csv", DATA)))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.index(mark) + offset
        data[at] |= bits
    return bytes(data)


def with_size(unpacked: int) -> bytes:
    """The size a member says it has, in both places."""
    data = bytearray(archive_of(("a.csv", DATA * 50)))
    for mark, offset in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        struct.pack_into("<I", data, data.index(mark) + offset, unpacked)
    return bytes(data)


def damaged() -> bytes:
    data = bytearray(archive_of(("a.csv", os.urandom(500))))
    data[200] ^= 0xFF
    return bytes(data)


def overlapping() -> bytes:
    """Two entries of the list over the same packed bytes."""
    data = archive_of(("a.csv", DATA), ("b.csv", DATA))
    at = data.rindex(b"PK\x01\x02")
    return data[: at + 42] + struct.pack("<I", 0) + data[at + 46 :]


def two_alike() -> bytes:
    with pytest.warns(UserWarning, match="Duplicate name"):
        return archive_of(("a.csv", DATA), ("a.csv", b"other"))


def bomb(size: int) -> bytes:
    """A member of line ends: about a thousand to one."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("a.csv", "w") as member:
        for _ in range(size // 2**20):
            member.write(b"\n" * 2**20)
    return out.getvalue()


def by_method(method: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        archive.writestr("a.csv", DATA)
    return out.getvalue()


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "above": (lambda: archive_of(("../../a.csv", DATA)), "no plain relative path"),
    "inside above": (lambda: archive_of(("x/../../a.csv", DATA)), "no plain relative path"),
    "absolute": (lambda: archive_of(("/etc/a.csv", DATA)), "no plain relative path"),
    "drive": (lambda: archive_of(("C:/a.csv", DATA)), "no plain relative path"),
    "backslash": (lambda: renamed(b"x/y/a.csv", b"..\\..\\a.c"), "no plain relative path"),
    "empty part": (lambda: renamed(b"xy/a.csv", b"x///.csv"), "no plain relative path"),
    "NUL in name": (lambda: renamed(b"abcd.csv", b"a\x00cd.csv"), "control character"),
    "escape in name": (lambda: archive_of(("\x1b[2Ja.csv", DATA)), "control character"),
    "line end in name": (lambda: archive_of(("a\nb.csv", DATA)), "control character"),
    "symlink": (lambda: archive_of((linked(stat.S_IFLNK | 0o777), b"/etc/passwd")), "is a link or a device"),
    "fifo": (lambda: archive_of((linked(stat.S_IFIFO | 0o666), b"")), "is a link or a device"),
    "encrypted": (lambda: with_flag(0x1), "is encrypted"),
    "strongly encrypted": (lambda: with_flag(0x40), "is encrypted"),
    "twice the same name": (two_alike, "two members are named a.csv"),
    "overlapping": (overlapping, "overlap"),
    "says it is larger": (lambda: with_size(5_000), "shorter than it says|damaged"),
    "says it is smaller": (lambda: with_size(10), "damaged"),
    "damaged": (damaged, "damaged"),
    "cut off": (lambda: archive_of(("a.csv", DATA))[:-30], "cut off"),
    "empty": (lambda: archive_of(), "holds no file"),
    "bzip2": (lambda: by_method(zipfile.ZIP_BZIP2), "packed by method 12"),
    "too many": (lambda: archive_of(*((f"{n}.csv", b"") for n in range(zip_files.MOST_MEMBERS + 1))), "2001 members"),
    "no archive": (lambda: DATA, "no ZIP archive"),
    "only hidden": (lambda: archive_of(("__MACOSX/a.csv", DATA), (".a.csv", DATA)), "holds no file"),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_archives_are_refused_whole_with_a_sentence(tmp_path: Path, kind: str) -> None:
    build, said = HOSTILE[kind]
    path = tmp_path / "x.zip"
    path.write_bytes(build())
    with pytest.raises(FileRefusedError, match=said) as refused:
        receive.members(path, "x.zip")
    assert refused.value.reason == "file not readable"
    assert refused.value.detail.isprintable()
    assert [p.name for p in tmp_path.iterdir()] == ["x.zip"]


def test_a_refused_archive_leaves_one_receipt_and_nothing_outside(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path / "home")
    deliver(home, "evil.zip", archive_of(("ALDER_SCADA_20260105.csv", (SMALL / FILES[0]).read_bytes()), ("../../../out.csv", DATA)))
    assert taken(home) == [("evil.zip", "set aside", "file not readable")]
    assert rows(home, "SELECT count(*) FROM readings") == [(0,)]
    assert [p.name for p in tmp_path.iterdir()] == ["home"]
    assert not list(tmp_path.rglob("out.csv"))


def test_a_bomb_is_refused_by_its_ratio_before_it_is_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.zip"
    monkeypatch.setattr(zip_files, "HARMLESS", 4 * 2**20)
    path.write_bytes(bomb(8 * 2**20))
    assert path.stat().st_size < 10_000
    monkeypatch.setattr(zlib, "decompressobj", lambda *_: pytest.fail("unpacked"))
    with pytest.raises(FileRefusedError, match="more than 250 times its size"):
        receive.members(path, "x.zip")
    monkeypatch.setattr(zip_files, "LARGEST_TOTAL", 2 * 2**20)
    monkeypatch.setattr(zip_files, "HARMLESS", 2**40)
    with pytest.raises(FileRefusedError, match="unpack to more than"):
        receive.members(path, "x.zip")


def test_a_long_list_of_members_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(archive_of(*((f"{n:0200d}.csv", b"") for n in range(50))))
    monkeypatch.setattr(zip_files, "LARGEST_DIRECTORY", 10_000)
    monkeypatch.setattr(zipfile, "ZipFile", lambda *_: pytest.fail("read"))
    with pytest.raises(FileRefusedError, match="list of members is longer"):
        receive.members(path, "x.zip")


@pytest.fixture
def fuzz_plant() -> model.PlantFile:
    return loader.load(ROOT / "tests" / "fuzz" / "plant.toml")


def read(path: Path, name: str, plant_file: model.PlantFile) -> int:
    opened = receive.open_file(path / name, f"{path.name}/{name}", plant_file)
    return sum(c.values.height for c in opened.chunks())


def test_what_is_wrong_inside_a_member_concerns_that_member(tmp_path: Path, fuzz_plant: model.PlantFile) -> None:
    import gzip

    text = (ROOT / "tests" / "fuzz" / "seeds" / "long.csv").read_bytes()
    path = tmp_path / "x.zip"
    inner = archive_of(("long.csv", text))
    path.write_bytes(archive_of(("long1.csv", text), ("long2.csv", inner), ("long3.csv.gz", gzip.compress(text)), ("long4.csv", b"")))
    names = [m.name for m in receive.members(path, "x.zip") or ()]
    assert names == ["long1.csv", "long2.csv", "long3.csv.gz", "long4.csv"]
    assert read(path, "long1.csv", fuzz_plant) == read(path, "long3.csv.gz", fuzz_plant) > 0
    with pytest.raises(FileRefusedError, match="inside an archive is not opened"):
        read(path, "long2.csv", fuzz_plant)
    with pytest.raises(FileRefusedError, match="no row within"):
        read(path, "long4.csv", fuzz_plant)
    with pytest.raises(FileRefusedError, match="no member"):
        read(path, "long9.csv", fuzz_plant)


def test_member_pattern_chooses_the_layout_by_the_archives_name(tmp_path: Path, fuzz_plant: model.PlantFile) -> None:
    text = (ROOT / "tests" / "fuzz" / "seeds" / "long.csv").read_bytes()
    path = tmp_path / "north_week.zip"
    path.write_bytes(archive_of(("2026/export.csv", text)))
    with pytest.raises(FileRefusedError, match="no layout of the plant file"):
        read(path, "2026/export.csv", fuzz_plant)
    layout = fuzz_plant.layouts[0].model_copy(update={"files": "NORTH_*.zip", "member": "export*.csv"})
    ours = fuzz_plant.model_copy(update={"layouts": (layout, *fuzz_plant.layouts)})
    assert read(path, "2026/export.csv", ours) > 0
    alone = tmp_path / "export.csv"
    alone.write_bytes(text)
    with pytest.raises(FileRefusedError, match="no layout of the plant file"):
        receive.open_file(alone, "export.csv", ours)


def test_an_archive_named_in_capitals_is_one_and_its_lines_are_shown(tmp_path: Path, home_in: Callable[[Path], Home]) -> None:
    home = home_in(tmp_path)
    deliver(home, "WEEK.ZIP", packed(FILES[0]))
    assert [status for _, status, _ in taken(home)] == ["taken", "taken"]
    name = f"WEEK.ZIP/{FILES[0]}"
    shown = trace.of_row(home, PLANT, name, 10).raw_text
    assert shown == (SMALL / FILES[0]).read_text(encoding="utf-8").splitlines()[9]
    with Store(home.store(PLANT), PLANT) as store:  # as for a file of several tables
        store.con.execute("UPDATE loads SET layout = layout || ', other' WHERE file_name = ?", [name])
    assert trace.of_row(home, PLANT, name, 10).raw_text == shown
