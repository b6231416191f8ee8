"""ZIP files: archives in the inbox, member by member, and the guard every ZIP passes before anything is unpacked.

An archive is a folder that came as one file. It is kept whole and untouched in the archive; each member is one load of
its own, known by the hash of its own bytes, as if it had come alone. A member is addressed by a path that goes on
behind the archive (`.../000007_..._week.zip/plant/monday.csv`) and is unpacked as it is read, never onto the disk.
Members are taken in the inbox's order: last change, then name. The archive itself leaves a receipt without rows, written
last: it says that all members were looked at, and makes the same archive known when it comes again.

An archive is taken as a whole or refused as a whole: an encrypted member, a name that could point outside, two members of
one name or over the same bytes, a size that lies or a checksum that fails refuse it before the first member counts. What is
wrong with the content of a member concerns that member only. A ZIP inside a ZIP is such a content; only workbooks, which
are ZIP files themselves, and .gz members are opened inside an archive. Hidden files (dot names, `__MACOSX`) are left out.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from pipelines.base.sanitise import name as shown
from pipelines.files.original import FileRefusedError, Original

MOST_MEMBERS = 2_000  # an export of one file a signal and day stays far below
LARGEST_DIRECTORY = 4 * 2**20  # bytes of the list of members; read whole, so bounded before anything is built from it
LARGEST_TOTAL = 64 * 2**30  # bytes all members unpack to; they are read as they are unpacked, so this bounds time, not memory
HARMLESS = 64 * 2**20  # bytes that may unpack from however little: a minute at worst, if all of it is empty lines
HIGHEST_RATIO = 250  # unpacked to packed, above that size; text exports pack 5 to 50 times
LARGEST_INNER_WORKBOOK = 64 * 2**20  # bytes of a workbook inside an archive: held in memory, for it is read out of order
ZIP_MARK = b"PK\x03\x04"
_EMPTY_ZIP = b"PK\x05\x06"
_OLE_MARK = b"\xd0\xcf\x11\xe0"
_READ_BYTES = 1 * 2**20
_LOCAL = struct.Struct("<4s5H3I2H")  # local file header: its two last numbers are the lengths of name and extra field
_END = struct.Struct("<4s4H2IH")
_END64 = struct.Struct("<4sQ2H2I4Q")
_LOCATOR = struct.Struct("<4sIQI")
_LONGEST_COMMENT = 65_535
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED, _DESCRIPTOR = 0x1 | 0x40 | 0x2000, 0x8  # flag bits: encrypted in any way; sizes repeated behind the data
_DESCRIPTOR_BYTES = 12  # at least: checksum and two sizes
_BROKEN = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, RuntimeError, struct.error, ValueError)


@dataclass(frozen=True)
class Member:
    """A file in an archive, by content."""

    name: str
    sha256: str
    unpacked_bytes: int

    def original(self, archived: Path, archive_name: str) -> Original:
        """Return it as a file that could be read alone; `archived` is the archive, `archive_name` its name in the inbox."""
        return Original(archived / self.name, f"{archive_name}/{self.name}", self.sha256, self.unpacked_bytes)


def refused(sentence: str) -> FileRefusedError:
    """Return the refusal of a file that cannot be read."""
    return FileRefusedError("file not readable", sentence)


def located(path: Path) -> tuple[Path, str | None]:
    """Return (file on the disk, name of the member in it or None)."""
    if path.is_file():
        return path, None
    for parent in path.parents:
        if parent.is_file():
            return parent, path.relative_to(parent).as_posix()
    return path, None


def members(path: Path, file_name: str) -> tuple[Member, ...] | None:
    """Return the members of an archive in the order they are taken in, or None for a file that is no archive.

    Unpacks every member once to know its content. FileRefusedError: the archive as a whole cannot be taken in.
    """
    with path.open("rb") as source:
        head = source.read(len(ZIP_MARK))
        if head not in (ZIP_MARK, _EMPTY_ZIP):
            if file_name.lower().endswith(".zip") and head:
                raise refused("named .zip but no ZIP archive; send it as it is, or pack it again")
            return None
        with checked(source) as archive:
            if document_kind(archive) is not None:
                return None
            entries = [e for e in archive.infolist() if not e.is_dir() and not _is_hidden(e.filename)]
            if not entries:
                raise refused("the archive holds no file")
            entries.sort(key=lambda e: (e.date_time, e.filename))
            return tuple(Member(e.filename, _digest(archive, e), e.file_size) for e in entries)


def is_workbook(path: Path) -> bool:
    """Return whether a file or member is a workbook by its content; refuses other documents by name of their kind."""
    with opened(path) as source:
        head = source.read(len(ZIP_MARK))
        if head == _OLE_MARK:
            raise refused("an old .xls workbook, or one with a password; save it as .xlsx without a password, or as CSV")
        if head != ZIP_MARK:
            return False
    with seekable(path) as document, checked(document) as archive:
        kind = document_kind(archive)
    if kind is None:
        raise refused("a ZIP archive inside an archive is not opened; put its files into one archive, or send them as they are")
    if kind != "workbook":
        raise refused(f"{kind}; save it as .xlsx or CSV")
    return True


def document_kind(archive: zipfile.ZipFile) -> str | None:
    """Return "workbook" for .xlsx and .xlsm, words for another office document, None for a plain archive."""
    names = set(archive.namelist())
    if "[Content_Types].xml" not in names:
        return "an OpenDocument file" if "mimetype" in names and "content.xml" in names else None
    if any(n.lower().endswith("workbook.bin") for n in names):
        return "a binary .xlsb workbook"
    return "workbook" if any(n.lower().endswith("workbook.xml") for n in names) else "an office document that is no workbook"


@contextmanager
def opened(path: Path) -> Iterator[io.BufferedReader]:
    """Open a file, or a member of an archive as a stream that is checked to its end. FileRefusedError when it is broken."""
    file, name = located(path)
    with _open(file) as source:
        if name is None:
            yield source
            return
        with checked(source) as archive:
            try:
                entry = archive.getinfo(name)
            except KeyError:
                raise refused(f"the archive has no member {shown(name)}") from None
            with archive.open(entry) as packed:
                yield io.BufferedReader(_Whole(packed, entry), _READ_BYTES)


def _open(file: Path) -> io.BufferedReader:
    try:
        return file.open("rb")
    except OSError as error:
        raise refused(f"{error.strerror}") from error


@contextmanager
def seekable(path: Path) -> Iterator[IO[bytes]]:
    """Open a file that is read out of order; a member of an archive is held in memory for it."""
    if located(path)[1] is None:
        with _open(path) as source:
            yield source
        return
    with opened(path) as stream:
        data = stream.read(LARGEST_INNER_WORKBOOK + 1)
    if len(data) > LARGEST_INNER_WORKBOOK:
        raise refused(f"a workbook of more than {LARGEST_INNER_WORKBOOK // 2**20} MiB inside an archive; send it as it is")
    yield io.BytesIO(data)


@contextmanager
def checked(source: IO[bytes]) -> Iterator[zipfile.ZipFile]:
    """Open a ZIP file whose list of members is sound; FileRefusedError when it is not, or breaks while it is read."""
    try:
        _refuse_large_directory(source)
        with zipfile.ZipFile(source) as archive:
            _check_members(archive, source)
            yield archive
    except FileRefusedError:
        raise
    except _BROKEN as error:
        raise refused(f"the ZIP file is damaged or cut off: {error}"[:300]) from error


def sound(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> io.BufferedReader:
    """Open a member of a checked ZIP file as a stream that is checked to its end."""
    return io.BufferedReader(_Whole(archive.open(entry), entry), _READ_BYTES)


class _Whole(io.RawIOBase):
    """A member as a stream: refuses when it breaks, or ends before its declared size (zipfile checks the sum at the end)."""

    def __init__(self, packed: IO[bytes], entry: zipfile.ZipInfo) -> None:
        self._packed, self._name, self._left = packed, entry.filename, entry.file_size

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        try:
            data = self._packed.read(len(buffer))
        except _BROKEN as error:
            raise refused(f"member {shown(self._name)} is damaged: {error}"[:300]) from error
        self._left -= len(data)
        if not data and self._left:
            raise refused(f"member {shown(self._name)} is shorter than it says")
        buffer[: len(data)] = data
        return len(data)


def _refuse_large_directory(source: IO[bytes]) -> None:
    """Refuse a list of members that is too long before it is read: its length stands at the end of the file."""
    size = source.seek(0, os.SEEK_END)
    tail_at = max(size - _LONGEST_COMMENT - _END.size - _LOCATOR.size, 0)
    source.seek(tail_at)
    tail = source.read()
    at = tail.rfind(_EMPTY_ZIP)
    if at < 0 or at + _END.size > len(tail):
        raise refused("the ZIP file is damaged or cut off: its list of members is missing")
    directory_bytes = int(_END.unpack_from(tail, at)[5])
    locator = tail[max(at - _LOCATOR.size, 0) : at]
    if len(locator) == _LOCATOR.size and locator.startswith(b"PK\x06\x07"):
        source.seek(_LOCATOR.unpack(locator)[2])
        record = source.read(_END64.size)
        directory_bytes = max(int(_END64.unpack(record)[8]), directory_bytes if directory_bytes < 2**32 - 1 else 0)
    if directory_bytes > LARGEST_DIRECTORY:
        raise refused(f"the list of members is longer than {LARGEST_DIRECTORY // 2**20} MiB")
    source.seek(0)


def _check_members(archive: zipfile.ZipFile, source: IO[bytes]) -> None:
    entries = archive.infolist()
    if len(entries) > MOST_MEMBERS:
        raise refused(f"{len(entries)} members; at most {MOST_MEMBERS} are taken from one archive")
    seen: set[str] = set()
    for entry in entries:
        trouble = _trouble(entry)
        if trouble:
            raise refused(f"member {shown(entry.orig_filename)} {trouble}")
        if entry.filename in seen:
            raise refused(f"two members are named {shown(entry.filename)}")
        seen.add(entry.filename)
    total = sum(e.file_size for e in entries)
    if total > LARGEST_TOTAL:
        raise refused(f"its members unpack to more than {LARGEST_TOTAL // 2**30} GiB")
    if total > HARMLESS and total > HIGHEST_RATIO * sum(e.compress_size for e in entries):
        raise refused(f"its members unpack to more than {HIGHEST_RATIO} times their size")
    _refuse_overlaps(entries, source)


def _trouble(entry: zipfile.ZipInfo) -> str | None:
    """Return what is wrong with a member by what the list says of it."""
    name, mode = entry.orig_filename, entry.external_attr >> 16
    if entry.flag_bits & _ENCRYPTED:
        return "is encrypted; send it without a password"
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in name):
        return "has a control character in its name"
    parts = name.removesuffix("/").split("/")
    if not name or "\\" in name or re.match(r"[A-Za-z]:", name) or any(p in ("", ".", "..") for p in parts):
        return "has a name that is no plain relative path"
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG, stat.S_IFDIR):
        return "is a link or a device, not a file"
    if entry.compress_type not in _METHODS:
        return f"is packed by method {entry.compress_type}; only stored and deflated members are read"
    if entry.is_dir() and entry.file_size:
        return "is a folder with content"
    if entry.file_size > HARMLESS and entry.file_size > HIGHEST_RATIO * entry.compress_size:
        return f"unpacks to more than {HIGHEST_RATIO} times its size"
    return None


def _refuse_overlaps(entries: list[zipfile.ZipInfo], source: IO[bytes]) -> None:
    """Refuse members that share bytes of the file: one packed block would be unpacked many times."""
    behind, before = 0, ""
    for entry in sorted(entries, key=lambda e: e.header_offset):
        source.seek(entry.header_offset)
        header = source.read(_LOCAL.size)
        if len(header) < _LOCAL.size or not header.startswith(ZIP_MARK):
            raise refused(f"member {shown(entry.filename)} is not where the list says")
        if entry.header_offset < behind:
            raise refused(f"members {shown(before)} and {shown(entry.filename)} overlap")
        fields = _LOCAL.unpack(header)
        behind = entry.header_offset + _LOCAL.size + int(fields[-2]) + int(fields[-1]) + entry.compress_size
        behind += _DESCRIPTOR_BYTES if entry.flag_bits & _DESCRIPTOR else 0
        before = entry.filename
    source.seek(0)


def _is_hidden(name: str) -> bool:
    parts = name.split("/")
    return parts[-1].startswith(".") or "__MACOSX" in parts


def _digest(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> str:
    digest = hashlib.sha256()
    with sound(archive, entry) as stream:
        while data := stream.read(_READ_BYTES):
            digest.update(data)
    return digest.hexdigest()
