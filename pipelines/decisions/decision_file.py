"""The file of decisions of a plant: one JSON object a line, appended and synced before the command reports success.

It is kept beside the plant file, not in the store, so that a rebuild gives the same tables. Each id is a digest of the
decision and of the previous id: an edited, moved or deleted line is detected on reading.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, date, datetime
from pathlib import Path

from pipelines.base.errors import ExitCode, FlocledgerError

_ID_DIGITS = 12
_FIRST = "0" * _ID_DIGITS  # stands before the first decision


class DispositionFileError(FlocledgerError):
    """The file of decisions cannot be used; names line, problem and remedy; nothing was written."""

    exit_code = ExitCode.PLANT_FILE_OR_USAGE


@dataclass(frozen=True)
class Decision:
    """One decision; a row is named by load and line (and tag, column or analyte), a flag by line and flag id."""

    decided_utc: datetime
    kind: str  # "row" or "flag"
    disposition: str
    who: str
    note: str | None = None
    given: str | None = None
    load_id: str | None = None
    line_no: int | None = None
    subject: str | None = None
    line: str | None = None
    flag_id: str | None = None
    owner: str | None = None
    due_day: date | None = None
    id: str = ""

    def chained(self, before: str) -> Decision:
        """Return the decision with its id, which rests on the one before."""
        body = json.dumps(self._said(), sort_keys=True, ensure_ascii=False)
        return replace(self, id=hashlib.sha256(f"{before}\n{body}".encode()).hexdigest()[:_ID_DIGITS])

    def _said(self) -> dict[str, object]:
        said = {k: v for k, v in asdict(self).items() if k != "id" and v is not None}
        due = {"due_day": self.due_day.isoformat()} if self.due_day else {}
        return said | due | {"decided_utc": self.decided_utc.astimezone(UTC).isoformat()}

    def line_of_file(self) -> str:
        return json.dumps({"id": self.id, **self._said()}, ensure_ascii=False) + "\n"


def read(path: Path) -> list[Decision]:
    """Return all decisions of a file in order; none without a file. An unfinished last line was never confirmed."""
    if not path.exists():
        return []
    found: list[Decision] = []
    lines = _whole(path.read_bytes()).decode("utf-8", errors="replace").split("\n")[:-1]  # a note may hold other line separators
    for number, text in enumerate(lines, start=1):
        found.append(_decision(path, number, text, found[-1].id if found else _FIRST))
    return found


def append(path: Path, decisions: Iterable[Decision]) -> list[Decision]:
    """Append decisions and sync them to disk; return them with their ids. The caller holds the plant's lock."""
    known, chained = read(path), []
    before = known[-1].id if known else _FIRST
    for decision in decisions:
        chained.append(decision.chained(before))
        before = chained[-1].id
    path.parent.mkdir(parents=True, exist_ok=True)
    is_new = not path.exists()
    with path.open("ab") as file:
        whole = 0 if is_new else len(_whole(path.read_bytes()))
        file.truncate(whole)  # what a kill left of a line that was never confirmed
        file.write("".join(d.line_of_file() for d in chained).encode())
        file.flush()
        os.fsync(file.fileno())
    if is_new:
        folder = os.open(path.parent, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)
    return chained


def _whole(content: bytes) -> bytes:
    return content[: content.rfind(b"\n") + 1]


def _decision(path: Path, number: int, text: str, before: str) -> Decision:
    try:
        given = json.loads(text)
        known = {f.name for f in fields(Decision)}
        if not isinstance(given, dict) or not set(given) <= known:
            raise ValueError("is not a decision")
        due = date.fromisoformat(given["due_day"]) if given.get("due_day") else None
        decision = Decision(**{**given, "decided_utc": datetime.fromisoformat(given["decided_utc"]), "due_day": due})
    except (ValueError, KeyError, TypeError) as error:
        raise _broken(path, number, f"cannot be read: {error}") from error
    if decision.chained(before).id != decision.id:
        raise _broken(path, number, "does not follow from the lines before it: a line was changed, moved or deleted")
    return decision


def _broken(path: Path, number: int, problem: str) -> DispositionFileError:
    remedy = "restore the file from a backup; revoke a decision by a new decision, never by an edit"
    return DispositionFileError(f"{path}, line {number}: {problem}", remedy=remedy)
