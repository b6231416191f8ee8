"""Problems of single files of a run, reported as notices so that other files are processed."""

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

# System errors that the next file would meet too: disk full, no write permission, failing disk, no more handles or memory.
_OF_SYSTEM = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO, errno.ESTALE, errno.EMFILE, errno.ENFILE, errno.ENOMEM}
_OF_VALUES = (duckdb.DataError, duckdb.IntegrityError)  # of the store: a value does not fit; all else is the store's own trouble


@dataclass(frozen=True)
class FileProblems:
    """The notices of a run of a plant about its files."""

    home: Home
    plant: str
    notices: list[Notice] = field(default_factory=list)

    def unexpected(self, file_name: str, error: Exception) -> FileRefusedError:
        """Keep the traceback of an unexpected error; return it as the reason to set the whole file aside."""
        what = f"unexpected error: {type(error).__name__}: {error}"
        path = records.keep_traceback(self.home, error, self.plant)
        sentence = f"{sanitise.name(file_name)} was set aside whole: {sanitise.name(what)}; the traceback is in {path}"
        self.notices.append(Notice("file.unexpected_error", sentence, {"file": file_name, "traceback": str(path)}))
        return FileRefusedError("file not readable", what)

    def not_opened(self, path: Path, error: OSError) -> None:
        """Report that a file of the inbox could not be read."""
        sentence = f"{sanitise.name(path.name)} could not be opened and stays in the inbox: {error.strerror}"
        self.notices.append(Notice("inbox.file_locked", sentence, {"file": path.name}))

    def stays(self, path: Path, why: str) -> None:
        """Report what stays in the inbox, and why."""
        self.notices.append(Notice("inbox.left", f"{sanitise.name(path.name)} stays in the inbox: {why}", {"file": path.name}))

    def written_on(self, original: Original, archived_as: str) -> None:
        """Report that a file changed between its fingerprint and its move into the archive."""
        sentence = f"{sanitise.name(original.file_name)} was still being written when it was archived: have it sent again, complete"
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
        """Report that the content of an archived file does not match the hash in its name."""
        sentence = f"{sanitise.name(file_name)} changed in the archive after it was received, and is loaded as it is now: have it sent again, or restore it"
        self.notices.append(Notice("archive.changed", sentence, {"file": file_name, "archived_as": archived_as}))


def refusal(error: Exception, original: Original, problems: FileProblems | None) -> FileRefusedError:
    """Return the reason to set a whole file aside: the error itself, or one for an unexpected error.

    Raises the error again when the next file would meet it too, or when it could not be reported (no `problems`).
    """
    if isinstance(error, FileRefusedError):
        return error
    if problems is None or not is_of_file(error):
        raise error
    return problems.unexpected(original.file_name, error)


def is_of_file(error: Exception) -> bool:
    """Return whether an error comes from a file's content, not from the system, the store, or a broken invariant."""
    if isinstance(error, duckdb.Error):
        return isinstance(error, _OF_VALUES)
    return not isinstance(error, FlocledgerError | MemoryError) and not (isinstance(error, OSError) and error.errno in _OF_SYSTEM)
