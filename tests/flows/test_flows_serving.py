"""The server of `serve`: out of reach of the keyboard's interrupt, and ended with its block, however that ends."""

from __future__ import annotations

import os
import signal
import subprocess
from pathlib import Path

import pytest

from pipelines.flows import serving


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
