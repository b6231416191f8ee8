"""Deployments as data: against prefect.yaml, against the flows' signatures, and against the days clocks change."""

from __future__ import annotations

import ast
import subprocess
import sys
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import pytest
import yaml

from pipelines.base import resources
from pipelines.flows import deployments
from pipelines.flows.deployments import Deployment
from pipelines.plant import loader

ROOT = Path(__file__).resolve().parents[2]
PLANTS = sorted((resources.folder("sample_data") / "plants").glob("*.toml"))
PLANNED = [d for path in PLANTS for d in deployments.of_plant(loader.load(path))]
LISTED: list[dict[str, Any]] = yaml.safe_load((ROOT / "prefect.yaml").read_text(encoding="utf-8"))["deployments"]


def test_prefect_yaml_lists_exactly_what_the_plant_files_give() -> None:
    def as_listed(d: Deployment) -> dict[str, Any]:
        return {
            "name": d.name,
            "entrypoint": d.entrypoint,
            "work_pool": {"name": "plants"},
            "concurrency_limit": deployments.CONCURRENCY,
            "parameters": d.parameters,
            "tags": d.tags,
            "job_variables": {"env": {"FLOCLEDGER_HOME": "{{ $FLOCLEDGER_HOME }}"}},
            "schedules": [{"cron": d.cron, "timezone": d.time_zone, "slug": d.flow}],
        }

    assert [as_listed(d) for d in PLANNED] == LISTED


@pytest.mark.parametrize("entrypoint", sorted({d["entrypoint"] for d in LISTED}))
def test_parameters_fit_the_signature_of_the_flow(entrypoint: str) -> None:
    module, _, name = entrypoint.rpartition(".")
    tree = ast.parse((ROOT / module.replace(".", "/")).with_suffix(".py").read_text(encoding="utf-8"))
    flow = next(node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name == name)
    arguments = [a.arg for a in flow.args.args]
    required = set(arguments[: len(arguments) - len(flow.args.defaults)])
    for listed in (d for d in LISTED if d["entrypoint"] == entrypoint):
        assert required <= set(listed["parameters"]) <= set(arguments)


def fires(one: Deployment, first: datetime, days: int) -> list[datetime]:
    """Plant-local instants at which the schedule fires, by Prefect's own reading of it."""
    import anyio
    from prefect.server.schemas.schedules import CronSchedule

    schedule = CronSchedule(cron=one.cron, timezone=one.time_zone)
    found = anyio.run(lambda: schedule.get_dates(n=400, start=first, end=first + timedelta(days=days)))
    return [when.astimezone(ZoneInfo(one.time_zone)) for when in found]


@pytest.mark.parametrize("one", PLANNED, ids=lambda d: f"{d.flow}-{d.name}")
def test_schedule_fires_at_the_same_local_time_all_year(one: Deployment) -> None:
    found = fires(one, datetime(2026, 1, 1, tzinfo=UTC), 364)
    minute, hour = map(int, one.cron.split()[:2])
    assert {(f.hour, f.minute) for f in found} == {(hour, minute)}
    assert len({f.date() for f in found}) == len(found) == (364 if one.flow == "nightly" else 52)


@pytest.mark.parametrize(
    ("day_start", "expected"),
    [
        (time(6, 0), time(7, 0)),
        (time(0, 0), time(5, 0)),  # 01:00 would be in the hours clocks change
        (time(3, 59), time(5, 0)),
        (time(4, 0), time(5, 0)),  # exactly the earliest
        (time(4, 1), time(5, 1)),
        (time(18, 30), time(19, 30)),  # exactly the latest
        (time(18, 31), time(5, 0)),
        (time(23, 30), time(5, 0)),
    ],
)
def test_nightly_time_is_an_hour_after_the_day_and_never_while_clocks_change(day_start: time, expected: time) -> None:
    assert deployments.nightly_time(day_start) == expected


def test_no_zone_changes_its_clock_while_runs_may_be_scheduled() -> None:
    last = (datetime.combine(date.min, deployments.LATEST) + deployments.WEEKLY_AFTER_NIGHTLY).time()
    odd = []
    for name in sorted(available_timezones()):
        zone = ZoneInfo(name)
        for day in (datetime(2026, 1, 1) + timedelta(days=n) for n in range(366)):  # noqa: DTZ001 - wall time, the zone follows
            first, end = (datetime.combine(day, at, tzinfo=zone) for at in (deployments.EARLIEST, last))
            if first.utcoffset() != end.utcoffset() or first.utcoffset() != (first - timedelta(minutes=30)).utcoffset():
                odd.append((name, day.date()))
    assert odd == []


def test_weekly_page_comes_after_the_nightly_run_of_the_same_day() -> None:
    for night, page in zip(PLANNED[::2], PLANNED[1::2], strict=True):
        assert (night.flow, page.flow, night.name) == ("nightly", "weekly", page.name)
        assert [int(x) for x in night.cron.split()[:2]][::-1] < [int(x) for x in page.cron.split()[:2]][::-1]


def test_telemetry_is_off_before_prefect_is_imported() -> None:
    code = (
        "import os, sys, pipelines.flows; assert 'prefect' not in sys.modules; "
        "print(os.environ['DO_NOT_TRACK'], os.environ['PREFECT_SERVER_ANALYTICS_ENABLED'])"
    )
    clean = {"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=clean, cwd=ROOT)
    assert done.stdout.split() == ["1", "false"]


def test_the_nightly_run_due_is_the_last_one_by_plant_time() -> None:
    plant_file = loader.load(next(p for p in PLANTS if p.stem == "brenholm"))  # 05:00 in Copenhagen
    assert deployments.nightly_due(plant_file, datetime(2026, 7, 10, 3, 0, tzinfo=UTC)) == datetime(2026, 7, 10, 3, 0, tzinfo=UTC)
    assert deployments.nightly_due(plant_file, datetime(2026, 7, 10, 2, 59, tzinfo=UTC)) == datetime(2026, 7, 9, 3, 0, tzinfo=UTC)


def test_rebuild_and_backfill_are_deployed_without_a_schedule() -> None:
    plant_file = loader.load(PLANTS[0])
    assert [(d.flow, d.is_scheduled, d.tags) for d in deployments.by_hand(plant_file)] == [
        (flow, False, [plant_file.plant.id, flow]) for flow in ("rebuild", "backfill")
    ]
