"""Mail: the weekly page to the plant's list. Messages wait in an outbox until a server has taken them; a failing server stops nothing else."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from pipelines.base.errors import Notice
from pipelines.base.home import Home
from pipelines.mail import message, outbox, server
from pipelines.plant import loader
from pipelines.report import fleet

__all__ = ["run"]


def run(home: Home, plant_id: str, page: Path, *, as_of: datetime, secret: Callable[[], str | None] = lambda: None) -> list[Notice]:
    """Queue a plant's page, and revisions of pages that were mailed before, then send what waits; return what could not be sent.

    Does nothing for a plant without a `[mail]` block. Each revision of a page is one message with one Message-ID, queued once.
    `secret` gives the server's password when the environment does not.
    """
    block = loader.of_plant(home, plant_id).mail
    if block is None:
        return []
    box = outbox.Outbox(home.outbox(plant_id))
    for pdf in [page, *_revised(page.parent, box)]:
        trail = json.loads(pdf.with_suffix(".json").read_bytes())
        name = outbox.name_of(pdf.stem, trail["revision"])
        if not box.knows(name):
            box.queue(name, message.of_page(pdf, trail, block, name), block.to)
    account = server.of_environment(secret=secret)
    if account is None:
        waiting = box.waiting()
        return [_notice(f"{len(waiting)} mails wait: {server.HOST} is not set", waiting)] if waiting else []
    failed = outbox.send_all(box, account, as_of)
    return [_notice(f"{len(failed)} mails wait in {box.folder}: {next(iter(failed.values()))}", list(failed))] if failed else []


def _revised(folder: Path, box: outbox.Outbox) -> list[Path]:
    """Return the pages whose earlier revision was mailed."""
    found = []
    for trail in fleet.weekly_files(folder):
        revision = json.loads(trail.read_bytes()).get("revision", 0)
        if revision and box.knows(outbox.name_of(trail.stem, revision - 1)):
            found.append(trail.with_suffix(".pdf"))
    return found


def _notice(sentence: str, names: list[str]) -> Notice:
    return Notice("mail.waiting", sentence, {"waiting": names})
