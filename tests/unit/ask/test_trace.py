"""trace: from a published dose back to the very line of the archived original."""

from __future__ import annotations

import csv
import os
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines import order, trace
from pipelines.base.errors import DataMissingError, UsageError
from pipelines.base.home import Home
from pipelines.cli.app import app

ROOT = Path(__file__).resolve().parents[3]
SMALL = ROOT / "sample_data" / "small" / "exports"
DAY = date(2026, 1, 6)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    made = Home(tmp_path_factory.mktemp("trace"))
    made.plant_file("alder-fork").parent.mkdir(parents=True)
    shutil.copyfile(ROOT / "sample_data" / "plants" / "alder-fork.toml", made.plant_file("alder-fork"))
    made.inbox("alder-fork").mkdir(parents=True)
    labs = sorted(SMALL.glob("ALDER_LAB_*"))[:2]
    for path in [SMALL / "ALDER_SCADA_20260106.csv", *labs]:
        target = Path(shutil.copyfile(path, made.inbox("alder-fork") / path.name))
        os.utime(target, (1.7e9, 1.7e9))
    order.nightly(made, "alder-fork", datetime(2026, 2, 1, tzinfo=UTC))
    return made


def test_a_reading_leads_to_its_line_in_the_original(home: Home) -> None:
    found = trace.run(home, "alder-fork", "line-1", DAY, "dose_active_kg_t")
    assert found.value == found.row["polymer_active_kg"] / found.row["dry_solids_t"]
    flow = next(r for r in found.readings if r.role == "sludge_flow")
    text = (home.archive("alder-fork") / flow.archived_as).read_text(encoding="utf-8").splitlines()
    assert flow.line_no is not None
    assert flow.raw_text == text[flow.line_no - 1]
    header = next(row for row in csv.reader(text) if row[:1] == ["Date/Time"])
    cell = next(csv.reader([flow.raw_text]))[header.index(flow.tag)]
    assert flow.value == pytest.approx(float(cell) * 0.003785411784 * 60.0)  # gpm to m3/h
    assert {"feed", "cake", "filtrate"} <= set(found.lab["point"].to_list())
    assert "ALDER_SCADA_20260106.csv" in found.loads["file_name"].to_list()


def test_unknown_column_and_day_say_so(home: Home) -> None:
    with pytest.raises(UsageError, match="no column"):
        trace.run(home, "alder-fork", "line-1", DAY, "dose")
    with pytest.raises(DataMissingError):
        trace.run(home, "alder-fork", "line-1", date(2020, 1, 1), "dose_active_kg_t")


def test_commands_show_trace_and_answers(home: Home) -> None:
    runner = CliRunner()
    told = runner.invoke(
        app, ["--home", str(home.root), "trace", "dose_active_kg_t", "--plant", "alder-fork", "--line", "line-1", "--day", str(DAY)]
    )
    assert "ALDER_SCADA_20260106.csv, line" in told.output
    asked = runner.invoke(app, ["--home", str(home.root), "ask", "dose_by_day", "-p", "plant=alder-fork", "--format", "csv"])
    assert asked.output.splitlines()[0].startswith("plant,line,operating_day,dose_lb_active_per_dry_ton")
    listed = runner.invoke(app, ["ask", "--list"])
    assert listed.output.count("-p plant=") >= 15
