"""The inbox and the archive: what counts as complete, in which order, and names that come back as they were."""

from __future__ import annotations

import hashlib
import os
import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines import receive
from pipelines.base import clock
from pipelines.base.home import Home
from pipelines.receive import inbox

WHEN = datetime(2026, 1, 5, 3, 30, tzinfo=UTC)
OLD = 1_700_000_000


@pytest.fixture
def home(tmp_path: Path) -> Home:
    made = Home(tmp_path)
    made.inbox("p").mkdir(parents=True)
    return made


def put(home: Home, name: str, content: bytes = b"a\n", age: int = 0) -> Path:
    path = home.inbox("p") / name
    path.write_bytes(content)
    os.utime(path, (OLD - age, OLD - age))
    return path


def names(home: Home) -> list[str]:
    return [p.name for p in receive.waiting(home, "p").complete]


def test_oldest_first_then_by_name_and_only_plain_files(home: Home, tmp_path: Path) -> None:
    put(home, "b.csv")
    put(home, "a.csv")
    put(home, "z.csv", age=60)
    put(home, ".hidden.csv")
    (home.inbox("p") / "folder.csv").mkdir()
    (tmp_path / "outside.csv").write_text("secret")
    (home.inbox("p") / "link.csv").symlink_to(tmp_path / "outside.csv")
    os.mkfifo(home.inbox("p") / "pipe.csv")
    assert names(home) == ["z.csv", "a.csv", "b.csv"]
    assert receive.waiting(home, "no-such-plant") == receive.inbox.Waiting([], [])


