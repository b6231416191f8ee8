"""What went wrong with single files of a run: told as notices, so that the other files go on."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from pipelines import shown
from pipelines.chunks import Original
from pipelines.errors import Notice


@dataclass(frozen=True)
class Mishaps:
    """The notices of a run about its files."""

    notices: list[Notice] = field(default_factory=list)

    def not_opened(self, path: Path, error: OSError) -> None:
        """Tell that a file of the inbox could not be read."""
        sentence = f"{shown.name(path.name)} could not be opened and stays in the inbox: {error.strerror}"
        self.notices.append(Notice("inbox.file_locked", sentence, {"file": path.name}))

    def written_on(self, original: Original, archived_as: str) -> None:
        """Tell that a file changed between its fingerprint and its move into the archive."""
        sentence = f"{shown.name(original.file_name)} was still being written to when it was archived: have it sent again, whole"
        self.notices.append(Notice("archive.still_written", sentence, {"file": original.file_name, "archived_as": archived_as}))

    def not_as_it_came(self, file_name: str, archived_as: str) -> None:
        """Tell that the bytes of an archived file are not those its name tells."""
        sentence = (
            f"{shown.name(file_name)} changed in the archive after it came, and is taken in as it is now: have it sent again, or restore it"
        )
        self.notices.append(Notice("archive.changed", sentence, {"file": file_name, "archived_as": archived_as}))
