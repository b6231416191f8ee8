"""nightly, weekly, rebuild of the command line: which plants, which arguments, what is printed, how it ends."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from pipelines import cli, order
from pipelines.base import resources
from pipelines.base.errors import DataMissingError, LockedError, Notice
from pipelines.base.home import Home
from pipelines.base.receipts import Receipt, StepReceipt
from pipelines.cli.plants import reporting_week
from pipelines.runs.summary import Summary

WHEN = datetime(2026, 3, 31, 11, 0, tzinfo=UTC)
TAKEN = Receipt(
    "a" * 16, "ALDER_SCADA_20260330.csv", "taken", rows_read=1446, rows_kept=1440, rows_dropped=6, values_read=10, values_kept=10
)
TROUBLED = Receipt(
    "b" * 16, "ALDER_SCADA_20260331.csv", "taken", rows_read=12, rows_kept=9, rows_dropped=2, rows_set_aside=1,
    values_read=9, values_kept=9, reasons={"text in number": 1},
)  # fmt: skip


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A home with the three invented plants' files and nothing else."""
    found = Home(tmp_path / "home")
    for path in (resources.folder("sample_data") / "plants").glob("*.toml"):
        found.plant_file(path.stem).parent.mkdir(parents=True, exist_ok=True)
        found.plant_file(path.stem).write_bytes(path.read_bytes())
    return found


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """Stands for `order`: notes what was asked for; brenholm fails, sorrel-draw has a row set aside."""
    asked: list[tuple[Any, ...]] = []

    def stand_in(kind: str) -> Any:
        def run(_home: Home, plant: str, *given: Any, call: Any, **_: Any) -> Summary:
            asked.append((kind, plant, *given))
            call(len, [])
            if plant == "brenholm":
                raise DataMissingError("nothing there", remedy="bring files")
            receipts = [TROUBLED if plant == "sorrel-draw" else TAKEN]
            steps = [StepReceipt("align", 2), StepReceipt("compute", 2), StepReceipt("watch", 2, {"flags": 3})]
            return Summary(plant, kind, WHEN, receipts=receipts, steps=steps, seconds=1.25)

        return run

    for kind in ("nightly", "weekly", "rebuild"):
        monkeypatch.setattr(order, kind, stand_in(kind))
    return asked


def test_nightly_of_one_plant(home: Home, ran: list[tuple[Any, ...]], capsys: pytest.CaptureFixture[str]) -> None:
    code = cli.run(["--home", str(home.root), "nightly", "--plant", "alder-fork", "--as-of", "2026-03-31T07:00:00-04:00"])
    assert code == 0
    assert ran == [("nightly", "alder-fork", datetime(2026, 3, 31, 11, 0, tzinfo=UTC))]
    out, err = capsys.readouterr()
    assert out.splitlines() == [
        "alder-fork: nightly as of 2026-03-31 11:00 UTC, 1.2 s",
        "  file                                     read =       kept + duplicate + dropped + set aside",
        "  ALDER_SCADA_20260330.csv                1,446 =      1,440 +         0 +       6 +         0",
        "  operating days worked on: align 2, compute 2, watch 2; flags written: 3",
    ]
    assert err.startswith("alder-fork: len, 0.")  # progress goes to standard error


