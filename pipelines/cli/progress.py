"""Progress of long work on standard error: a live line on a terminal, one line a step elsewhere."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self

import click

from pipelines.base import clock

_EVERY_S = 0.5  # how often the live line is drawn again
_WORDS = {"load_inbox": "loading files", "check_in": "checking archived files"}  # functions of `order`; steps go by their package
_STEPS = {
    "check": "applying corrections and decisions",
    "align": "aligning to minutes",
    "compute": "computing KPIs",
    "watch": "looking for flags",
    "compare": "comparing arrangements",
    "publish": "publishing",
    "report": "writing the page",
}


def words(step: Callable[..., Any]) -> str:
    """Return what a step does, in words."""
    name = step.__name__
    package = (step.__module__ or "").split(".")[1:2]
    return _WORDS.get(name) or _STEPS.get("".join(package)) or name


class Progress:
    """Shows what runs and for how long; its `call` wraps the steps of `order`. Use as a context manager.

    `left`, when given, says how many files remain and is shown while files are taken in.
    """

    def __init__(self, label: str, left: Callable[[], str] | None = None) -> None:
        self.label, self.left = label, left
        self._live = sys.stderr.isatty()
        self._step, self._count, self._started = "", 0, clock.stopwatch()
        self._days, self._days_from = "", self._started
        self._over = threading.Event()
        self._ticker = threading.Thread(target=self._tick, daemon=True) if self._live else None

    def __enter__(self) -> Self:
        if self._ticker:
            self._ticker.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._over.set()
        if self._ticker:
            self._ticker.join()
            click.echo("\r\x1b[K", nl=False, err=True)
        else:
            self._close()

    def call(self, step: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
        """Run one step under its words; the same step again is counted, not repeated."""
        self.now(words(step))
        return step(*args, **kwargs)

    def done(self, days: int, of_days: int) -> None:
        """Say how many operating days of a long run are done and about how long the rest takes."""
        self._days = f"{days} of {of_days} days"
        if days == 0:
            self._days_from = clock.stopwatch()
        else:
            self._days += f", about {(clock.stopwatch() - self._days_from) / days * (of_days - days):.0f} s left"
        if not self._live:
            self._close()
            click.echo(f"{self.label}: {self._days}", err=True)

    def now(self, step: str) -> None:
        """Say which step runs from here on."""
        if step != self._step:
            self._close()
            self._step, self._count, self._started = step, 0, clock.stopwatch()
        self._count += 1

    def _close(self) -> None:
        if self._step and not self._live:
            times = f" ({self._count})" if self._count > 1 else ""
            click.echo(f"{self.label}: {self._step}{times}, {clock.stopwatch() - self._started:.1f} s", err=True)
            self._step = ""

    def _tick(self) -> None:
        while not self._over.wait(_EVERY_S):
            extra = f", {self.left()}" if self.left and self._step == _WORDS["load_inbox"] else ""
            times = f" ({self._count})" if self._count > 1 else ""
            days = f"; {self._days}" if self._days else ""
            click.echo(
                f"\r\x1b[K{self.label}: {self._step}{times}, {clock.stopwatch() - self._started:.0f} s{extra}{days}", nl=False, err=True
            )
