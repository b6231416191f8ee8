"""A published home for the weekly page: two invented plants with nine weeks of rows, laid straight into the stores."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from pipelines import compute, publish
from pipelines.base import resources
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas import TABLES

MONDAY = date(2026, 3, 30)  # the reported week begins here
WEEKS = 9
SHOWN = [MONDAY - timedelta(days=7 * (WEEKS - 1)) + timedelta(days=k) for k in range(7 * WEEKS)]
PLAIN: dict[str, Any] = {"text": "x", "double": 1.0, "bigint": 1, "int": 1, "code": 0, "bool": False, "date": MONDAY,
                         "instant": datetime(2026, 3, 30, 10, tzinfo=UTC)}  # fmt: skip


def row(table: str, **given: Any) -> dict[str, Any]:
    made = {c.name: (c.isin[0] if c.isin else PLAIN[c.type]) if not c.nullable else None for c in TABLES[table].columns}
    assert given.keys() <= made.keys(), given.keys() - made.keys()
    return made | given


def append(store: Store, table: str, rows: list[dict[str, Any]]) -> None:
    store.append(table, pl.DataFrame(rows, schema=TABLES[table].polars_schema(), infer_schema_length=None))


def kpis(solids_t: float, dose: float, processing_min: int, **given: Any) -> dict[str, Any]:
    """Values of a KPI row that belong together; solids and dose zero: the line did not run."""
    ran = processing_min > 0
    return {
        "minutes_seen": 1440, "unknown_minutes": 0, "processing_minutes": processing_min, "valid_minutes": round(0.96 * processing_min),
        "run_h": processing_min / 60 + 0.4 if ran else 0.0, "processing_h": processing_min / 60, "missed_share": 0.04 if ran else None,
        "dry_solids_t": solids_t if ran else None, "polymer_active_kg": solids_t * dose if ran else None,
        "dose_active_kg_t": dose if ran else None, "dose_reason": None if ran else "no processing minutes",
        "cake_samples": 2 if ran else 0, "cake_ts_pct": 22.6 if ran else None, "filtrate_samples": int(ran), "feed_samples": int(ran),
        "capture_pct": 95.2 if ran else None, "dilution_ratio": 0.31 if ran else None, "cost_total_per_t": 412.0 if ran else None,
        "mixing_dp_ref_kpa": 31.0 if ran else None, "mixing_dp_ref_method": "fit" if ran else None, **given,
    }  # fmt: skip


def begins(pf: PlantFile, day: date) -> datetime:
    return datetime.combine(day, pf.plant.operating_day_start, tzinfo=ZoneInfo(pf.plant.time_zone)).astimezone(UTC)


def fill_line(store: Store, pf: PlantFile, line: str, scale: float) -> None:
    """Nine weeks of a line: weekdays run eight hours, one day without a dose, a slow rise of the dose."""
    key = {"plant": store.plant, "line": line}
    days, rolling, weeks, lab, quality = [], [], [], [], []
    for k in range(7 * WEEKS):
        day = MONDAY - timedelta(days=7 * (WEEKS - 1)) + timedelta(days=k)
        runs, wave = day.isoweekday() <= 5, math.sin(k * 1.7)
        dose = (9.6 + 0.02 * k + 0.5 * wave) * scale
        values = kpis(16.0 + wave, dose, 480 if runs else 0)
        if runs:
            values |= {"cake_ts_pct": 22.3 + 0.4 * wave, "capture_pct": 95.0 + wave, "mixing_dp_ref_kpa": 31.0 + wave}
            lab += [
                row("lab_results", **key, sample_id=f"{line}-{k}-{n}", analyte="ts", point="cake", operating_day=day, unit="%", is_used=True,
                    from_utc=begins(pf, day) + timedelta(hours=3 + 4 * n), value=22.3 + 0.4 * wave + 0.3 * n)
                for n in range(2)
            ]  # fmt: skip
        if k == 7 * WEEKS - 12:
            values |= {"dose_active_kg_t": None, "dose_reason": "feed TS unknown"}
        span = {"period_start_utc": begins(pf, day), "period_end_utc": begins(pf, day + timedelta(days=1))}
        days.append(row("kpi_day", **key, operating_day=day, **span, **values))
        rolling.append(
            row(
                "kpi_rolling",
                **key,
                operating_day=day,
                window_name="7 d",
                dose_active_kg_t=dose,
                dry_solids_t=80.0,
                polymer_active_kg=80.0 * dose,
            )
        )
        if k % 7 == 0:
            week = kpis(81.0, (9.9 + 0.01 * k) * scale, 2400, minutes_seen=10080, cake_samples=10, is_provisional=k == 7 * (WEEKS - 1))
            monday = {"week_start_day": day, "iso_week": f"{day:%G}-W{day:%V}", "operating_days": 5}
            weeks.append(row("kpi_week", **key, **monday, **week))
        quality += [row("data_quality", **key, operating_day=day, role=role, minutes_seen=1440, covered_share=0.97, processing_minutes=480 if runs else 0)
                    for role in ("sludge_flow", "polymer_neat_flow", "polymer_solution_flow")]  # fmt: skip
    for table, rows in (("kpi_day", days), ("kpi_rolling", rolling), ("kpi_week", weeks), ("lab_results", lab), ("data_quality", quality)):
        append(store, table, rows)
    append(store, "minutes", [minute for k in range(7) for minute in day_of_states(pf, key, MONDAY + timedelta(days=k))])


def day_of_states(pf: PlantFile, key: dict[str, str], day: date) -> list[dict[str, Any]]:
    start = begins(pf, day)

    def state(k: int) -> str:
        if day.isoweekday() > 5 or not 90 <= k < 630:
            return "stopped"
        return (
            "start-up"
            if k < 110
            else "processing"
            if k < 590 and not 300 <= k < 330
            else "idle running"
            if k < 330
            else "shutdown"
            if k < 615
            else "unknown"
        )

    return [row("minutes", **key, minute_utc=start + timedelta(minutes=k), operating_day=day, state=state(k)) for k in range(1440)]


def flag(pf: PlantFile, plant: str, line: str, n: int, severity: str, **given: Any) -> dict[str, Any]:
    at = begins(pf, MONDAY + timedelta(days=1)) + timedelta(hours=2 * n)
    words = {
        "sentence": f"Polymer flow was {6 + n} gpm for {10 + n} minutes while sludge flowed at 390 gpm.",
        "suggestion": "stock tank level, calibration column of the polymer pump",
    }
    return row("flags", plant=plant, line=line, flag_id=f"f-{line}-{n}", cause_id=f"f-{line}-{n}", detector="polymer_outage", severity=severity, start_utc=at,
               end_utc=at + timedelta(minutes=10 + n), minutes=10 + n, operating_day=MONDAY + timedelta(days=1), **(words | given))  # fmt: skip


def fill_plant(home: Home, plant: str) -> PlantFile:
    target = home.plant_file(plant)
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(resources.folder("sample_data") / "plants" / f"{plant}.toml", target)
    text = target.read_text(encoding="utf-8")  # the made-up weeks of these tests lie in a usual range of their own
    target.write_text(
        text.replace("usual = [21.0, 34.0]", "usual = [17.0, 24.0]")
        .replace("usual = [26.0, 33.0]", "usual = [20.0, 28.0]")
        .replace("at_most = 28.0", "at_most = 24.0"),
        encoding="utf-8",
    )
    pf = loader.load(target)
    with Store(home.store(plant), plant) as store:
        compute.settings.write(store, pf)
        received = datetime.combine(MONDAY + timedelta(days=7), time(11, 5), tzinfo=UTC)
        append(store, "loads", [row("loads", plant=plant, load_id="a", received_utc=received)])
        append(store, "plant_file_versions", [row("plant_file_versions", plant=plant, plant_file_id=loader.file_id(target))])
        append(store, "set_aside", [row("set_aside", plant=plant, load_id="a", line_no=n, first_utc=begins(pf, MONDAY)) for n in range(12)])
        for n, line in enumerate(pf.lines):
            fill_line(store, pf, line.id, 1.0 + 0.05 * n)
        append(store, "flags", [flag(pf, plant, pf.lines[0].id, n, s) for n, s in enumerate(["check today", "check this week", "note"])])
        store.mark_days("publish", SHOWN)
        publish.run(home, store)
    return pf


@pytest.fixture(scope="session")
def weekly_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Home with alder-fork (two lines, US units) and brenholm (one line, SI) published; do not write into it."""
    home = Home(tmp_path_factory.mktemp("weekly") / "home")
    for plant in ("alder-fork", "brenholm"):
        fill_plant(home, plant)
    return home.root


@pytest.fixture
def weekly_home(weekly_made: Path, tmp_path: Path) -> Home:
    """A copy of that home, to write into."""
    return Home(Path(shutil.copytree(weekly_made, tmp_path / "home")))


@pytest.fixture
def weekly_change(weekly_home: Home) -> Callable[[str, str], None]:
    """Run SQL on a plant's store of the copy and publish its weeks again."""

    def change(plant: str, sql: str) -> None:
        with Store(weekly_home.store(plant), plant) as store:
            store.rows(sql)
            store.mark_days("publish", SHOWN)
            publish.run(weekly_home, store)

    return change
