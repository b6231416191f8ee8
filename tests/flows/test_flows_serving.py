"""The server of `serve`: out of reach of the keyboard's interrupt, and ended with its block, however that ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines.base import clock
from pipelines.base.errors import LockedError, UsageError
from pipelines.base.home import Home
from pipelines.flows import serving

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[subprocess.Popen[bytes]]:
    """Have something that sleeps stand for the server; its process, once it was started."""
    program, found = tmp_path / "sleeps", []
    program.write_text("#!/bin/sh\nexec sleep 60\n", encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setattr(serving.sys, "executable", str(program))
    monkeypatch.setattr(serving, "_wait_until_healthy", lambda server, *_: found.append(server))
    return found


def test_the_server_has_a_session_of_its_own_and_ends_with_its_block(started: list[subprocess.Popen[bytes]], tmp_path: Path) -> None:
    with serving.local_server(tmp_path / "prefect", 4999):
        assert os.getsid(started[0].pid) == started[0].pid != os.getsid(0)
        assert started[0].poll() is None
    assert started[0].poll() is not None


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM])
def test_the_server_does_not_outlive_a_process_told_to_end(
    started: list[subprocess.Popen[bytes]], tmp_path: Path, number: signal.Signals
) -> None:
    before = signal.getsignal(number)
    with pytest.raises(SystemExit), serving.local_server(tmp_path / "prefect", 4999):
        os.kill(os.getpid(), number)
    assert started[0].poll() is not None
    assert signal.getsignal(number) == before


def test_a_port_in_use_is_refused_before_its_answers_are_taken_for_ours(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(UsageError, match="another program uses port"), serving.local_server(tmp_path, other.getsockname()[1]):
            pass


def test_the_second_serve_of_a_home_is_told_who_serves_it(tmp_path: Path) -> None:
    home = Home(tmp_path)
    code = (
        "import sys; from pathlib import Path; from pipelines.base.home import Home; from pipelines.flows import serving\n"
        "serving.local_server = lambda *_, **__: __import__('contextlib').nullcontext('http://127.0.0.1:1/api')\n"
        "serving._serve = lambda *_, **__: (print('serves', flush=True), sys.stdin.read())\n"
        "serving.serve(Home(Path(sys.argv[1])), [], port=4321)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as first:
        assert first.stdout is not None
        assert first.stdin is not None
        assert first.stdout.readline() == "serves\n"
        with pytest.raises(LockedError, match=f"process {first.pid}, port 4321"):
            serving.serve(home, [], port=4321)
        first.stdin.close()


def test_a_server_dies_with_a_process_that_is_killed(tmp_path: Path) -> None:
    sleeper = tmp_path / "prefect" / "__main__.py"
    sleeper.parent.mkdir()
    sleeper.write_text("import time; time.sleep(60)", encoding="utf-8")
    code = (
        "import sys; from pathlib import Path; from pipelines.flows import serving\n"
        "serving._wait_until_healthy = lambda server, *_: print(server.pid, flush=True)\n"
        "with serving.local_server(Path(sys.argv[1]), 4999): sys.stdin.read()"
    )
    surroundings = {**os.environ, "PYTHONPATH": f"{tmp_path}:{ROOT}"}
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "home")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        env=surroundings,
    ) as first:
        assert first.stdout is not None
        server = int(first.stdout.readline())
        clock.wait(1.0)  # its own program has begun
        first.kill()
    until = clock.stopwatch() + 20
    while is_alive(server) and clock.stopwatch() < until:
        clock.wait(0.1)
    assert not is_alive(server)


def is_alive(pid: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return False


def test_of_missed_runs_the_last_one_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    from types import SimpleNamespace

    from pipelines.flows import restarts

    now = datetime(2026, 3, 5, 12, tzinfo=UTC)
    monkeypatch.setattr(clock, "now_utc", lambda: now)
    runs = [SimpleNamespace(deployment_id=one, expected_start_time=now + timedelta(days=day)) for one in "ab" for day in (-3, -2, -1, 1)]
    left_out = restarts.superfluous(runs)  # type: ignore[arg-type]
    assert [(r.deployment_id, (r.expected_start_time - now).days) for r in left_out] == [("a", -3), ("a", -2), ("b", -3), ("b", -2)]
