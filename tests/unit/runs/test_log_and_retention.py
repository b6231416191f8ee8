"""The log of a home, line by line, and what `clean-up` may delete."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines import cli
from pipelines.base.errors import DataMissingError, Notice
from pipelines.base.home import Home
from pipelines.base.receipts import Receipt, StepReceipt
from pipelines.runs import log, retention
from pipelines.runs.recording import recorded

WHEN = datetime(2026, 2, 1, tzinfo=UTC)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    made = Home(tmp_path)
    made.plant_file("p").parent.mkdir()
    made.plant_file("p").write_text("")
    return made


def lines(home: Home) -> list[dict[str, object]]:
    return [json.loads(line) for line in (home.root / "runs" / log.NAME).read_text(encoding="utf-8").splitlines()]


def test_every_line_of_a_run_has_its_id_and_the_last_its_exit_code(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(log.FLOW_RUN, "7e57")
    with recorded(home, "p", "nightly", WHEN) as run:
        receipt = Receipt("id", "a.csv", "taken", rows_read=2, rows_kept=2)
        summary = run.finished([receipt], [StepReceipt("align", 1)], [Notice("x.y", "look", {})])
    found = lines(home)
    assert [one["event"] for one in found] == ["started", "file", "step", "notice", "finished"]
    assert {(one["run_id"], one["plant"], one["run"], one["flow_run_id"]) for one in found} == {(summary.run_id, "p", "nightly", "7e57")}
    assert found[-1]["exit_code"] == 1
    (record,) = home.runs("p").iterdir()
    assert json.loads(record.read_text())["run_id"] == summary.run_id


def test_a_run_that_fails_says_why_in_the_log(home: Home) -> None:
    with pytest.raises(DataMissingError), recorded(home, "p", "weekly", WHEN):
        raise DataMissingError("no rows", remedy="wait")
    assert [(one["event"], one.get("exit_code")) for one in lines(home)] == [("started", None), ("failed", 2)]


def test_an_unknown_plant_leaves_no_line(home: Home) -> None:
    with pytest.raises(DataMissingError), recorded(home, "q", "weekly", WHEN):
        raise DataMissingError("no plant")
    assert not (home.root / "runs").exists()


def test_a_full_log_is_put_aside(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log, "MOST_BYTES", 10)
    for _ in range(2):
        log.write(home, "1", "p", "nightly", [{"event": "started"}])
    assert len(lines(home)) == 1
    assert len(list((home.root / "runs").glob("log-*.jsonl"))) == 1


def test_clean_up_deletes_what_is_old_and_keeps_the_newest_records(home: Home, capsys: pytest.CaptureFixture[str]) -> None:
    runs, store = home.runs("p"), home.root / "store"
    runs.mkdir(parents=True)
    store.mkdir()
    old = [runs / f"202301{day:02}T000000Z-nightly.json" for day in range(1, 13)]
    kept = [
        runs / "20230101T000000Z-weekly.json",
        home.root / "runs" / "log.jsonl",
        store / "p.duckdb",
        home.archive("p") / "1_20230101T000000Z_a.csv",
    ]
    gone = [*old[:2], home.root / "runs" / "error-20230101T000000Z-p-1.txt", store / "p.damaged-20230101T000000Z.duckdb"]
    for path in [*old, *kept, *gone]:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("{}")
    assert retention.outdated(home, datetime(2023, 1, 2, tzinfo=UTC)) == sorted([old[0], *gone[2:]])
    assert cli.run(["--home", str(home.root), "clean-up", "--dry-run"]) == 0
    assert "4 files, 0.0 MB would be deleted" in capsys.readouterr().out
    assert cli.run(["--home", str(home.root), "clean-up"]) == 0
    assert not any(path.exists() for path in gone)
    assert all(path.exists() for path in [*old[2:], *kept])
