"""The records that runs leave: of which time, whole or not at all, of runs that failed too, and what status makes of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from pipelines import cli, digest, order
from pipelines.home import Home

PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, 12, tzinfo=UTC)


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    return home_in(tmp_path)


def records(home: Home) -> dict[str, dict[str, Any]]:
    return {p.name: json.loads(p.read_text(encoding="utf-8")) for p in sorted(home.runs(PLANT).glob("*.json"))}


@pytest.mark.parametrize("run", [order.nightly, order.bring_up])
def test_a_time_with_an_offset_is_recorded_in_utc(home: Home, run: Callable[..., order.Summary]) -> None:
    given = WHEN.astimezone(timezone(-timedelta(hours=5)))
    summary = run(home, PLANT, as_of=given)
    assert "as of 2026-02-01 12:00 UTC" in digest.lines(summary)[0]
    ((name, record),) = records(home).items()
    assert name.startswith("20260201T120000Z-")
    assert record["as_of"] == "2026-02-01 12:00:00+00:00"


def test_a_record_is_there_whole_or_not_at_all(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    order.nightly(home, PLANT, WHEN, publish_now=False)
    before = records(home)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipelines.records.os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        order.nightly(home, PLANT, WHEN, publish_now=False)
    monkeypatch.undo()
    assert records(home) == before


@pytest.mark.parametrize("content", [b"", b'{"run": "nightly", "as', b"\xff", b"[]", b'{"run": "nightly"}'])
def test_a_broken_record_is_left_out_of_status(home: Home, capsys: pytest.CaptureFixture[str], content: bytes) -> None:
    order.nightly(home, PLANT, WHEN, publish_now=False)
    (home.runs(PLANT) / "20260301T000000Z-nightly.json").write_bytes(content)
    cli.run(["--home", str(home.root), "status"])
    out = capsys.readouterr().out.splitlines()
    assert out[1].split()[:3] == [PLANT, "nightly", "2026-02-01"]
    assert out[2] == f"{PLANT}: left out, since not readable as records of runs: 20260301T000000Z-nightly.json"
