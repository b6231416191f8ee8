"""The password of the mail server from a Prefect secret: used only where the environment has none."""

from __future__ import annotations

from typing import Any

import pytest
from prefect.blocks.system import Secret

from pipelines.flows import secrets
from pipelines.mail import server

ACCOUNT = {server.HOST: "mail.example.org", server.USER: "reports"}


def test_the_secret_stands_in_for_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def load(name: str) -> Any:
        asked.append(name)
        return Secret(value="of the block")

    monkeypatch.setattr(Secret, "load", load)
    found = server.of_environment(ACCOUNT, secrets.smtp_password)
    assert found is not None
    assert found.password == "of the block"
    assert "of the block" not in repr(found)
    assert asked == ["flocledger-smtp-password"]
    stated = server.of_environment(ACCOUNT | {server.PASSWORD: "of the environment"}, secrets.smtp_password)
    assert stated is not None
    assert stated.password == "of the environment"
    assert server.of_environment({}, secrets.smtp_password) is None
    assert asked == ["flocledger-smtp-password"]  # asked for only where it is needed


def test_without_a_block_there_is_no_password(monkeypatch: pytest.MonkeyPatch) -> None:
    def load(name: str) -> Any:
        raise ValueError(f"Unable to find block document named {name} for block type secret")

    monkeypatch.setattr(Secret, "load", load)
    assert secrets.smtp_password() is None
