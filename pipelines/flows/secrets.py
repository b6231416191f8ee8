"""The password of the mail server from a Prefect secret, for services whose environment does not hold it."""

from __future__ import annotations

from prefect.blocks.system import Secret

SMTP_PASSWORD = "flocledger-smtp-password"  # name of the Secret block


def smtp_password() -> str | None:
    """Return the value of the Secret block; None when there is no such block."""
    try:
        block = Secret.load(SMTP_PASSWORD)
    except ValueError:  # as Prefect says that a block is not there
        return None
    return str(block.get()) if isinstance(block, Secret) else None  # asked outside an event loop, it is never a coroutine