def test_a_file_still_written_to_waits(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    put(home, "old.csv")
    growing, gone, settled = (home.inbox("p") / n for n in ("growing.csv", "gone.csv", "settled.csv"))
    for path in (growing, gone, settled):
        path.write_text("a")
    looked: list[float] = []

    def meanwhile(seconds: float) -> None:
        looked.append(seconds)
        growing.write_text("ab")
        gone.unlink()

    monkeypatch.setattr(clock, "wait", meanwhile)
    assert names(home) == ["old.csv", "settled.csv"]
    assert looked == [inbox.LOOK_AGAIN_S]


def test_what_is_no_plain_file_is_left_with_its_reason(home: Home, tmp_path: Path) -> None:
    (home.inbox("p") / "folder.csv").mkdir()
    (home.inbox("p") / "link.csv").symlink_to(tmp_path / "outside.csv")
    os.mkfifo(home.inbox("p") / "pipe.csv")
    left = {path.name: why for path, why in receive.waiting(home, "p").left}
    assert {name: why.split(":")[0] for name, why in left.items()} == {
        "folder.csv": "it is a folder", "link.csv": "it is a link", "pipe.csv": "it is no plain file",
    }  # fmt: skip


def test_a_file_that_a_process_has_open_for_writing_stays_however_long_it_rests(home: Home) -> None:
    path = put(home, "slow.csv")
    with path.open("ab"):
        os.utime(path, (OLD, OLD))
        assert names(home) == []
        assert receive.waiting(home, "p").left == [(path, "it is still being written")]
    assert names(home) == ["slow.csv"]


def test_files_younger_than_asked_for_stay(home: Home) -> None:
    put(home, "old.csv")
    (home.inbox("p") / "young.csv").write_text("a")
    assert [p.name for p in receive.waiting(home, "p", settle_s=60.0).complete] == ["old.csv"]


def test_where_nobody_can_say_who_has_a_file_open_it_must_rest(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inbox, "is_being_written", lambda _: None)
    put(home, "old.csv")
    (home.inbox("p") / "young.csv").write_text("a")
    assert names(home) == ["old.csv"]


def test_a_name_too_long_for_the_archive_comes_back_whole(home: Home) -> None:
    name = "ø" * 120 + ".csv"
    receive.archive(home, "p", receive.fingerprint(put(home, name)), 1, WHEN)
    assert [a.file_name for a in receive.archived(home, "p")] == [name]


def test_old_files_cost_no_second_look(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    put(home, "old.csv")
    monkeypatch.setattr(clock, "wait", lambda _: pytest.fail("waited"))
    assert names(home) == ["old.csv"]


def test_fingerprint_is_the_sha256_of_the_bytes(home: Home) -> None:
    content = os.urandom(9_000_000)
    original = receive.fingerprint(put(home, "a.csv", content))
    assert (original.sha256, original.file_bytes, original.file_name) == (hashlib.sha256(content).hexdigest(), 9_000_000, "a.csv")


AWKWARD = [
    "ALDER_SCADA_20260105.csv", "with blank (1).csv", "ø æ ü 水.csv", "..csv", ".csv", "a%20b.csv", 'q"uo*te?<>|:.csv', "back\\slash.csv",
    "new\nline\t.csv", "trailing .", "-rf", "x" * 100 + ".csv",
]  # fmt: skip


@pytest.mark.parametrize("across", [False, True], ids=["same file system", "another"])
@pytest.mark.parametrize("name", AWKWARD)
def test_archived_whole_read_only_and_named_as_it_was(home: Home, monkeypatch: pytest.MonkeyPatch, name: str, across: bool) -> None:
    path = put(home, name, b"time,x\n1,2\n")
    original = receive.fingerprint(path)
    if across:
        rename = Path.rename

        def refuse(self: Path, target: Path) -> Path:
            if self == path:
                raise OSError(18, "Invalid cross-device link")
            return rename(self, target)

        monkeypatch.setattr(Path, "rename", refuse)
    archived_as = receive.archive(home, "p", original, 7, WHEN)
    kept = home.archive("p") / archived_as
    assert kept.parent == home.archive("p")
    assert archived_as.startswith(f"000007_20260105T033000Z_{original.sha256}_")
    assert kept.read_bytes() == b"time,x\n1,2\n"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o444
    assert not path.exists()
    assert [p.name for p in home.archive("p").iterdir()] == [archived_as]
    (found,) = receive.archived(home, "p")
    assert (found.archived_as, found.seq, found.received_utc, found.sha256) == (archived_as, 7, WHEN, original.sha256)
    back = found.original(home.archive("p"))
    assert (back.file_name, back.load_id, back.file_bytes) == (name, original.load_id, 11)


@pytest.mark.parametrize("across", [False, True], ids=["same file system", "another"])
@pytest.mark.parametrize("late", [b"", b"3,4\n", None], ids=["closed", "written on", "written over"])
def test_a_file_written_on_after_its_fingerprint_is_told(
    home: Home, monkeypatch: pytest.MonkeyPatch, across: bool, late: bytes | None
) -> None:
    path = put(home, "a.csv", b"time,x\n1,2\n")
    original = receive.fingerprint(path)
    if across:
        monkeypatch.setattr(Path, "rename", lambda *_: (_ for _ in ()).throw(OSError(18, "Invalid cross-device link")))
    if late is None:
        path.write_bytes(b"time,x\n1,3\n")
    elif late:
        path.write_bytes(path.read_bytes() + late)
    kept = home.archive("p") / receive.archive(home, "p", original, 7, WHEN)
    assert receive.was_written_on(kept, original) == (late != b"")
    assert receive.archived(home, "p")[0].is_as_it_came(home.archive("p")) == (late == b"")


def test_a_name_too_long_keeps_its_ends(home: Home) -> None:
    name = "ALDER_" + "ø" * 120 + "_2026.csv"
    archived_as = receive.archive(home, "p", receive.fingerprint(put(home, name)), 1, WHEN)
    assert len(os.fsencode(archived_as)) <= 255
    (found,) = receive.archived(home, "p")
    assert found.file_name.startswith("ALDER_ø")
    assert found.file_name.endswith("ø_2026.csv")


def test_a_name_that_is_not_text_is_spelled_out(home: Home) -> None:
    path = Path(os.fsdecode(os.fsencode(home.inbox("p")) + b"/caf\xe9.csv"))
    path.write_bytes(b"a")
    original = receive.fingerprint(path)
    assert original.file_name == "caf\\xe9.csv"
    receive.archive(home, "p", original, 1, WHEN)
    assert receive.archived(home, "p")[0].file_name == "caf\\xe9.csv"


def test_archiving_again_after_a_kill_overwrites_harmlessly(home: Home) -> None:
    for _ in range(2):
        original = receive.fingerprint(put(home, "a.csv", b"same"))
        archived_as = receive.archive(home, "p", original, 1, WHEN)
    assert [p.name for p in home.archive("p").iterdir()] == [archived_as]


def test_the_millionth_file_is_found_after_the_others(home: Home) -> None:
    for number in (1_000_000, 999_999):
        receive.archive(home, "p", receive.fingerprint(put(home, "a.csv", b"%d" % number)), number, WHEN)
    assert [a.seq for a in receive.archived(home, "p")] == [999_999, 1_000_000]


def test_names_that_tell_nothing_are_left_alone(home: Home) -> None:
    first = receive.archive(home, "p", receive.fingerprint(put(home, "b.csv", b"1")), 2, WHEN)
    second = receive.archive(home, "p", receive.fingerprint(put(home, "a.csv", b"2")), 10, WHEN)
    strays = ["notes.txt", f".{first}.partial", "000001_20269999T000000Z_" + "0" * 64 + "_a.csv"]
    for name in strays:
        (home.archive("p") / name).write_text("x")
    assert [a.archived_as for a in receive.archived(home, "p")] == [first, second]
    assert {p.name for p in home.archive("p").iterdir()} == {first, second, *strays}
    assert receive.archived(home, "none") == []
