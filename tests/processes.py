"""Runs in processes of their own, to be killed: forked from one that has imported everything, so that what a run does takes the time.

A fork of the process of the tests itself would copy locks that its threads hold.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import Any

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(["pipelines.order", "pipelines.cli", "pipelines.cli.plants"])


def started(target: Callable[..., object], *given: Any, output: Path = Path(os.devnull)) -> ForkServerProcess:
    """Start a function of a module in a process of its own; what it prints goes to a file."""
    process = _CONTEXT.Process(target=_with_output, args=(target, given, str(output)))
    process.start()
    return process


def killed(process: ForkServerProcess, after_s: float) -> bool:
    """Kill a process after a time; return whether it was still running then."""
    process.join(after_s)
    was_running = process.is_alive()
    process.kill()
    process.join(60)
    return was_running


def _with_output(target: Callable[..., object], given: tuple[Any, ...], output: str) -> None:
    with Path(output).open("w", encoding="utf-8") as file:
        os.dup2(file.fileno(), 1)
        os.dup2(file.fileno(), 2)
    target(*given)
