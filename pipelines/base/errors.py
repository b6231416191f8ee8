"""Errors a person can act on, and the exit codes they end with."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class ExitCode(IntEnum):
    """Exit codes of the command line; a scheduler can act on them."""

    OK = 0
    WARNINGS = 1
    DATA_MISSING = 2
    PLANT_FILE_OR_USAGE = 3
    INTERNAL = 4


class FlocledgerError(Exception):
    """Base of all errors shown without a traceback: what, where, remedy."""

    exit_code = ExitCode.INTERNAL

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(message)
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.args[0]}\n  remedy: {self.remedy}" if self.remedy else str(self.args[0])


class UsageError(FlocledgerError):
    """The command or its arguments are wrong."""

    exit_code = ExitCode.PLANT_FILE_OR_USAGE


class PlantFileError(FlocledgerError):
    """The plant file cannot be used; names line, key, value and remedy; nothing was written."""

    exit_code = ExitCode.PLANT_FILE_OR_USAGE

    def __init__(self, *, path: str, line: int | None, key: str, value: object, problem: str, remedy: str) -> None:
        where = f"{path}, line {line}" if line else path
        said = f"{key} = {value!r}:" if repr(value) != "nothing" else key  # a missing key has no value to show
        super().__init__(f"{where}: {said} {problem}", remedy=remedy)
        self.path, self.line, self.key, self.value, self.problem = path, line, key, value, problem


class DataMissingError(FlocledgerError):
    """Data are missing: no store, no published file, no rows for the period."""

    exit_code = ExitCode.DATA_MISSING


class LockedError(FlocledgerError):
    """Another process writes this plant; the message names it. Nothing was done."""

    exit_code = ExitCode.PLANT_FILE_OR_USAGE


class InternalError(FlocledgerError):
    """An invariant of the project does not hold (a receipt out of balance, a table out of its schema)."""

    exit_code = ExitCode.INTERNAL


def exit_code_of(error: Exception) -> ExitCode:
    """Return the code a run ends with when this error stops it."""
    return error.exit_code if isinstance(error, FlocledgerError) else ExitCode.INTERNAL


@dataclass(frozen=True)
class Notice:
    """A warning as an object: a dotted name, a sentence, and the data that shows why."""

    name: str
    sentence: str
    data: dict[str, object]
