"""A file as it came: its identity by content, and the error that refuses it as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipelines.base.errors import ExitCode, FlocledgerError


class FileRefusedError(FlocledgerError):
    """A file refused as a whole; `reason` is from the closed list. Other files are processed."""

    exit_code = ExitCode.PLANT_FILE_OR_USAGE  # where it is the only file asked for

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(f"{reason}: {detail}")
        self.reason, self.detail = reason, detail


@dataclass(frozen=True)
class Original:
    """A file in the inbox, by content; `changed_ns` is its last change when its bytes were read (0: not known)."""

    path: Path
    file_name: str
    sha256: str
    file_bytes: int
    changed_ns: int = 0

    @property
    def load_id(self) -> str:
        return self.sha256[:16]
