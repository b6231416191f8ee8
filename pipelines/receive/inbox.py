"""The drop folder and the archive: which files wait, who they are by content, and where their original is kept."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipelines import clock
from pipelines.chunks import Original
from pipelines.home import Home

SETTLED_S = 5.0  # a file not written to for so long is complete
LOOK_AGAIN_S = 0.2  # a younger one must keep its size and time over this span
_READ_BYTES = 4 * 2**20
_ARCHIVED = re.compile(r"^(\d{6})_(\d{8}T\d{6}Z)_([0-9a-f]{64})_(.+)$")


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


def waiting(home: Home, plant_id: str) -> list[Path]:
    """Return the files of the inbox that are complete, in order of last change, then name."""
    folder = home.inbox(plant_id)
    if not folder.is_dir():
        return []
    seen = {p: p.stat() for p in folder.iterdir() if not p.name.startswith(".") and p.is_file() and not p.is_symlink()}
    now = clock.now_utc().timestamp()
    young = [p for p, s in seen.items() if now - s.st_mtime < SETTLED_S]
    if young:
        clock.wait(LOOK_AGAIN_S)
    growing = {p for p in young if not p.exists() or _marks(p.stat()) != _marks(seen[p])}
    return sorted((p for p in seen if p not in growing), key=lambda p: (seen[p].st_mtime_ns, p.name))


def _marks(stat: os.stat_result) -> tuple[int, int]:
    return stat.st_size, stat.st_mtime_ns


def fingerprint(path: Path) -> Original:
    """Return the file with the SHA-256 of its bytes; OSError when it cannot be opened."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source:
        while data := source.read(_READ_BYTES):
            digest.update(data)
            size += len(data)
    return Original(path, path.name, digest.hexdigest(), size)


def archive(home: Home, plant_id: str, original: Original, seq: int, received_utc: datetime) -> str:
    """Move an original into the archive and return its name there; the bytes are not touched.

    A rename where inbox and archive share a file system, else a copy completed before the inbox file goes.
    """
    folder = home.archive(plant_id)
    folder.mkdir(parents=True, exist_ok=True)
    safe = re.sub(r"[^\w.\- ]", "_", original.file_name)[-120:]
    name = f"{seq:06d}_{received_utc.astimezone(UTC):%Y%m%dT%H%M%SZ}_{original.sha256}_{safe}"
    target = folder / name
    try:
        original.path.rename(target)
    except OSError:
        partial = folder / f".{name}.partial"
        shutil.copyfile(original.path, partial)
        partial.rename(target)
        original.path.unlink()
    target.chmod(0o444)
    return name


def archived(home: Home, plant_id: str) -> list[Archived]:
    """Return all originals of the archive in order of receipt."""
    folder = home.archive(plant_id)
    found = [_ARCHIVED.match(p.name) for p in folder.iterdir()] if folder.is_dir() else []
    kept = [Archived(m[0], int(m[1]), datetime.strptime(m[2], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC), m[3], m[4]) for m in found if m]
    return sorted(kept, key=lambda a: (a.seq, a.archived_as))
