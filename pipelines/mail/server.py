"""The mail server: its account from the environment, and one message handed to it over STARTTLS with login."""

from __future__ import annotations

import os
import smtplib
import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pipelines.base.errors import UsageError

HOST, PORT, USER, PASSWORD, CA_FILE = (f"FLOCLEDGER_SMTP_{x}" for x in ("HOST", "PORT", "USER", "PASSWORD", "CA_FILE"))
SUBMISSION = 587  # port of message submission (RFC 6409)
TIMEOUT_S = 30.0


@dataclass(frozen=True)
class Account:
    """Where and as whom to send; `password` is never printed. `ca_file` holds the authority of a server with a certificate of its own."""

    host: str
    port: int
    user: str | None
    password: str | None
    ca_file: str | None

    def __repr__(self) -> str:
        return f"Account({self.host}:{self.port}, {self.user or 'no login'})"


def of_environment(given: Mapping[str, str] | None = None, secret: Callable[[], str | None] = lambda: None) -> Account | None:
    """Return the account that the environment names; None without a host. `secret` gives the password when the environment has none.

    UsageError for a port that is no number.
    """
    env = os.environ if given is None else given
    if not env.get(HOST):
        return None
    port = env.get(PORT) or str(SUBMISSION)
    if not port.isdigit():
        raise UsageError(f"{PORT} is {port!r}, which is no port", remedy="give a number such as 587")
    return Account(
        env[HOST], int(port), env.get(USER) or None, env.get(PASSWORD) or (secret() if env.get(USER) else None), env.get(CA_FILE) or None
    )


def hand_over(account: Account, content: bytes, sender: str, to: list[str]) -> dict[str, str]:
    """Send one message; return the recipients that the server refused, with its words. OSError or SMTPException when none was taken.

    The line is encrypted before login and message, or nothing is sent.
    """
    context = ssl.create_default_context(cafile=account.ca_file)
    with smtplib.SMTP(account.host, account.port, timeout=TIMEOUT_S) as line:
        line.ehlo()
        line.starttls(context=context)
        line.ehlo()
        if account.user is not None:
            line.login(account.user, account.password or "")
        refused = line.sendmail(sender, to, content)
    return {address: f"{code} {words.decode(errors='replace')}" for address, (code, words) in refused.items()}
