"""Where each plant stands: last run, what waits, days of data, what is published. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipelines.base.errors import LockedError
from pipelines.base.home import Home
from pipelines.intake import late_data
from pipelines.runs import records


@dataclass(frozen=True)
class PlantStatus:
    """One plant; a field is None where nothing is known yet."""

    plant: str
    last_run: str | None = None  # "nightly", "weekly", "rebuild"
    last_run_as_of: str | None = None  # ISO 8601
    last_exit_code: int | None = None
    last_error: str | None = None  # what stopped the last run
    no_data: str | None = None  # lines without data of the last day, as the last nightly run said
    inbox_files: int = 0
    pending_hours: int | None = None
    pending_days: int | None = None
    first_day: date | None = None
    last_day: date | None = None
    days: int | None = None
    last_published_as_of: str | None = None  # as_of of the last run that published
    published_to: date | None = None  # last operating day in the published file
    busy: str | None = None  # who writes the plant just now
    unreadable_records: tuple[str, ...] = ()  # names of files that should be records of runs


def gather(home: Home) -> list[PlantStatus]:
    """Return the status of every plant that has a plant file, sorted by id."""
    published = _published_to(home)
    return [_of_plant(home, plant, published.get(plant)) for plant in home.plants()]


def _of_plant(home: Home, plant: str, published_to: date | None) -> PlantStatus:
    found, broken = records.read(home.runs(plant))
    last = found[-1] if found else {}
    publishing = [r for r in found if any(step["step"] == "publish" for step in r["steps"])]
    nights = [r for r in found if r.get("run") == "nightly" and "error" not in r]
    said = [n["sentence"] for n in nights[-1].get("notices", []) if n["name"] == late_data.NAME] if nights else []
    inbox = home.inbox(plant)
    return PlantStatus(
        plant=plant,
        last_run=last.get("run"),
        last_run_as_of=last.get("as_of"),
        last_exit_code=last.get("exit_code"),
        last_error=last.get("error"),
        no_data=said[0] if said else None,
        inbox_files=sum(1 for p in inbox.iterdir() if not p.name.startswith(".")) if inbox.is_dir() else 0,
        last_published_as_of=publishing[-1]["as_of"] if publishing else None,
        published_to=published_to,
        unreadable_records=tuple(broken),
        **_from_store(home.store(plant)),
    )


def _from_store(path: Path) -> dict[str, Any]:
    """Return what the store says: work lists and operating days with minutes; who holds it when it is being written."""
    from pipelines.store import connect

    if not path.exists():
        return {}
    try:
        con = connect(path, read_only=True)
    except LockedError as error:
        return {"busy": str(error.args[0])}
    try:
        hours, days = con.execute(
            "SELECT (SELECT count(*) FROM pending_hours), (SELECT count(DISTINCT operating_day) FROM pending_days)"
        ).fetchall()[0]
        first, last, seen = con.execute(
            "SELECT min(operating_day), max(operating_day), count(DISTINCT operating_day) FROM kpi_day"
        ).fetchall()[0]
    finally:
        con.close()
    return {"pending_hours": hours, "pending_days": days, "first_day": first, "last_day": last, "days": seen}


def _published_to(home: Home) -> dict[str, date]:
    from pipelines.store import connect

    if not home.database.exists():
        return {}
    con = connect(home.database, read_only=True)
    try:
        return dict(con.execute("SELECT plant, max(operating_day) FROM kpi_day GROUP BY plant").fetchall())
    finally:
        con.close()
