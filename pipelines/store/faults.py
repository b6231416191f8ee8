"""Faults of the system (no space, no permission, a damaged file) as errors that name path, cause, remedy, and what is safe."""

from __future__ import annotations

import errno
import os
import re

import duckdb

from pipelines.base.errors import FlocledgerError

SAFE = "Originals and everything committed before are safe; the next run continues from there"
REMEDIES = {
    errno.ENOSPC: "free space on that disk, then run again",
    errno.EDQUOT: "raise the quota or free space, then run again",
    errno.EACCES: "give the account that runs flocledger access to that path, then run again",
    errno.EPERM: "give the account that runs flocledger access to that path, then run again",
    errno.EROFS: "mount the file system writable, then run again",
    errno.EIO: "check the disk, then run again",
    errno.ESTALE: "mount the network share again, then run again",
    errno.EMFILE: "raise the limit of open files (ulimit -n), then run again",
    errno.ENFILE: "raise the system's limit of open files, then run again",
    errno.ENOTDIR: "something else stands where a folder should be: move it away, then run again",
    errno.EEXIST: "something else stands where a folder should be: move it away, then run again",
    errno.EISDIR: "a folder stands where a file should be: move it away, then run again",
    errno.ENOENT: "check that the folder is there and mounted, then run again",
}
_CAUSES = {number: os.strerror(number) for number in REMEDIES}
_DAMAGED = ("corrupt", "not a valid duckdb", "checksum", "read enough bytes", "deserialize")
_PATH = re.compile(r'file:? "([^"]+)"', re.IGNORECASE)


class SystemFaultError(FlocledgerError):
    """The system refused something a run needs; nothing is half done."""


class DamagedFileError(SystemFaultError):
    """A database file cannot be read: cut, overwritten, or of a failing disk."""


def explained(error: Exception, plant: str = "") -> Exception:
    """Return what to show for an error: itself, or for a fault of the system one with path, cause and remedy."""
    if isinstance(error, FlocledgerError):
        return error
    if isinstance(error, OSError) and error.errno is not None:
        path = error.filename2 or error.filename or "a file"
        cause, remedy = error.strerror or str(error), REMEDIES.get(error.errno, "mend the cause, then run again")
        return SystemFaultError(f"{path}: {cause}", remedy=f"{remedy}. {SAFE}")
    if isinstance(error, MemoryError | duckdb.OutOfMemoryException):
        return SystemFaultError("there is not enough memory", remedy=f"free memory, then run again. {SAFE}")
    if isinstance(error, duckdb.Error):
        return _of_duckdb(error, plant)
    return error


def _of_duckdb(error: duckdb.Error, plant: str) -> Exception:
    text = str(error)
    named = _PATH.search(text)
    path = named[1] if named else "a database file"
    if is_damage(error):
        return DamagedFileError(f"{path} is damaged: {_first_line(text)}", remedy=f"run `flocledger rebuild --plant {plant}`. {SAFE}")
    for number, cause in _CAUSES.items():
        if cause.lower() in text.lower():
            return SystemFaultError(f"{path}: {cause}", remedy=f"{REMEDIES[number]}. {SAFE}")
    if isinstance(error, duckdb.IOException):
        return SystemFaultError(f"{path}: {_first_line(text)}", remedy=f"mend the cause, then run again. {SAFE}")
    return error


def is_damage(error: Exception) -> bool:
    """Return whether an error says that a database file does not hold what was written to it."""
    if isinstance(error, DamagedFileError):
        return True
    text = str(error).lower()
    if isinstance(error, duckdb.SerializationException):
        return True
    # a page whose checksum is wrong comes as the base class of all DuckDB's errors (2.0.1)
    kinds = duckdb.IOException | duckdb.FatalException | duckdb.InternalException
    return (isinstance(error, kinds) or type(error) is duckdb.Error) and any(word in text for word in _DAMAGED)


def _first_line(text: str) -> str:
    return text.strip().splitlines()[0]
