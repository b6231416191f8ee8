"""Serve the schedules on the named Prefect server, or on one started on this machine."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from threading import Event, current_thread, main_thread

from pipelines.base import clock, file_lock
from pipelines.base.errors import InternalError, LockedError, UsageError
from pipelines.base.home import Home
from pipelines.flows.deployments import CONCURRENCY, Deployment

START_S = 90.0  # a cold database on a loaded machine took 15 to 20 s
STOP_S = 15.0
_ASK_EVERY_S = 0.3
_PID, _LOCK = "server.pid", ".serve.lock"
# Asks Linux to end the server when the process that started it dies; elsewhere the next start ends it.
_ENDS_WITH_PARENT = """
import ctypes, os, signal, sys
try:
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)
except (AttributeError, OSError):
    pass
if os.getppid() == int(sys.argv[1]):
    os.execv(sys.executable, [sys.executable, "-m", "prefect", "server", "start", *sys.argv[2:]])
"""
HISTORY_DAYS = 400  # runs older than so much are deleted from the history of the own server: a year and its comparison


@contextmanager
def local_server(folder: Path, port: int, *, start_s: float = START_S) -> Iterator[str]:
    """Run a Prefect server on 127.0.0.1 with its history in `folder`; yields the URL of its API, ends it after.

    It ends with this process, however that ends. A server that an earlier process left behind is ended first. UsageError when
    another program uses the port, InternalError when it is not healthy within `start_s`; its output is in `<folder>/server.log`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _end_left_behind(folder)
    _check_free(port)
    url = f"http://127.0.0.1:{port}/api"
    settings = {**os.environ, "PREFECT_HOME": str(folder), "PREFECT_SERVER_ANALYTICS_ENABLED": "false", "DO_NOT_TRACK": "1"}
    settings.setdefault("PREFECT_SERVER_SERVICES_DB_VACUUM_ENABLED", "events,flow_runs,orphans")
    settings.setdefault("PREFECT_SERVER_SERVICES_DB_VACUUM_RETENTION_PERIOD", str(HISTORY_DAYS * 86_400))
    settings.pop("PREFECT_API_URL", None)
    command = [sys.executable, "-c", _ENDS_WITH_PARENT, str(os.getpid()), "--host", "127.0.0.1", "--port", str(port)]
    # A session of its own: an interrupt from the keyboard is for this process, which needs the server until its runners have ended.
    with (
        _ended_in_order(),
        (folder / "server.log").open("wb") as log,
        subprocess.Popen(command, env=settings, stdout=log, stderr=subprocess.STDOUT, start_new_session=True) as server,
    ):
        (folder / _PID).write_text(str(server.pid), encoding="ascii")
        try:
            _wait_until_healthy(server, url, folder / "server.log", start_s)
            yield url
        finally:
            server.terminate()
            try:
                server.wait(STOP_S)
            except subprocess.TimeoutExpired:
                server.kill()
            (folder / _PID).unlink(missing_ok=True)


@contextmanager
def server_of(home: Home, port: int, *, start_s: float = START_S) -> Iterator[str]:
    """Give the URL of a server for one run: that of PREFECT_API_URL, else of the `serve` of this home, else one started for it."""
    given, folder = os.environ.get("PREFECT_API_URL"), home.root / "prefect"
    os.environ.setdefault("PREFECT_HOME", str(folder))
    if given:
        yield given
        return
    try:
        with _lock(home, port), local_server(folder, port, start_s=start_s) as url:
            yield url
    except LockedError:
        holder = re.search(r"port (\d+)", (folder / _LOCK).read_text(encoding="utf-8"))
        if holder is None:
            raise
        yield f"http://127.0.0.1:{holder[1]}/api"


def _lock(home: Home, port: int) -> AbstractContextManager[None]:
    """Hold the one place from which a home is served; LockedError names who holds it."""
    path = home.root / "prefect" / _LOCK
    return file_lock.held(path, f"serving {home.root}", remedy="end that `flocledger serve` first", words=f", port {port}")


def _check_free(port: int) -> None:
    """Raise UsageError when something listens on a loopback port: its answers would be taken for those of the own server."""
    with socket.socket() as probe:
        probe.settimeout(1.0)
        if probe.connect_ex(("127.0.0.1", port)) == 0:
            raise UsageError(f"another program uses port {port} of this machine", remedy="choose another with --port, or end that program")


def _end_left_behind(folder: Path) -> None:
    """End the server that a killed process left behind: the one whose id was noted and which still works in this folder."""
    try:
        pid = int((folder / _PID).read_text(encoding="ascii"))
        surroundings = Path(f"/proc/{pid}/environ").read_bytes().split(b"\0")
    except (OSError, ValueError):
        return
    if f"PREFECT_HOME={folder}".encode() not in surroundings:
        return  # the number belongs to another process by now
    os.kill(pid, signal.SIGTERM)
    ends, pause = clock.stopwatch() + STOP_S, Event()
    while Path(f"/proc/{pid}").exists() and clock.stopwatch() < ends:
        pause.wait(_ASK_EVERY_S)


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


def _wait_until_healthy(server: subprocess.Popen[bytes], url: str, log: Path, start_s: float) -> None:
    started, pause = clock.stopwatch(), Event()
    while clock.stopwatch() - started < start_s and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{url}/health", timeout=2.0) as answer:
                if answer.status == 200 and server.poll() is None:
                    return
        except (urllib.error.URLError, OSError):
            pause.wait(_ASK_EVERY_S)
    raise InternalError(
        f"the Prefect server did not start at {url} within {start_s:g} s", remedy=f"see {log}; raise --start-seconds on a slow machine"
    )


def serve(home: Home, planned: Sequence[Deployment], *, port: int, start_s: float = START_S, at_once: int = 1) -> None:
    """Serve the deployments until interrupted; on the server of PREFECT_API_URL, else on one of its own.

    `at_once` is how many runs go at one time. One process a home: LockedError says who serves it already. Runs work in this home, whatever their parameters.
    """
    given, folder = os.environ.get("PREFECT_API_URL"), home.root / "prefect"
    with _lock(home, port):
        os.environ["FLOCLEDGER_HOME"] = str(home.root)
        with nullcontext(given) if given else local_server(folder, port, start_s=start_s) as url:
            os.environ["PREFECT_API_URL"] = url
            os.environ.setdefault("PREFECT_HOME", str(folder))
            _serve(planned, clear=given is None, at_once=at_once)


def _serve(planned: Sequence[Deployment], *, clear: bool, at_once: int) -> None:
    from importlib import import_module

    import prefect
    from prefect.schedules import Cron
    from prefect.types.entrypoint import EntrypointType

    from pipelines.flows import restarts

    if clear:
        restarts.clear([one.name for one in planned])
    prefect.serve(
        *(
            getattr(import_module(f"pipelines.flows.{one.flow}"), one.flow).to_deployment(
                one.name,
                schedule=Cron(one.cron, timezone=one.time_zone) if one.is_scheduled else None,
                parameters=one.parameters,
                tags=one.tags,
                paused=False,
                concurrency_limit=CONCURRENCY,
                entrypoint_type=EntrypointType.MODULE_PATH,
            )
            for one in planned
        ),
        pause_on_shutdown=False,  # the server is this home's own, or somebody else's: neither is left without nights
        limit=at_once,
    )
