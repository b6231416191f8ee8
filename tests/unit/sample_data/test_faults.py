"""Planted faults: listed with exact times, marked per day, and changing what they say they change."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from sample_data.fault_script import SCRIPT
from sample_data.generate import generate

WEEKS = 16
ALDER = "alder-fork/exports/"


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("planted")
    generate(out, weeks=WEEKS, quiet=True)
    return out


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("clean")
    generate(out, weeks=WEEKS, quiet=True, faults=False)
    return out


def faults(out: Path, plant: str) -> list[dict[str, str]]:
    return list(csv.DictReader((out / plant / "truth" / "faults.csv").read_text(encoding="utf-8").splitlines()))


def days(out: Path, plant: str) -> pl.DataFrame:
    return pl.read_parquet(out / plant / "truth" / "day.parquet").sort("line", "operating_day")


def column(path: Path, number: int) -> dict[str, str]:
    rows = (line.split(",") for line in path.read_text(encoding="utf-8").splitlines() if line[:1].isdigit())
    return {cells[0][11:]: cells[number] for cells in rows}


@pytest.mark.parametrize("plant", sorted(SCRIPT))
def test_the_whole_script_finds_its_place(planted: Path, plant: str) -> None:
    listed = sorted(f["kind"] for f in faults(planted, plant) if f["kind"] != "totaliser rollover")
    assert listed == sorted(e.kind for e in SCRIPT[plant])
    for f in faults(planted, plant):
        assert datetime.fromisoformat(f["start_utc"]) < datetime.fromisoformat(f["end_utc"])
        assert f["handled"] in ("yes", "no")
        assert f["effect"]


def test_without_faults_nothing_is_listed_or_marked(clean: Path) -> None:
    for plant in SCRIPT:
        assert faults(clean, plant) == []
        assert not days(clean, plant)["has_planted_fault"].any()


@pytest.mark.parametrize("plant", sorted(SCRIPT))
def test_unmarked_days_of_the_truth_are_those_of_a_plant_without_process_faults(planted: Path, clean: Path, plant: str) -> None:
    """Operators react for days to a fault they saw; volumes and solids do not depend on them."""
    both = days(planted, plant).join(days(clean, plant), on=["line", "operating_day"], suffix="_clean")
    unmarked = both.filter(~pl.col("has_planted_fault"))
    assert unmarked.height > 50
    assert (unmarked["dry_solids_t"] - unmarked["dry_solids_t_clean"]).abs().max() == pytest.approx(0.0, abs=1e-9)
    assert (unmarked["run_h"] - unmarked["run_h_clean"]).abs().max() == 0.0


def test_sensor_faults_leave_the_truth_alone_and_process_faults_do_not(planted: Path, clean: Path) -> None:
    both = days(planted, "alder-fork").join(days(clean, "alder-fork"), on=["line", "operating_day"], suffix="_clean")

    def of(line: str, day: date, name: str) -> tuple[float, float]:
        row = both.filter(pl.col("line") == line, pl.col("operating_day") == day)
        return row[name][0], row[f"{name}_clean"][0]

    flat = of("line-1", date(2026, 1, 20), "feed_volume_m3")  # day 15: flatline
    assert flat[0] == flat[1]
    valve = of("line-2", date(2026, 2, 3), "mixing_dp_ref_kpa")  # day 29: 12 psi at the set-point of 390 gpm, read at 400 gpm
    assert valve[0] - valve[1] == pytest.approx(12 * 6.894757 * (400 / 390) ** 2, rel=1e-6)
    outage = of("line-1", date(2026, 2, 6), "processing_h")  # day 32: 25 minutes without polymer are not processing
    assert outage[1] - outage[0] == pytest.approx(25 / 60)
    dry = of("line-1", date(2026, 2, 10), "processing_h")  # day 36: three times 4 dry minutes, each followed by start-up
    assert dry[1] - dry[0] == pytest.approx(3 * (4 + 15) / 60)
    step = of("line-1", date(2026, 2, 17), "feed_ts_pct")  # day 43
    assert step[0] / step[1] == pytest.approx(1.25)
    minutes = pl.read_parquet(planted / "alder-fork" / "truth" / "minute.parquet").filter(pl.col("line") == "line-1")
    weak = minutes.filter("processing", pl.col("operating_day") == date(2026, 2, 24))  # day 50: 0.28 in place of 0.40 %
    assert (weak["polymer_active_kg_h"] / weak["polymer_solution_flow_m3_h"] / 10).mean() == pytest.approx(0.28, rel=1e-5)


def test_flatline_and_out_of_range_show_in_the_export_at_the_listed_times(planted: Path) -> None:
    listed = {f["kind"]: f for f in faults(planted, "alder-fork")}
    for kind, day, shown in (("flatline", "20260120", None), ("out of range", "20260121", "9999.0")):
        start, end = (datetime.fromisoformat(listed[kind][k]) - timedelta(hours=5) for k in ("start_utc", "end_utc"))  # New York in January
        flow = column(planted / ALDER / f"ALDER_SCADA_{day}.csv", 1)
        inside = [v for clock, v in flow.items() if f"{start:%H:%M}" <= clock < f"{end:%H:%M}"]
        assert len(inside) == (end - start).total_seconds() / 60
        assert len(set(inside)) == 1
        assert shown is None or inside[0] == shown
        assert flow[f"{end:%H:%M}"] != inside[0]


def test_files_late_doubled_resent_reordered(planted: Path, clean: Path) -> None:
    arrives = {
        r["file"]: datetime.fromisoformat(r["arrives_local"])
        for r in csv.DictReader((planted / "alder-fork" / "deliveries.csv").read_text(encoding="utf-8").splitlines())
    }
    assert arrives["ALDER_SCADA_20260114.csv"].date() == date(2026, 1, 24)  # nine days after the 15th
    exports = planted / ALDER
    assert (exports / "again/ALDER_SCADA_20260107.csv").read_bytes() == (exports / "ALDER_SCADA_20260107.csv").read_bytes()
    first, second = exports / "ALDER_SCADA_20260109.csv", exports / "resent/ALDER_SCADA_20260109.csv"
    assert second.read_bytes() == (clean / ALDER / "ALDER_SCADA_20260109.csv").read_bytes()
    differing = [a != b for a, b in zip(first.read_text().splitlines(), second.read_text().splitlines(), strict=True)]
    assert sum(differing) == 40
    assert arrives["resent/ALDER_SCADA_20260109.csv"] > arrives["ALDER_SCADA_20260109.csv"]
    reordered, plain = (out / ALDER / "ALDER_SCADA_20260106.csv" for out in (planted, clean))
    assert column(reordered, 26) == column(plain, 1)
    assert len(column(reordered, 1)) == 1440


def test_unit_row_says_kpa_while_values_stay(planted: Path, clean: Path) -> None:
    odd, plain = ((out / ALDER / "ALDER_SCADA_20260113.csv").read_text(encoding="utf-8").splitlines() for out in (planted, clean))
    assert [i for i, (a, b) in enumerate(zip(odd, plain, strict=True)) if a != b] == [4]
    assert odd[4] == plain[4].replace("psi", "kPa")


def test_overlapping_file_begins_with_the_end_of_the_day_before(planted: Path) -> None:
    path = planted / ALDER / "ALDER_SCADA_20260116.csv"
    rows = [line for line in path.read_text(encoding="utf-8").splitlines() if line[:1].isdigit()]
    before = [
        line for line in (planted / ALDER / "ALDER_SCADA_20260115.csv").read_text(encoding="utf-8").splitlines() if line[:1].isdigit()
    ]
    assert len(rows) == 1440 + 240
    assert rows[:240] == before[-240:]


def test_lab_slips(planted: Path) -> None:
    sheet = (planted / ALDER / "ALDER_LAB_20260203.csv").read_text(encoding="utf-8").splitlines()
    rows = {line[:10]: line.split(",") for line in sheet[2:-1]}
    assert float(rows["01/29/2026"][5]) > 15_000  # day 24: feed TS of press 2 in mg/L below %
    swapped = rows["01/30/2026"]  # day 25: feed and filtrate of press 1
    assert float(swapped[2]) < 0.2
    assert 15_000 < float(swapped[4]) < 35_000
    revised = [
        (row["reported"], float(row["result"]))
        for path in sorted((planted / "sorrel-draw/exports").glob("sorrel_lab_*.csv"))
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines())
        if row["sample_id"] == "K260116-1F" and row["units"] == "%"
    ]
    assert len(revised) == 2
    assert revised[1][1] / revised[0][1] == pytest.approx(0.88)
    assert revised[1][0] > revised[0][0]


def test_bad_quality_bursts_come_by_chance_in_noise(tmp_path: Path) -> None:
    generate(tmp_path, weeks=WEEKS, seed=2, plants=("sorrel-draw",))
    bursts = [f for f in faults(tmp_path, "sorrel-draw") if f["kind"] == "bad quality burst"]
    assert 4 <= len(bursts) <= 22  # 11.2 expected, and one of the script
    words = set()
    for path in (tmp_path / "sorrel-draw/exports").glob("sorrel_log_*.csv"):
        for line in path.read_text(encoding="utf-8").splitlines()[1:-1]:
            words.add(line.split(",", 3)[3])
    assert {"Good", "Bad", '"Bad, no communication"', "Uncertain", '"Good, local override"'} >= words >= {"Good", "Uncertain"}
    assert words & {"Bad", '"Bad, no communication"'}
