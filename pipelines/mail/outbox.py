"""The outbox of a plant: one folder a message with its text and its state, so that none is lost and none goes out twice.

A message waits as `<name>.eml` with `<name>.json`; taken by the server, the state says so and the text goes. Two runs never send one plant's
outbox at the same time (a lock the system drops with its process). Between the server's "taken" and the note of it lies a moment in which a
killed run cannot know; the next run sends again with the same Message-ID, by which mail systems drop the second (RFC 5322 3.6.4).
"""

from __future__ import annotations

import fcntl
import json
import os
import smtplib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import parseaddr
from pathlib import Path
from typing import Any

from pipelines.mail import server
from pipelines.mail.server import Account

# After each failed try the next waits twice as long, up to the longest (common practice, no source).
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=5), timedelta(hours=12)


def name_of(stem: str, revision: int) -> str:
    """Return the name of a page's message."""
    return f"{stem}_r{revision}"


class Outbox:
    """The messages of one plant below `folder`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def knows(self, name: str) -> bool:
        """Return whether a message of this name was ever queued."""
        return self._state(name).is_file()

    def queue(self, name: str, message: EmailMessage, to: Sequence[str]) -> None:
        """Keep a message until it is sent; its text is there before its state says that it waits."""
        self.folder.mkdir(parents=True, exist_ok=True)
        _put(self._text(name), message.as_bytes(policy=SMTP))
        self.note(
            name, {"to": list(to), "sent": [], "from": parseaddr(str(message["From"]))[1], "tries": 0, "not_before": None, "error": None}
        )

    def waiting(self) -> list[str]:
        """Return the names of messages that some recipient has not got yet, oldest page first."""
        return [p.stem for p in sorted(self.folder.glob("*.json")) if self.state(p.stem)["to"]]

    def state(self, name: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self._state(name).read_bytes())
        return found

    def note(self, name: str, state: dict[str, Any]) -> None:
        _put(self._state(name), json.dumps(state, indent=1).encode())

    def text(self, name: str) -> bytes:
        return self._text(name).read_bytes()

    def drop_text(self, name: str) -> None:
        self._text(name).unlink(missing_ok=True)

    def _state(self, name: str) -> Path:
        return self.folder / f"{name}.json"

    def _text(self, name: str) -> Path:
        return self.folder / f"{name}.eml"


def send_all(box: Outbox, account: Account, as_of: datetime) -> dict[str, str]:
    """Send every waiting message whose time has come; return those that wait on, with why. Another run at it: nothing is sent here."""
    failed: dict[str, str] = {}
    with _alone(box.folder) as is_alone:
        for name in box.waiting() if is_alone else []:
            state = box.state(name)
            if state["not_before"] is None or as_of >= datetime.fromisoformat(state["not_before"]):
                state = _send(box, account, name, state, as_of)
            if state["to"]:
                failed[name] = state["error"] or "waits for its next try"
    return failed


def _send(box: Outbox, account: Account, name: str, state: dict[str, Any], as_of: datetime) -> dict[str, Any]:
    """Try one message and note how it went."""
    try:
        refused = server.hand_over(account, box.text(name), state["from"], state["to"])
    except (OSError, smtplib.SMTPException) as error:
        refused = dict.fromkeys(state["to"], f"{type(error).__name__}: {error}")
    left = [address for address in state["to"] if address in refused]
    tries = state["tries"] + 1
    wait = min(FIRST_WAIT * 2 ** min(tries - 1, 16), LONGEST_WAIT)
    now = {
        **state, "to": left, "sent": [*state["sent"], *(a for a in state["to"] if a not in refused)], "tries": tries,
        "not_before": (as_of + wait).isoformat() if left else None, "error": refused[left[0]] if left else None,
    }  # fmt: skip
    box.note(name, now)
    if not left:
        box.drop_text(name)
    return now


@contextmanager
def _alone(folder: Path) -> Iterator[bool]:
    """Hold the outbox; False when another process holds it."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / ".lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        yield True


def _put(path: Path, content: bytes) -> None:
    """Write a file beside its place, through to the disk, and move it in."""
    partial = path.with_name(f".{path.name}.next")
    with partial.open("wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    partial.replace(path)
