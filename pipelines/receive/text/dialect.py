"""How a delimited file is written, and its bytes as UTF-8 pieces of bounded size that end where a line ends."""

from __future__ import annotations

import codecs
import gzip
import io
import os
import re
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from pipelines.files.original import FileRefusedError
from pipelines.plant.layout_checks import BLANKS
from pipelines.receive.containers import zip_files

PIECE_BYTES = 32 * 2**20  # a tag of it lies together in the store: larger pieces make a smaller store; memory stays well below 1 GiB
LONGEST_LINE = 16 * 2**20  # a longer "line" is no table row
LARGEST_UNPACKED = zip_files.LARGEST_TOTAL  # a compressed file that unpacks to more than this is refused
MOST_LINES = 2**32 - 2  # line numbers are 32-bit
ONE_SIGN = "\x1f"  # unit separator: stands for a delimiter of several characters while a line is split
_RUN = re.compile(r"[ \t]+")
_GZIP = b"\x1f\x8b"
_WINDOW = 64 * 2**10  # bytes looked at first for the line end nearest to the end of a piece


@dataclass(frozen=True)
class Dialect:
    """How a delimited file is written. Lines may end in LF, CRLF or CR; without an escape a quote is doubled."""

    encoding: str = "utf-8"
    delimiter: str = ","
    quote: str | None = '"'
    escape: str | None = None

    @property
    def is_long(self) -> bool:
        """Return whether fields are parted by more than one character."""
        return len(self.delimiter) > 1

    def one_sign(self, line: str) -> str:
        """Return a line with one sign for its delimiter of several characters (`layout_checks.BLANKS`: any run of blanks and tabs)."""
        if ONE_SIGN in line:
            raise FileRefusedError("file not readable", "a line holds the control character 0x1F")
        if self.delimiter != BLANKS:
            return line.replace(self.delimiter, ONE_SIGN)
        text = line.rstrip("\r\n")
        return _RUN.sub(ONE_SIGN, text.strip(" \t")) + line[len(text) :]

    def as_written(self, field: str) -> str:
        """Return a quoted field that held the delimiter as it stands in the file."""
        return field.replace(ONE_SIGN, " " if self.delimiter == BLANKS else self.delimiter)


def pieces(path: Path, encoding: str, piece_bytes: int = PIECE_BYTES, skip_bytes: int = 0) -> Iterator[bytes]:
    """Yield the file as UTF-8 without byte order mark, in pieces that end with a line (the last one as it is).

    `skip_bytes` of the UTF-8 text are left out at the beginning.

    A path that goes on behind a ZIP archive is a member of it. FileRefusedError when it cannot be unpacked or decoded, holds
    NUL bytes, or has an endless line.
    """
    codec = _codec(encoding)
    try:
        if path.is_file():
            with path.open("rb", buffering=0) as source:
                if _is_plain(codec) and os.pread(source.fileno(), len(_GZIP), 0) != _GZIP:
                    is_huge = os.fstat(source.fileno()).st_size > MOST_LINES
                    yield from _sound(_cut_in_place(source, piece_bytes, skip_bytes), count=is_huge)
                    return
        with zip_files.opened(path) as stream:
            yield from _sound(_skipped(_streamed(stream, codec, piece_bytes), skip_bytes))
    except (OSError, EOFError, zlib.error) as error:
        raise FileRefusedError("file not readable", f"{error}") from error


def _sound(parts: Iterator[bytes], *, count: bool = True) -> Iterator[bytes]:
    """Pass on what is text; refuse NUL bytes, and (where the size leaves room for it) more lines than can be numbered."""
    lines = 0
    for part in parts:
        if b"\x00" in part:
            raise FileRefusedError(
                "file not readable", "the file holds NUL bytes; it is no text in the encoding of the layout (utf-8 where it names none)"
            )
        if count:
            lines += max(part.count(b"\n"), part.count(b"\r"))
            if lines > MOST_LINES:
                raise FileRefusedError("file not readable", "more lines than can be numbered; send it in parts")
        yield part


def _codec(encoding: str) -> codecs.CodecInfo:
    try:
        return codecs.lookup(encoding)
    except LookupError as error:
        raise FileRefusedError("file not readable", f"the layout's encoding {encoding!r} is not known") from error


def _is_plain(codec: codecs.CodecInfo) -> bool:
    """Return whether the bytes can pass as they are; that they are UTF-8 shows when they are read."""
    return codec.name in ("utf-8", "ascii", "utf-8-sig")


