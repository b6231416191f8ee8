"""Serve the schedules on the named Prefect server, or on one started on this machine."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from threading import Event, current_thread, main_thread

from pipelines.base import clock
from pipelines.base.errors import InternalError
from pipelines.base.home import Home
from pipelines.flows.deployments import CONCURRENCY, Deployment

START_S = 90.0  # a cold database on a loaded machine took 15 to 20 s
STOP_S = 15.0
_ASK_EVERY_S = 0.3
_AT_ONCE = 2  # plant runs at one time on this machine


@contextmanager
def local_server(folder: Path, port: int) -> Iterator[str]:
    """Run a Prefect server on 127.0.0.1 with its history in `folder`; yields the URL of its API, ends it after.

    InternalError when it is not healthy within `START_S`; its output is in `<folder>/server.log`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    url = f"http://127.0.0.1:{port}/api"
    settings = {**os.environ, "PREFECT_HOME": str(folder), "PREFECT_SERVER_ANALYTICS_ENABLED": "false", "DO_NOT_TRACK": "1"}
    settings.pop("PREFECT_API_URL", None)
    command = [sys.executable, "-m", "prefect", "server", "start", "--host", "127.0.0.1", "--port", str(port)]
    # A session of its own: an interrupt from the keyboard is for this process, which needs the server until its runners have ended.
    with (
        _ended_in_order(),
        (folder / "server.log").open("wb") as log,
        subprocess.Popen(command, env=settings, stdout=log, stderr=subprocess.STDOUT, start_new_session=True) as server,
    ):
        try:
            _wait_until_healthy(server, url, folder / "server.log")
            yield url
        finally:
            server.terminate()
            try:
                server.wait(STOP_S)
            except subprocess.TimeoutExpired:
                server.kill()


@contextmanager
def _ended_in_order() -> Iterator[None]:
    """Turn SIGHUP and SIGTERM into an orderly exit, so that the server does not outlive this process."""
    if current_thread() is not main_thread():
        yield
        return
    before = {number: signal.signal(number, lambda got, _: sys.exit(128 + got)) for number in (signal.SIGHUP, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _wait_until_healthy(server: subprocess.Popen[bytes], url: str, log: Path) -> None:
    started, pause = clock.stopwatch(), Event()
    while clock.stopwatch() - started < START_S and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{url}/health", timeout=2.0) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            pause.wait(_ASK_EVERY_S)
    raise InternalError(f"the Prefect server did not start at {url}", remedy=f"see {log}; another program may use the port")


def serve(home: Home, planned: Sequence[Deployment], *, port: int) -> None:
    """Serve the deployments until interrupted; on the server of PREFECT_API_URL, else on one of its own."""
    given = os.environ.get("PREFECT_API_URL")
    with nullcontext(given) if given else local_server(home.root / "prefect", port) as url:
        os.environ["PREFECT_API_URL"] = url
        os.environ.setdefault("PREFECT_HOME", str(home.root / "prefect"))
        _serve(planned)


def _serve(planned: Sequence[Deployment]) -> None:
    from importlib import import_module

    import prefect
    from prefect.schedules import Cron
    from prefect.types.entrypoint import EntrypointType

    prefect.serve(
        *(
            getattr(import_module(f"pipelines.flows.{one.flow}"), one.flow).to_deployment(
                one.name,
                schedule=Cron(one.cron, timezone=one.time_zone),
                parameters=one.parameters,
                concurrency_limit=CONCURRENCY,
                entrypoint_type=EntrypointType.MODULE_PATH,
            )
            for one in planned
        ),
        limit=_AT_ONCE,
    )
