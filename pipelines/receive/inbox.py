"""The drop folder and the archive: which files wait, who they are by content, and where their original is kept."""

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

SETTLED_S = 5.0  # a file not written to for so long is complete
LOOK_AGAIN_S = 0.2  # a younger one must keep its size and time over this span
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
        """Tell whether the bytes in the archive are those its name tells; reads all of them."""
        with (folder / self.archived_as).open("rb") as kept:
            return hashlib.file_digest(kept, "sha256").hexdigest() == self.sha256


def waiting(home: Home, plant_id: str) -> list[Path]:
    """Return the files of the inbox that are complete, in order of last change, then name."""
    folder = home.inbox(plant_id)
    if not folder.is_dir():
        return []
    seen = {p: mark for p in folder.iterdir() if not p.name.startswith(".") and (mark := _look(p))}
    now = clock.now_utc().timestamp()
    young = [p for p, mark in seen.items() if now - mark.changed_ns / 1e9 < SETTLED_S]
    if young:
        clock.wait(LOOK_AGAIN_S)
    growing = {p for p in young if _look(p) != seen[p]}
    return sorted((p for p in seen if p not in growing), key=lambda p: (seen[p].changed_ns, p.name))


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
    """Tell whether a file, now at `path`, was written to after its fingerprint was taken: by whoever still had it open."""
    now = path.stat()
    return now.st_size != original.file_bytes or abs(now.st_mtime_ns - original.changed_ns) > _COARSE_NS


def is_plain_text(path: Path) -> bool:
    """Tell whether a path is a file itself (no link, no pipe) and not packed in a way that is known; OSError when it cannot be opened."""
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
    partial = target.parent / f".{target.name}.partial"
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
