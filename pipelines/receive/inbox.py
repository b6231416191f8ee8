"""The drop folder and the archive: waiting files, their identity by content, and archived originals."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil
import stat
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote, unquote

from pipelines.base import clock
from pipelines.base.home import Home
from pipelines.files.original import Original

SETTLED_S = 5.0  # a file not written to for so long is complete where nobody can say who has it open
LOOK_AGAIN_S = 0.2  # a younger one that no process has open must keep its size and time over this span
_COARSE_NS = 2_000_000_000  # some file systems keep times to two seconds only
_READ_BYTES = 4 * 2**20
_HASH_BYTES = 256 * 2**10  # stays in the cache of a core
_LONGEST_NAME = 255  # bytes of a file name that file systems take
_NO_LINKS = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)  # where the system has them
_UNSAFE = set('%/\\:*?"<>|')
_PACKED = (b"\x1f\x8b", b"PK", b"\xd0\xcf\x11\xe0")  # gzip, ZIP, the container of old office documents
_ARCHIVED = re.compile(r"^(\d{6,})_(\d{1,4})(\d{4}T\d{6})Z_([0-9a-f]{64})_(.+)$")  # a year before 1000 was once written without its zeros


@dataclass(frozen=True)
class Archived:
    """An original in the archive, as its name tells."""

    archived_as: str
    seq: int
    received_utc: datetime
    sha256: str
    file_name: str

    def original(self, folder: Path) -> Original:
        """Return it as the file it was when it came."""
        path = folder / self.archived_as
        return Original(path, self.file_name, self.sha256, path.stat().st_size)

    def is_as_it_came(self, folder: Path) -> bool:
        """Return whether the bytes in the archive are those its name tells; reads all of them."""
        with (folder / self.archived_as).open("rb") as kept:
            return hashlib.file_digest(kept, "sha256").hexdigest() == self.sha256


@dataclass(frozen=True)
class Waiting:
    """Content of an inbox: complete files in order of last change, then name; and files left there, with the reason."""

    complete: list[Path]
    left: list[tuple[Path, str]]


def waiting(home: Home, plant_id: str, *, settle_s: float = 0.0) -> Waiting:
    """Look into the inbox of a plant. Files that may still be written to stay for the next run, as does what is no plain file.

    A file is complete when no process has it open for writing and it did not change for `settle_s`; where the system cannot tell
    who has it open, when it did not change for `SETTLED_S`.
    """
    folder = home.inbox(plant_id)
    if not folder.is_dir():
        return Waiting([], [])
    found = [p for p in folder.iterdir() if not p.name.startswith(".")]
    seen = {p: mark for p in found if (mark := _look(p))}
    left = {p: _kind(p) for p in found if p not in seen}
    now = clock.now_utc().timestamp()
    for path, mark in seen.items():
        age_s, is_open = max(0.0, now - mark.changed_ns / 1e9), is_being_written(path)
        if is_open:
            left[path] = "it is still being written"
        elif age_s < (settle_s if is_open is not None else max(settle_s, SETTLED_S)):
            left[path] = f"it changed less than {max(settle_s, age_s + 1):.0f} s ago and may still be written"
    young = [p for p, mark in seen.items() if p not in left and now - mark.changed_ns / 1e9 < SETTLED_S]
    if young:
        clock.wait(LOOK_AGAIN_S)
    left |= {p: "it is still being written" for p in young if _look(p) != seen[p]}
    complete = sorted((p for p in seen if p not in left), key=lambda p: (seen[p].changed_ns, p.name))
    return Waiting(complete, sorted((p, why) for p, why in left.items() if why))


def is_being_written(path: Path) -> bool | None:
    """Return whether a process of this machine has a file open for writing; None where the system cannot tell.

    Asks for a read lease, which Linux refuses while the file is open for writing.
    """
    try:
        import fcntl

        handle = os.open(path, os.O_RDONLY | _NO_LINKS)
    except (ImportError, OSError):
        return None
    try:
        fcntl.fcntl(handle, fcntl.F_SETLEASE, fcntl.F_RDLCK)
        fcntl.fcntl(handle, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    except OSError as error:
        return True if error.errno == errno.EAGAIN else None  # not the owner, or a file system without leases
    finally:
        os.close(handle)
    return False


def _kind(path: Path) -> str:
    """Return why something in the inbox that is no plain file stays there; nothing when it has gone."""
    try:
        mode = path.lstat().st_mode
    except OSError:
        return ""
    if stat.S_ISDIR(mode):
        return "it is a folder: put its files into the inbox itself"
    return "it is a link: put the file itself there" if stat.S_ISLNK(mode) else "it is no plain file"


@dataclass(frozen=True)
class _Mark:
    size: int
    changed_ns: int


def _look(path: Path) -> _Mark | None:
    """Return size and last change of a plain file; None for anything else, or when it has gone meanwhile."""
    try:
        found = path.lstat()
    except OSError:
        return None
    return _Mark(found.st_size, found.st_mtime_ns) if stat.S_ISREG(found.st_mode) else None


def fingerprint(path: Path) -> Original:
    """Return the file with the SHA-256 of its bytes; OSError when it cannot be opened, is no plain file, or changes meanwhile.

    Links are not followed, and a pipe put in the file's place meanwhile is not waited for.
    """
    digest, size = hashlib.sha256(), 0
    with os.fdopen(os.open(path, os.O_RDONLY | _NO_LINKS), "rb", buffering=0) as source:
        before = os.fstat(source.fileno())
        if not stat.S_ISREG(before.st_mode):
            raise OSError(errno.EINVAL, "it is not a plain file")
        part = memoryview(bytearray(_HASH_BYTES))
        while count := source.readinto(part):
            digest.update(part[:count])
            size += count
        after = os.fstat(source.fileno())
    if (size, after.st_size, after.st_mtime_ns) != (before.st_size, before.st_size, before.st_mtime_ns):
        raise OSError(errno.EAGAIN, "it changed while it was read")
    return Original(path, readable_name(path.name), digest.hexdigest(), size, after.st_mtime_ns)


def was_written_on(path: Path, original: Original) -> bool:
    """Return whether a file, now at `path`, was written to after its fingerprint was taken: by whoever still had it open."""
    now = path.stat()
    return now.st_size != original.file_bytes or abs(now.st_mtime_ns - original.changed_ns) > _COARSE_NS


def is_plain_text(path: Path) -> bool:
    """Return whether a path is a file itself (no link, no pipe) and not packed in a way that is known; OSError when it cannot be opened."""
    with os.fdopen(os.open(path, os.O_RDONLY | _NO_LINKS), "rb") as source:
        return stat.S_ISREG(os.fstat(source.fileno()).st_mode) and not source.read(len(max(_PACKED, key=len))).startswith(_PACKED)


def readable_name(name: str) -> str:
    """Return a file name as text; bytes of it that are not UTF-8 are spelled out."""
    return os.fsencode(name).decode("utf-8", errors="backslashreplace")


def archive(home: Home, plant_id: str, original: Original, seq: int, received_utc: datetime) -> str:
    """Move an original into the archive and return its name there; the bytes are not touched.

    A rename where inbox and archive share a file system, else a copy completed before the inbox file goes.
    """
    folder = home.archive(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    stem = _stem(seq, received_utc, original.sha256)
    name = stem + _safe_name(original.file_name, _LONGEST_NAME - len(stem) - len(".") - len(".partial"))
    target = folder / name
    if unquote(name.removeprefix(stem)) != original.file_name:
        _whole_name(folder, original.sha256).write_text(original.file_name, encoding="utf-8")
    try:
        original.path.rename(target)
    except OSError:  # another file system
        _copy(original.path, target)
        original.path.unlink()
    target.chmod(0o444)
    return name


def _copy(source: Path, target: Path) -> None:
    """Copy, with the time of last change, so that the target is there whole, on the disk, or not at all; leftovers of a killed copy go."""
    for stale in target.parent.glob(".*.partial"):
        stale.unlink()
    partial = target.parent / f".{target.name[:100]}.partial"
    with source.open("rb") as read, partial.open("wb") as written:
        shutil.copyfileobj(read, written, _READ_BYTES)
        written.flush()
        os.fsync(written.fileno())
        last = os.fstat(read.fileno())
    os.utime(partial, ns=(last.st_atime_ns, last.st_mtime_ns))
    partial.replace(target)


def _safe_name(name: str, most_bytes: int) -> str:
    """Return a name that any file system takes and `unquote` turns back; one too long loses its middle."""
    quoted = [quote(c, safe="") if c in _UNSAFE or not c.isprintable() else c for c in name]
    if quoted and quoted[0] == ".":
        quoted[0] = "%2E"
    sizes = [len(c.encode("utf-8")) for c in quoted]
    middle = len(quoted) // 2
    while sum(sizes) > most_bytes:
        del quoted[middle], sizes[middle]
        middle = len(quoted) // 2
    return "".join(quoted)


def return_to_inbox(home: Home, plant_id: str, archived_as: str, file_name: str) -> Path:
    """Move an original back from the archive into the inbox, under a name that is free there."""
    folder = home.inbox(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    target, number = folder / _safe_name(file_name, _LONGEST_NAME - 4), 2
    while target.exists():
        target, number = folder / f"{number}-{_safe_name(file_name, _LONGEST_NAME - 8)}", number + 1
    kept = home.archive(plant_id) / archived_as
    kept.rename(target)
    target.chmod(0o644)
    return target


def split_grown(home: Home, plant_id: str, archived: Archived, taken_bytes: int) -> Path | None:
    """Give back the rest of an original that its writer went on with after it was archived; None when that is not what changed.

    The whole file is copied into the inbox, to be taken in as a file of its own; the archived one is cut to the bytes that were
    taken in. Killed in between, the same is done again, and equal content is known.
    """
    path = home.archive(plant_id) / archived.archived_as
    with path.open("rb") as kept:
        digest, left = hashlib.sha256(), taken_bytes
        while left and (part := kept.read(min(left, _READ_BYTES))):
            digest.update(part)
            left -= len(part)
    target = home.inbox(plant_id) / archived.file_name
    if digest.hexdigest() != archived.sha256 or path.stat().st_size <= taken_bytes or is_being_written(path) or target.exists():
        return None
    target.parent.mkdir(parents=True, exist_ok=True)
    _copy(path, target)
    path.chmod(0o644)
    os.truncate(path, taken_bytes)
    path.chmod(0o444)
    return target


def archived(home: Home, plant_id: str) -> list[Archived]:
    """Return all originals of the archive in order of receipt."""
    folder = home.archive(plant_id)
    kept = [_parsed(p) for p in folder.iterdir()] if folder.is_dir() else []
    return sorted((a for a in kept if a is not None), key=lambda a: (a.seq, a.archived_as))


def not_archived(home: Home, plant_id: str) -> list[str]:
    """Return the names in the archive that are none of its own, and so are left out of everything; sorted."""
    folder = home.archive(plant_id)
    return sorted(p.name for p in folder.iterdir() if not p.name.startswith(".") and _parsed(p) is None) if folder.is_dir() else []


def digest_in_name(archived_as: str) -> str | None:
    """Return the SHA-256 that a name in the archive tells; None for another name."""
    match = _ARCHIVED.match(archived_as)
    return match[4] if match else None


def set_received(home: Home, plant_id: str, archived: Archived, received_utc: datetime) -> None:
    """Give an original in the archive another time of receipt: its name is where it is kept."""
    folder = home.archive(plant_id)
    name = _stem(archived.seq, received_utc, archived.sha256) + archived.archived_as.split("_", 3)[3]
    (folder / archived.archived_as).rename(folder / name)


def _stem(seq: int, received_utc: datetime, sha256: str) -> str:
    at = received_utc.astimezone(UTC)
    return f"{seq:06d}_{at.year:04d}{at:%m%dT%H%M%S}Z_{sha256}_"


def _whole_name(folder: Path, sha256: str) -> Path:
    """Return the hidden file that keeps the name of an original which is too long for the archive."""
    return folder / f".{sha256}.name"


def _parsed(path: Path) -> Archived | None:
    """Return what an archived name tells; None for a name that is none."""
    match = _ARCHIVED.match(path.name)
    if match is None:
        return None
    try:
        received_utc = datetime.strptime(f"{int(match[2]):04d}{match[3]}", "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    except ValueError:
        return None
    whole = _whole_name(path.parent, match[4])
    name = whole.read_text(encoding="utf-8") if whole.exists() else unquote(match[5])
    return Archived(path.name, int(match[1]), received_utc, match[4], name)