def _cut_in_place(source: FileIO, piece_bytes: int, skip_bytes: int) -> Iterator[bytes]:
    """Yield a plain file: the line end nearest to the end of a piece is looked up first, so each byte is read once."""
    fd, size = source.fileno(), os.fstat(source.fileno()).st_size
    at = len(codecs.BOM_UTF8) if os.pread(source.fileno(), len(codecs.BOM_UTF8), 0) == codecs.BOM_UTF8 else 0
    at += skip_bytes
    while at < size:
        end = min(at + piece_bytes, size)
        if end < size:
            end = _line_end_before(fd, at, end) or _line_end_after(fd, end, size)
        part = os.pread(fd, end - at, at)
        if len(part) < end - at:
            raise FileRefusedError("file not readable", "the file became shorter while it was read")
        yield part
        at = end


def _line_end_before(fd: int, start: int, end: int) -> int | None:
    """Return the place behind the last line end in the part of a file, searched backwards in growing windows."""
    window = _WINDOW
    while True:
        low = max(start, end - window)
        cut = _line_end(os.pread(fd, end - low, low))
        if cut or low == start:
            return low + cut if cut else None
        window *= 8


def _line_end_after(fd: int, start: int, size: int) -> int:
    """Return the place behind the first line end from `start` on, or the end of the file."""
    found = os.pread(fd, LONGEST_LINE, start)
    feed, lone = found.find(b"\n"), found.find(b"\r", 0, -1)
    ends = [p + 1 for p in (feed, lone) if p >= 0 and (p == feed or p + 1 != feed)]
    if not ends and start + len(found) < size:
        if len(found) < LONGEST_LINE:
            raise FileRefusedError("file not readable", "the file became shorter while it was read")
        raise FileRefusedError("file not readable", f"a line is longer than {LONGEST_LINE // 2**20} MiB")
    return start + (min(ends) if ends else len(found))


def _streamed(source: io.BufferedReader, codec: codecs.CodecInfo, piece_bytes: int) -> Iterator[bytes]:
    """Yield a compressed or otherwise encoded file, or a member of an archive, unpacked and transcoded on the way."""
    if source.peek(len(_GZIP))[: len(_GZIP)] != _GZIP:
        yield from whole_lines(_text(source, codec, piece_bytes))
        return
    with gzip.GzipFile(fileobj=source, mode="rb") as unpacked:
        yield from whole_lines(_text(unpacked, codec, piece_bytes, source))


def _skipped(parts: Iterator[bytes], skip_bytes: int) -> Iterator[bytes]:
    """Leave out bytes at the beginning of a stream."""
    for part in parts:
        if skip_bytes < len(part):
            yield part[skip_bytes:] if skip_bytes else part
        skip_bytes = max(skip_bytes - len(part), 0)


def _text(
    source: io.BufferedReader | gzip.GzipFile, codec: codecs.CodecInfo, piece_bytes: int, packed: io.BufferedReader | None = None
) -> Iterator[bytes]:
    """Yield the content as UTF-8 bytes, cut anywhere; `packed` is the stream behind an unpacked one."""
    decoder, total, first = codec.incrementaldecoder(), 0, True
    while True:
        data = source.read(piece_bytes) or b""
        total += len(data)
        if total > LARGEST_UNPACKED:
            raise FileRefusedError("file not readable", f"more than {LARGEST_UNPACKED // 2**30} GiB unpacked")
        if packed is not None and total > zip_files.HARMLESS and total > zip_files.HIGHEST_RATIO * packed.tell():
            raise FileRefusedError("file not readable", f"it unpacks to more than {zip_files.HIGHEST_RATIO} times its size")
        out = data if _is_plain(codec) else _decoded(decoder, data, final=not data)
        if first and out:
            out, first = out.removeprefix(codecs.BOM_UTF8), False
        if out:
            yield out
        if not data:
            return


def _decoded(decoder: codecs.IncrementalDecoder, data: bytes, *, final: bool) -> bytes:
    try:
        return decoder.decode(data, final).encode("utf-8")
    except UnicodeError as error:
        raise FileRefusedError("file not readable", f"not in the encoding of the layout: {error}"[:300]) from error


def whole_lines(parts: Iterable[bytes]) -> Iterator[bytes]:
    """Cut the stream after line ends; small parts (a gzip member gives them) are gathered first."""
    rest: list[bytes] = []
    size = 0
    for part in parts:
        cut = _line_end(part)
        if cut == 0:
            rest.append(part)
            size += len(part)
        else:
            yield b"".join((*rest, part[:cut])) if rest else part if cut == len(part) else part[:cut]
            rest = [part[cut:]] if cut < len(part) else []
            size = len(part) - cut
        if size > LONGEST_LINE:
            raise FileRefusedError("file not readable", f"a line is longer than {LONGEST_LINE // 2**20} MiB")
    if size:
        yield b"".join(rest)


def _line_end(part: bytes) -> int:
    """Return the place behind the last line end; a CR at the very end may be half of a CRLF and waits."""
    cut = part.rfind(b"\n") + 1
    return cut or part.rfind(b"\r", 0, -1) + 1
