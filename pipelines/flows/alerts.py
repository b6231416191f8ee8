"""Alerts: a run that failed, crashed or found no data is told to a webhook and to a mail address that the environment names.

`FLOCLEDGER_ALERT_URL` gets a JSON object by POST, `FLOCLEDGER_ALERT_TO` a mail from `FLOCLEDGER_ALERT_FROM` by the server of the weekly
pages. Without them nothing leaves the machine. An alert that cannot be sent is logged; it never changes how a run ends.
"""

from __future__ import annotations

import json
import logging
import os
import smtplib
import urllib.request
from collections.abc import Mapping
from email.message import EmailMessage
from typing import Any
from urllib.parse import urlsplit

from pipelines.base import clock, sanitise
from pipelines.base.errors import FlocledgerError, UsageError

URL, TO, SENDER = "FLOCLEDGER_ALERT_URL", "FLOCLEDGER_ALERT_TO", "FLOCLEDGER_ALERT_FROM"
TIMEOUT_S = 10.0
_log = logging.getLogger("prefect.flocledger")


def of_run(flow: Any, run: Any, state: Any) -> None:
    """Tell that a flow run ended badly; a hook of Prefect for failed and crashed runs."""
    send({"plant": run.parameters.get("plant"), "flow": flow.name, "run": run.name, "state": state.name, "message": state.message})


def send(content: Mapping[str, Any], env: Mapping[str, str] | None = None) -> list[str]:
    """Send one alert to every place that the environment names; return the places that took it."""
    given = os.environ if env is None else env
    text = {"program": "flocledger", "at": clock.now_utc().isoformat(), **{k: _plain(v) for k, v in content.items()}}
    ways = {"webhook": (URL, _post), "mail": (TO, _mail)}
    took = []
    for way, (key, deliver) in ways.items():
        if not given.get(key):
            continue
        try:
            deliver(text, given)
            took.append(way)
        except (OSError, ValueError, smtplib.SMTPException, FlocledgerError) as error:
            _log.warning("the alert could not be sent by %s: %s", way, sanitise.lines(str(error)))
    return took


def _plain(value: object) -> str | None:
    return None if value is None else sanitise.lines(str(value))


def _post(content: Mapping[str, str | None], env: Mapping[str, str]) -> None:
    if urlsplit(env[URL]).scheme not in ("http", "https"):
        raise UsageError(f"{URL} is no address of a web server", remedy="give one that begins with https://")
    body = json.dumps(content).encode()
    request = urllib.request.Request(env[URL], data=body, headers={"Content-Type": "application/json"}, method="POST")
    with urllib.request.urlopen(request, timeout=TIMEOUT_S):
        pass


def _mail(content: Mapping[str, str | None], env: Mapping[str, str]) -> None:
    from pipelines.mail import server

    account, to = server.of_environment(env), [one.strip() for one in env[TO].split(",")]
    if account is None or not env.get(SENDER):
        raise UsageError(f"{TO} needs {SENDER} and {server.HOST}", remedy="set all three, or none")
    message = EmailMessage()
    message["Subject"] = sanitise.name(f"flocledger: {content.get('plant') or 'home'}: {content.get('state')}")
    message["From"], message["To"] = env[SENDER], ", ".join(to)
    message.set_content("\n".join(f"{key}: {value}" for key, value in content.items() if value is not None) + "\n")
    server.hand_over(account, message.as_bytes(), env[SENDER], to)