def test_nightly_of_all_plants_goes_on_after_a_failure_and_ends_with_the_worst(
    home: Home, ran: list[tuple[Any, ...]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["nightly", "--home", str(home.root)]) == 2
    assert [one[1] for one in ran] == ["alder-fork", "brenholm", "sorrel-draw"]
    out, err = capsys.readouterr()
    assert "brenholm: error: nothing there\n  remedy: bring files" in err
    assert "  set aside: 1 text in number" in out


def test_rows_set_aside_end_with_one(home: Home, ran: list[tuple[Any, ...]]) -> None:
    assert cli.run(["nightly", "--home", str(home.root), "--plant", "sorrel-draw"]) == 1
    assert len(ran) == 1


def test_json_is_all_of_standard_output(home: Home, ran: list[tuple[Any, ...]], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["nightly", "--home", str(home.root), "--json"]) == 2
    read = json.loads(capsys.readouterr().out)
    assert [(r["plant"], r["exit_code"]) for r in read["runs"]] == [("alder-fork", 0), ("brenholm", 2), ("sorrel-draw", 1)]
    assert read["exit_code"] == 2
    assert read["runs"][0]["receipts"][0]["rows_read"] == 1446
    assert read["runs"][1]["error"] == "nothing there\n  remedy: bring files"
    assert len(ran) == 3


def test_unexpected_error_of_one_plant_leaves_its_traceback_and_the_others_run(
    home: Home, ran: list[tuple[Any, ...]], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = order.nightly

    def breaks(home: Home, plant: str, *given: Any, **named: Any) -> Summary:
        if plant == "alder-fork":
            raise ZeroDivisionError("by nothing")
        return kept(home, plant, *given, **named)

    monkeypatch.setattr(order, "nightly", breaks)
    assert cli.run(["nightly", "--home", str(home.root)]) == 4
    assert [one[1] for one in ran] == ["brenholm", "sorrel-draw"]
    err = capsys.readouterr().err
    assert "alder-fork: unexpected error: ZeroDivisionError: by nothing" in err
    assert "Traceback" not in err
    files = list((home.root / "runs").glob("error-*.txt"))
    assert len(files) == 1
    assert "ZeroDivisionError: by nothing" in files[0].read_text(encoding="utf-8")
    assert str(files[0]) in err


def test_lock_held_by_another_run_is_no_success(home: Home, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def held(*_: Any, **__: Any) -> Summary:
        raise LockedError("alder-fork.duckdb is being written by python, process 7", remedy="wait")

    monkeypatch.setattr(order, "nightly", held)
    assert cli.run(["nightly", "--home", str(home.root), "--plant", "alder-fork"]) == 3
    assert "process 7" in capsys.readouterr().err


def test_weekly_week_is_the_reporting_week_of_its_monday(home: Home, ran: list[tuple[Any, ...]]) -> None:
    assert cli.run(["--home", str(home.root), "weekly", "--plant", "alder-fork", "--week", "2026-W13"]) == 0
    assert ran == [("weekly", "alder-fork", date(2026, 3, 23))]


def test_weekly_without_a_week_leaves_the_choice_to_the_report(home: Home, ran: list[tuple[Any, ...]]) -> None:
    assert cli.run(["--home", str(home.root), "weekly", "--plant", "alder-fork"]) == 0
    assert ran == [("weekly", "alder-fork", None)]


@pytest.mark.parametrize(
    ("week_start_number", "first"),
    [(1, date(2026, 3, 23)), (7, date(2026, 3, 22)), (2, date(2026, 3, 17)), (6, date(2026, 3, 21))],
)
def test_reporting_week_holds_the_monday(week_start_number: int, first: date) -> None:
    monday = date(2026, 3, 23)
    assert reporting_week(monday, week_start_number) == first
    assert first.isoweekday() == week_start_number
    assert 0 <= (monday - first).days <= 6


def test_rebuild_asks_for_the_plant(home: Home, ran: list[tuple[Any, ...]]) -> None:
    assert cli.run(["--home", str(home.root), "rebuild"]) == 3
    assert cli.run(["--home", str(home.root), "rebuild", "--plant", "alder-fork"]) == 0
    assert ran == [("rebuild", "alder-fork")]


@pytest.mark.parametrize(
    "words",
    [
        ["nightly", "--as-of", "2026-03-31T07:00:00"],  # no offset
        ["nightly", "--as-of", "yesterday"],
        ["weekly", "--week", "2026-13"],
        ["weekly", "--week", "2026-W54"],
        ["nightly", "--plant", "elsewhere"],
        ["nightly", "--nonsense"],
        ["frobnicate"],
        [],
    ],
)
def test_wrong_usage_ends_with_three(home: Home, ran: list[tuple[Any, ...]], words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["--home", str(home.root), *words]) == 3
    assert ran == []
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    assert not (home.root / "runs").exists()


def test_summary_never_passes_twenty_lines() -> None:
    from pipelines.runs import summary_text

    receipts = [
        Receipt(f"{n:016d}", f"a file with quite a long name of its own {n:03d}.csv", "taken", rows_read=10, rows_kept=8, rows_set_aside=2,
                reasons={"text in number": 2})
        for n in range(40)
    ] + [Receipt("c" * 16, "scan.pdf", "set aside", reason="unknown layout", rows_read=3, rows_set_aside=3)]  # fmt: skip
    notices = [Notice("inbox.file_locked", f"file {n} stays", {}) for n in range(5)]
    steps = [StepReceipt(name, 3) for name in ("align", "compute", "watch", "publish")]
    lines = summary_text.lines(Summary("p", "nightly", WHEN, receipts=receipts, steps=steps, notices=notices, outputs=["a", "b"]))
    assert len(lines) <= 20
    assert any("scan.pdf" in line and "refused: unknown layout" in line for line in lines)
    total = next(line for line in lines if line.startswith("  all "))
    assert total.split() == ["all", "403", "=", "320", "+", "0", "+", "0", "+", "83"]
    shown = [line for line in lines if "=" in line and not line.startswith(("  all ", "  file"))]
    assert sum(int(line.split("=")[0].split()[-1].replace(",", "")) for line in shown) == 403
    assert lines[-1] == "  wrote b"
    assert max(map(len, lines)) <= 120


def test_file_known_already_is_counted_apart() -> None:
    from pipelines.runs import summary_text

    lines = summary_text.lines(Summary("p", "nightly", WHEN, receipts=[Receipt("d" * 16, "x.csv", "known already")]))
    assert lines[1:] == ["  known already, nothing changed: 1 file"]


def test_values_set_aside_of_rows_that_were_kept_are_shown() -> None:
    from pipelines.runs import summary_text

    partly = Receipt("a" * 16, "wide.csv", "taken", rows_read=100, rows_kept=100, values_set_aside=775, reasons={"unknown tag": 775})
    wholly = Receipt("b" * 16, "long.csv", "taken", rows_read=10, rows_kept=8, rows_set_aside=2, values_set_aside=2)
    lines = summary_text.lines(Summary("p", "nightly", WHEN, receipts=[partly, wholly]))
    ends = {line.split()[0]: line.rpartition("+")[2].strip() for line in lines[2:5]}
    assert ends == {"wide.csv": "0  (775 values)", "long.csv": "2", "all": "2  (777 values)"}
