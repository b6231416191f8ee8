"""The message of a weekly page: plain text with its sentences, the PDF attached. The same page gives the same message, Message-ID included."""

from __future__ import annotations

import hashlib
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path
from typing import Any

from pipelines.plant.blocks import Mail
from pipelines.report import language


def of_page(pdf: Path, trail: dict[str, Any], block: Mail, name: str) -> EmailMessage:
    """Return the message of a page from its trail; `name` is that of the message in the outbox."""
    t = language.of(trail["language"])
    found = EmailMessage()
    found["Subject"] = t("mail.subject", plant=trail["name"], iso_week=trail["iso_week"], revision=trail["revision"])
    found["From"], found["To"] = block.sender, ", ".join(block.to)
    found["Date"] = format_datetime(datetime.fromisoformat(trail["known_utc"]))
    digest = hashlib.sha256(f"{name} {trail['fingerprint']}".encode()).hexdigest()[:32]
    found["Message-ID"] = f"<{digest}@{block.sender.rpartition('@')[2]}>"
    said = [trail["withheld"]] if trail["withheld"] else [*trail["sentences"], trail["data"]]
    found.set_content("\n\n".join([*said, t("mail.attached"), t("advisory")]) + "\n")
    found.add_attachment(pdf.read_bytes(), maintype="application", subtype="pdf", filename=pdf.name)
    return found
