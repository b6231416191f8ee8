"""What went wrong with single files of a run: told as notices, so that the other files go on."""

from __future__ import annotations

import errno
from dataclasses import dataclass, field
from pathlib import Path

import duckdb

from pipelines.base import sanitise
from pipelines.base.errors import FlocledgerError, Notice
from pipelines.base.home import Home
from pipelines.files.original import FileRefusedError, Original
from pipelines.runs import records

# Errors of the system that the next file would meet too: no room, no rights to write, a failing disk, no more files or memory.
_OF_SYSTEM = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO, errno.ESTALE, errno.EMFILE, errno.ENFILE, errno.ENOMEM}
_OF_VALUES = (duckdb.DataError, duckdb.IntegrityError)  # of the store: a value does not fit; all else is the store's own trouble


@dataclass(frozen=True)
class FileProblems:
    """The notices of a run of a plant about its files."""

    home: Home
    plant: str
    notices: list[Notice] = field(default_factory=list)

    def unexpected(self, file_name: str, error: Exception) -> FileRefusedError:
        """Keep the traceback of an error nobody foresaw; return it as the reason to set the file aside whole."""
        what = f"unexpected error: {type(error).__name__}: {error}"
        path = records.keep_traceback(self.home, error, self.plant)
        sentence = f"{sanitise.name(file_name)} was set aside whole: {sanitise.name(what)}; the traceback is in {path}"
        self.notices.append(Notice("file.unexpected_error", sentence, {"file": file_name, "traceback": str(path)}))
        return FileRefusedError("file not readable", what)

    def not_opened(self, path: Path, error: OSError) -> None:
        """Tell that a file of the inbox could not be read."""
        sentence = f"{sanitise.name(path.name)} could not be opened and stays in the inbox: {error.strerror}"
        self.notices.append(Notice("inbox.file_locked", sentence, {"file": path.name}))

    def stays(self, path: Path, why: str) -> None:
        """Report what stays in the inbox, and why."""
        self.notices.append(Notice("inbox.left", f"{sanitise.name(path.name)} stays in the inbox: {why}", {"file": path.name}))

    def written_on(self, original: Original, archived_as: str) -> None:
        """Tell that a file changed between its fingerprint and its move into the archive."""
        sentence = f"{sanitise.name(original.file_name)} was still being written to when it was archived: have it sent again, whole"
        self.notices.append(Notice("archive.still_written", sentence, {"file": original.file_name, "archived_as": archived_as}))

    def clock_disproved(self, file_name: str, note: str) -> None:
        """Report that the stamps of a file do not follow the clock of the declared zone."""
        self.notices.append(Notice("file.no_daylight_saving", f"{sanitise.name(file_name)}: {note}", {"file": file_name}))

    def not_of_archive(self, file_name: str) -> None:
        """Tell that a file in the archive is none that a run put there."""
        sentence = (
            f"{sanitise.name(file_name)} in the archive has no number and time of receipt in its name and is left out: move it to the inbox"
        )
        self.notices.append(Notice("archive.not_of_archive", sentence, {"file": file_name}))

    def changed_size(self, file_name: str, archived_as: str, taken_bytes: int, now_bytes: int | None, *, is_taken: bool) -> None:
        """Report that an archived file has another size than its receipt says, and whether what was added is taken in now."""
        now = "is gone" if now_bytes is None else f"has {now_bytes:,} bytes"
        what = "what its writer added is taken in with this run" if is_taken else "have it sent again, or restore it from a backup"
        sentence = f"{sanitise.name(file_name)} in the archive {now}, its receipt says {taken_bytes:,}: {what}"
        self.notices.append(Notice("archive.size_changed", sentence, {"file": file_name, "archived_as": archived_as}))

    def not_as_it_came(self, file_name: str, archived_as: str) -> None:
        """Tell that the bytes of an archived file are not those its name tells."""
        sentence = f"{sanitise.name(file_name)} changed in the archive after it came, and is taken in as it is now: have it sent again, or restore it"
        self.notices.append(Notice("archive.changed", sentence, {"file": file_name, "archived_as": archived_as}))


def refusal(error: Exception, original: Original, problems: FileProblems | None) -> FileRefusedError:
    """Return the reason to set a file aside whole: the error itself when it is one, else one for an error nobody foresaw.

    Raises the error again where the next file would meet it too, or where nobody would be told (no `problems`).
    """
    if isinstance(error, FileRefusedError):
        return error
    if problems is None or not is_of_file(error):
        raise error
    return problems.unexpected(original.file_name, error)


def is_of_file(error: Exception) -> bool:
    """Tell errors that come from what stands in a file from those of the system, the store, or a broken invariant."""
    if isinstance(error, duckdb.Error):
        return isinstance(error, _OF_VALUES)
    return not isinstance(error, FlocledgerError | MemoryError) and not (isinstance(error, OSError) and error.errno in _OF_SYSTEM)
