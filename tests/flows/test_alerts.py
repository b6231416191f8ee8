"""Alerts to a web hook of this machine; tests/mail sends one to a real mail server."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace

import pytest

from pipelines.flows import alerts
from tests.flows.web_hook import web_hook

TROUBLE = {"plant": "brenholm", "flow": "nightly", "state": "DataMissing", "message": "no data for line-1\x1b[2J"}


@pytest.fixture
def hook() -> Iterator[tuple[str, list[dict[str, str]]]]:
    """The address of a web server, and the JSON objects posted to it."""
    with web_hook() as found:
        yield found


def test_a_failed_run_is_posted_to_the_web_hook(hook: tuple[str, list[dict[str, str]]], monkeypatch: pytest.MonkeyPatch) -> None:
    url, posted = hook
    monkeypatch.setenv(alerts.URL, f"{url}/alerts")
    run = SimpleNamespace(parameters={"plant": "brenholm"}, name="nightly-brenholm-2026-03-30")
    alerts.of_run(SimpleNamespace(name="nightly"), run, SimpleNamespace(name="DataMissing", message=TROUBLE["message"]))
    (one,) = posted
    assert (one["plant"], one["flow"], one["state"], one["run"]) == ("brenholm", "nightly", "DataMissing", run.name)
    assert "\x1b" not in one["message"]


def test_without_names_in_the_environment_nothing_leaves_the_machine() -> None:
    assert alerts.send(TROUBLE, {}) == []


def test_an_alert_that_cannot_be_sent_changes_nothing(hook: tuple[str, list[dict[str, str]]]) -> None:
    url, _ = hook
    assert alerts.send(TROUBLE, {alerts.URL: f"{url}/broken"}) == []
    assert alerts.send(TROUBLE, {alerts.URL: "file:///etc/hostname"}) == []
    assert alerts.send(TROUBLE, {alerts.URL: "http://127.0.0.1:1/"}) == []
    assert alerts.send(TROUBLE, {alerts.TO: "someone@example.org"}) == []  # neither sender nor server
