"""The command line as a person meets it: help, check-plant, status, serve --list, errors, speed of --help."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from pipelines import cli, status
from pipelines.base import resources
from pipelines.base.home import Home
from pipelines.cli.app import COMMANDS
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
PLANTS = resources.folder("sample_data") / "plants"
HELP_S = 0.5  # `flocledger --help` must answer within this


@pytest.mark.parametrize("command", COMMANDS)
def test_help_says_what_is_read_written_and_how_it_ends(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run([command, "--help"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "Reads" in text
    assert "Writes" in text or "writes" in text
    assert "Exit codes: 0 ok, 1 ok with warnings, 2 data missing, 3 plant file or usage, 4 internal error." in text


def test_help_answers_at_once() -> None:
    taken = []
    for _ in range(3):
        started = time.perf_counter()
        done = subprocess.run([sys.executable, "-m", "pipelines", "--help"], capture_output=True, text=True, check=True, cwd=ROOT)
        taken.append(time.perf_counter() - started)
    assert all(name in done.stdout for name in COMMANDS)
    assert min(taken) < HELP_S


def test_check_plant_shows_the_plant_and_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.run(["check-plant", str(PLANTS / "sorrel-draw.toml")]) == 0
    out = capsys.readouterr().out
    assert "time zone America/Phoenix, operating day from 06:00, week from monday" in out
    assert "  sludge_flow                  SD.DEW.FT510.PV [gpm]" in out
    assert "  change-log       long      sorrel_log_*.csv" in out
    assert out.rstrip().endswith("can be used; every KPI has its inputs")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("gone", "missing"),
    [
        ('role = "polymer_neat_flow"', "polymer dose: a signal of role polymer_neat_flow"),
        ('role = "pump_suction_pressure"', "pump differential pressure: a signal of role pump_suction_pressure"),
        ('role = "mixing_upstream_pressure"', "mixing pressure drop: a signal of role mixing_upstream_pressure"),
        ('role = "wash_water_flow"', "solids capture: a signal of role wash_water_flow"),
    ],
)
def test_check_plant_says_what_is_missing_for_which_kpi(
    gone: str, missing: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (PLANTS / "alder-fork.toml").read_text(encoding="utf-8")
    head, *blocks = text.split("[[signals]]")
    text = "[[signals]]".join([head, *(b for b in blocks if not (gone in b and 'line = "line-2"' in b))])
    path = tmp_path / "alder-fork.toml"
    path.write_text(text, encoding="utf-8")
    assert cli.run(["check-plant", str(path)]) == 1
    out = capsys.readouterr().out
    assert out.count("  missing for ") >= 1
    assert f"  missing for {missing}" in out.split("line line-2")[1]
    assert "missing for" not in out.split("line line-2")[0]


@pytest.mark.parametrize(
    ("gone", "missing"),
    [
        ("price_neat", "cost per ton: price_neat of the polymer"),
        ("disposal_wet", "cost per ton: a price disposal_wet"),
        ("solution_strength_pct", "polymer dose: solution_strength_pct of the polymer, or its measurement"),
        ('{ column = "Slam TS mg/L"', "polymer dose: a lab result feed ts, or a signal of role feed_solids"),
        ('{ column = "Filtrat SS mg/L"', "solids capture: a lab result filtrate tss"),
    ],
)
def test_check_plant_looks_at_prices_products_and_lab(gone: str, missing: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = (PLANTS / "brenholm.toml").read_text(encoding="utf-8").splitlines()
    path = tmp_path / "brenholm.toml"
    path.write_text("\n".join(row for row in rows if not row.strip().startswith(gone)), encoding="utf-8")
    assert cli.run(["check-plant", str(path)]) == 1
    assert f"  missing for {missing}" in capsys.readouterr().out


def test_check_plant_of_a_broken_file_ends_with_three(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "x.toml"
    path.write_text('[plant]\nid = "x"\nnmae = "X"\n', encoding="utf-8")
    assert cli.run(["check-plant", str(path)]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"error: {path}, line ")
    assert "remedy: " in err
    assert "Traceback" not in err


def with_plants(tmp_path: Path) -> Home:
    home = Home(tmp_path / "home")
    for path in PLANTS.glob("*.toml"):
        home.plant_file(path.stem).parent.mkdir(parents=True, exist_ok=True)
        home.plant_file(path.stem).write_bytes(path.read_bytes())
    return home


def test_status_before_anything_ran_ends_with_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = with_plants(tmp_path)
    before = sorted(home.root.rglob("*"))
    assert cli.run(["--home", str(home.root), "status"]) == 2
    rows = capsys.readouterr().out.splitlines()
    assert [row.split()[0] for row in rows] == ["plant", "alder-fork", "brenholm", "sorrel-draw"]
    assert sorted(home.root.rglob("*")) == before


def test_status_of_one_plant(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = with_plants(tmp_path)
    assert cli.run(["--home", str(home.root), "status", "--plant", "brenholm"]) == 2
    assert [row.split()[0] for row in capsys.readouterr().out.splitlines()] == ["plant", "brenholm"]
    assert cli.run(["--home", str(home.root), "status", "--plant", "elsewhere"]) == 3


def test_status_tells_pending_work_inbox_and_last_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from datetime import UTC, datetime

    home = with_plants(tmp_path)
    with Store(home.store("brenholm"), "brenholm") as store:
        store.mark_hours(datetime(2026, 3, 1, 0, 10, tzinfo=UTC), datetime(2026, 3, 1, 4, 0, tzinfo=UTC))
        store.mark_days("compute", [datetime(2026, 3, 1, tzinfo=UTC).date()])
        store.mark_days("watch", [datetime(2026, 3, d, tzinfo=UTC).date() for d in (1, 2)])
    home.inbox("brenholm").mkdir(parents=True)
    (home.inbox("brenholm") / "late.csv").write_text("x", encoding="utf-8")
    home.runs("brenholm").mkdir(parents=True)
    for name, steps in (("20260301T030000Z-nightly", [{"step": "publish"}]), ("20260302T030000Z-nightly", [])):
        record = {"run": "nightly", "as_of": f"2026-03-0{name[7]} 03:00:00+00:00", "exit_code": 1, "steps": steps}
        (home.runs("brenholm") / f"{name}.json").write_text(json.dumps(record), encoding="utf-8")
    cli.run(["--home", str(home.root), "status", "--json"])
    found: dict[str, Any] = next(p for p in json.loads(capsys.readouterr().out)["plants"] if p["plant"] == "brenholm")
    assert (found["pending_hours"], found["pending_days"], found["inbox_files"]) == (5, 2, 1)
    assert found["last_run_as_of"].startswith("2026-03-02")
    assert found["last_published_as_of"].startswith("2026-03-01")
    assert found["last_exit_code"] == 1


def test_status_says_who_writes_a_plant(tmp_path: Path) -> None:
    home = with_plants(tmp_path)
    code = (
        "import sys; from pathlib import Path; from pipelines.store.plant_store import Store\n"
        "with Store(Path(sys.argv[1]), 'brenholm'): print('open', flush=True); sys.stdin.read()"
    )
    command = [sys.executable, "-c", code, str(home.store("brenholm"))]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "open\n"
        found = next(one for one in status.gather(home).plants if one.plant == "brenholm")
        writer.communicate("")
    assert found.busy is not None
    assert f"process {writer.pid}" in found.busy
    assert found.days is None


def test_serve_lists_the_schedules_in_plant_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = with_plants(tmp_path)
    assert cli.run(["--home", str(home.root), "serve", "--list"]) == 0
    assert [row.split(maxsplit=2)[:2] for row in capsys.readouterr().out.splitlines()] == [
        [flow, plant] for plant in ("alder-fork", "brenholm", "sorrel-draw") for flow in ("nightly", "weekly")
    ]


def test_demo_leaves_a_folder_that_is_no_demonstration_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = tmp_path / "store" / "mine.duckdb"
    kept.parent.mkdir()
    kept.write_text("precious", encoding="utf-8")
    assert cli.run(["demo", "--home", str(tmp_path)]) == 3
    assert "not a demonstration" in capsys.readouterr().err
    assert kept.read_text(encoding="utf-8") == "precious"
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == [kept]


def test_home_of_the_command_wins_over_the_global_one_and_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []

    def seen_home(home: Home, *_: object) -> status.HomeStatus:
        seen.append(home.root)
        return status.HomeStatus(datetime(2026, 1, 1, tzinfo=UTC), [], None, None)

    monkeypatch.setattr(status, "gather", seen_home)
    monkeypatch.setenv("FLOCLEDGER_HOME", str(tmp_path / "env" / "home"))
    for folder in ("env", "one", "two"):
        with_plants(tmp_path / folder)
    cli.run(["status"])
    cli.run(["--home", str(tmp_path / "one" / "home"), "status"])
    cli.run(["--home", str(tmp_path / "one" / "home"), "status", "--home", str(tmp_path / "two" / "home")])
    assert [root.parent.name for root in seen] == ["env", "one", "two"]


def test_unexpected_error_of_a_command_is_short_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    home = with_plants(tmp_path)

    def breaks(*_: object) -> None:
        raise KeyError("surprise")

    monkeypatch.setattr(status, "gather", breaks)
    assert cli.run(["--home", str(home.root), "status"]) == 4
    err = capsys.readouterr().err
    assert err.startswith("unexpected error: KeyError: 'surprise'\n  the traceback is in ")
    assert "KeyError" in Path(err.strip().rsplit(" ", 1)[1]).read_text(encoding="utf-8")


def test_interrupt_ends_as_shells_expect(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    home = with_plants(tmp_path)

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(status, "gather", interrupted)
    assert cli.run(["--home", str(home.root), "status"]) == 130
    assert "interrupted" in capsys.readouterr().err


def test_serve_says_that_it_needs_no_deployment_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["serve", "--help"]) == 0
    assert "a `prefect.yaml` is needed only for a work pool" in " ".join(capsys.readouterr().out.split())


def test_check_plant_tells_prices_and_targets_as_understood(capsys: pytest.CaptureFixture[str]) -> None:
    cli.run(["check-plant", str(PLANTS / "alder-fork.toml")])
    out = capsys.readouterr().out
    assert "0.41 of the neat product active, solution 0.4 % active, 1.446 USD/kg neat" in out
    assert "prices since 2025-01-01: disposal_wet 0.06614 USD/kg wet cake" in out
    assert "target of line-1, dose_active_kg_t: at most 11, usual 10.5 to 17" in out
