"""The records that runs leave: of which time, whole or not at all, of runs that failed too, and what status makes of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from pipelines import cli, order
from pipelines.base.errors import PlantFileError, UsageError
from pipelines.base.home import Home
from pipelines.runs import summary_text
from pipelines.runs.summary import Summary

PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, 12, tzinfo=UTC)


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    return home_in(tmp_path)


def records(home: Home) -> dict[str, dict[str, Any]]:
    return {p.name: json.loads(p.read_text(encoding="utf-8")) for p in sorted(home.runs(PLANT).glob("*.json"))}


@pytest.mark.parametrize("run", [order.nightly, order.apply_decisions])
def test_a_time_with_an_offset_is_recorded_in_utc(home: Home, run: Callable[..., Summary]) -> None:
    given = WHEN.astimezone(timezone(-timedelta(hours=5)))
    summary = run(home, PLANT, as_of=given)
    assert "as of 2026-02-01 12:00 UTC" in summary_text.lines(summary)[0]
    ((name, record),) = records(home).items()
    assert name.startswith("20260201T120000Z-")
    assert record["as_of"] == "2026-02-01 12:00:00+00:00"


def test_a_record_is_there_whole_or_not_at_all(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    order.nightly(home, PLANT, WHEN, publish_now=False)
    before = records(home)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipelines.runs.records.os.fsync", full)
    summary = order.nightly(home, PLANT, WHEN, publish_now=False)
    assert [n.name for n in summary.notices] == ["run.record_not_written"]
    assert "No space left on device" in summary.notices[0].sentence
    assert summary.exit_code == 1
    monkeypatch.undo()
    assert records(home) == before


@pytest.mark.parametrize("content", [b"", b'{"run": "nightly", "as', b"\xff", b"[]", b'{"run": "nightly"}'])
def test_a_broken_record_is_left_out_of_status(home: Home, capsys: pytest.CaptureFixture[str], content: bytes) -> None:
    order.nightly(home, PLANT, WHEN, publish_now=False)
    (home.runs(PLANT) / "20260301T000000Z-nightly.json").write_bytes(content)
    cli.run(["--home", str(home.root), "status", "--as-of", WHEN.isoformat()])
    out = capsys.readouterr().out.splitlines()
    assert out[1].split()[:3] == [PLANT, "nightly", "2026-02-01"]
    assert out[2] == f"{PLANT}: left out, since not readable as records of runs: 20260301T000000Z-nightly.json"


@pytest.mark.parametrize(
    ("error", "code", "told"),
    [(UsageError("so not", remedy="do so"), 3, "so not\n  remedy: do so"), (ZeroDivisionError("by nothing"), 4, "ZeroDivisionError: by nothing")],
    ids=["expected", "unexpected"],
)  # fmt: skip
@pytest.mark.parametrize("run", ["nightly", "weekly", "rebuild", "dispose"])
def test_a_failed_run_leaves_its_record_too(
    home: Home, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], run: str, error: Exception, code: int, told: str
) -> None:
    def stopped(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr("pipelines.report.run", stopped)
    monkeypatch.setattr("pipelines.plant.loader.load", stopped)
    with pytest.raises(type(error)):
        {"nightly": order.nightly, "weekly": order.weekly, "rebuild": order.rebuild, "dispose": order.apply_decisions}[run](
            home, PLANT, as_of=WHEN
        )
    monkeypatch.undo()
    record = records(home)[f"20260201T120000Z-{run}.json"]
    assert (record["plant"], record["run"], record["exit_code"], record["error"]) == (PLANT, run, code, told)
    cli.run(["--home", str(home.root), "status"])
    out = capsys.readouterr().out
    assert out.splitlines()[1].split()[:5] == [PLANT, run, "2026-02-01", "12:00", str(code)]
    assert f"{PLANT}: the last run failed: {told}" in out


def test_a_plant_that_is_not_there_gets_no_record(home: Home) -> None:
    with pytest.raises(PlantFileError):
        order.nightly(home, "elsewhere", WHEN)
    assert not home.runs("elsewhere").exists()


def test_a_run_that_fails_where_nothing_can_be_written_still_says_why(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipelines.runs.records.keep", full)
    home.plant_file(PLANT).write_text("[plant", encoding="utf-8")
    with pytest.raises(PlantFileError):
        order.nightly(home, PLANT, WHEN)
