"""Where each plant stands: last run and success, lag, what waits, completeness, what is published, disk. Reads only."""

from __future__ import annotations

import json
import shutil
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from pipelines.base import clock
from pipelines.base.errors import ExitCode, LockedError, UsageError
from pipelines.base.home import Home
from pipelines.intake import late_data
from pipelines.runs import records
from pipelines.store import faults

LOW_DISK_BYTES = 2 * 2**30  # below so much free space status warns: a night copies the published file beside itself

SILENT_AFTER = timedelta(hours=30)  # a nightly run is due each day and may take six hours (rule of this project)
SCORE_DAYS = 7  # last days whose data-quality score is shown
_COMPLETENESS = (
    "SELECT 1.0 - sum(missing_processing_minutes) / nullif(sum(processing_minutes), 0) FROM data_quality "
    "WHERE operating_day = (SELECT max(operating_day) FROM data_quality)"
)


@dataclass(frozen=True)
class PlantStatus:
    """One plant; a field is None where nothing is known yet."""

    plant: str
    last_run: str | None = None  # "nightly", "weekly", "rebuild"
    last_run_as_of: str | None = None  # ISO 8601
    last_exit_code: int | None = None
    last_error: str | None = None  # what stopped the last run
    last_success_as_of: str | None = None  # as_of of the last nightly run that ended with 0 or 1
    no_data: str | None = None  # lines without data of the last day, as the last nightly run said
    inbox_files: int = 0
    pending_hours: int | None = None
    pending_days: int | None = None
    first_day: date | None = None
    last_day: date | None = None
    days: int | None = None
    last_reading_utc: datetime | None = None
    lag_h: float | None = None  # hours from the last reading to now
    completeness: float | None = None  # of the processing minutes of the last operating day, the share that every role covered; 0 to 1
    last_published_as_of: str | None = None  # as_of of the last run that published
    published_to: date | None = None  # last operating day in the published file
    held_days: int | None = None  # operating days whose late data wait for `flocledger backfill`
    score: float | None = None  # smallest data-quality score of a line on the last days; 0 to 100
    disk_bytes: int | None = None  # of archive and store
    silent: str | None = None  # since when no nightly run has succeeded, where that is too long
    busy: str | None = None  # who writes the plant just now
    damaged: str | None = None  # what cannot be read, and the way out
    unreadable_records: tuple[str, ...] = ()  # names of files that should be records of runs

    @property
    def trouble(self) -> str | None:
        """Return what is worst about the plant, in a sentence; None when it is well or has warnings only."""
        failed = f"the last run failed: {self.last_error}" if self.last_error else None
        return self.damaged or failed or self.no_data or self.silent

    @property
    def exit_code(self) -> ExitCode:
        """Return what the site's monitor should make of the plant: 4 damaged, 2 no data, never run or not for 30 h, 1 a warning, 0 well."""
        if self.damaged:
            return ExitCode.INTERNAL
        if not self.days and not self.busy:
            return ExitCode.DATA_MISSING
        if self.last_error and self.last_exit_code is not None:
            return ExitCode(self.last_exit_code)
        if self.no_data or self.silent:
            return ExitCode.DATA_MISSING
        return ExitCode.WARNINGS if self.last_exit_code else ExitCode.OK


@dataclass(frozen=True)
class HomeStatus:
    """All plants of a home, what is wrong with the published file, and the disk."""

    as_of: datetime
    plants: list[PlantStatus]
    published_damaged: str | None
    disk_free_bytes: int | None

    @property
    def is_disk_low(self) -> bool:
        """Return whether so little space is free that a night may fail."""
        return self.disk_free_bytes is not None and self.disk_free_bytes < LOW_DISK_BYTES

    @property
    def exit_code(self) -> ExitCode:
        """Return the worst code of the plants; a damaged published file is 4, little free space at least 1."""
        codes = [one.exit_code for one in self.plants]
        codes += [ExitCode.INTERNAL] if self.published_damaged else []
        codes += [ExitCode.WARNINGS] if self.is_disk_low else []
        return max(codes, default=ExitCode.DATA_MISSING)

    def troubles(self) -> dict[str, str]:
        """Return plant -> what is wrong with it; `published` and `disk` stand for those of the home."""
        found = {one.plant: one.trouble for one in self.plants} | {"published": self.published_damaged}
        found["disk"] = "little free space" if self.is_disk_low else None
        return {name: what for name, what in found.items() if what}

    def as_json(self) -> str:
        """Return everything as JSON, for a monitor."""
        plants = [{**asdict(one), "exit_code": int(one.exit_code)} for one in self.plants]
        of_home = {"plants": plants, "troubles": self.troubles(), "exit_code": int(self.exit_code)}
        return json.dumps({**asdict(self), **of_home}, default=str, indent=1)


def gather(home: Home, plants: list[str] | None = None, as_of: datetime | None = None) -> HomeStatus:
    """Return the status of every plant that has a plant file (or of those asked for), sorted by id; `as_of` is its now."""
    asked = home.plants() if plants is None else plants
    published, damaged = _published_to(home, asked)
    now = clock.in_utc(as_of)
    found = [_of_plant(home, plant, published.get(plant), now) for plant in asked]
    return HomeStatus(now, found, damaged, _disk_free(home.root))


def troubles_in(path: Path) -> dict[str, str]:
    """Return the troubles that a health file names; none when it is not there or not readable."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))["troubles"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return {str(name): str(what) for name, what in found.items()} if isinstance(found, dict) else {}


def write_whole(out: Path, text: str) -> None:
    """Write a file that a monitor may read at any moment: it is there whole, or as it was. UsageError when it cannot be written."""
    partial = out.with_name(f".{out.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8")
        partial.replace(out)
    except OSError as error:
        raise UsageError(f"{out} cannot be written: {error.strerror or error}", remedy="name a file in a folder that is there") from None


def _silent(home: Home, plant: str, last_success: str | None, now: datetime) -> str | None:
    """Return that no nightly run has succeeded for too long; of a plant that never had one, from the time of its plant file on."""
    since = datetime.fromisoformat(last_success) if last_success else datetime.fromtimestamp(home.plant_file(plant).stat().st_mtime, UTC)
    if now - since <= SILENT_AFTER:
        return None
    hours = f"{(now - since) / timedelta(hours=1):.0f} h"
    return f"no nightly run has succeeded since {since:%Y-%m-%d %H:%M} UTC, {hours} ago" if last_success else f"no nightly run for {hours}"


def _score(home: Home, plant: str) -> float | None:
    """Return the smallest data-quality score of a line on the last days; None without one."""
    from pipelines.store import connect

    if not home.database.exists():
        return None
    sql = (
        "SELECT min(quality_score) FROM data_quality_score WHERE plant = $p AND operating_day > "
        f"(SELECT max(operating_day) FROM kpi_day WHERE plant = $p) - {SCORE_DAYS}"
    )
    try:
        con = connect(home.database, read_only=True)
    except Exception:  # told as damage of the published file
        return None
    try:
        found: float | None = con.execute(sql, {"p": plant}).fetchall()[0][0]
        return found
    except Exception:  # told as damage of the published file
        return None
    finally:
        con.close()


def _disk_bytes(home: Home, plant: str) -> int:
    """Return what a plant's archive and store take on disk; its published tables are about as large as the store."""
    archive, store = home.archive(plant), home.store(plant)
    with suppress(OSError):
        return sum(path.stat().st_size for path in (*(archive.iterdir() if archive.is_dir() else ()), *store.parent.glob(f"{plant}.*")))
    return 0


def _disk_free(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None


def _of_plant(home: Home, plant: str, published_to: date | None, now: datetime) -> PlantStatus:
    found, broken = records.read(home.runs(plant))
    last = found[-1] if found else {}
    publishing = [r for r in found if any(step["step"] == "publish" for step in r["steps"])]
    nights = [r for r in found if r.get("run") == "nightly" and "error" not in r]
    said = [n["sentence"] for n in nights[-1].get("notices", []) if n["name"] == late_data.NAME] if nights else []
    inbox = home.inbox(plant)
    of_store = _from_store(home.store(plant), plant)
    at = of_store.get("last_reading_utc")
    return PlantStatus(
        plant=plant,
        last_run=last.get("run"),
        last_run_as_of=last.get("as_of"),
        last_exit_code=last.get("exit_code"),
        last_error=last.get("error"),
        last_success_as_of=nights[-1]["as_of"] if nights else None,
        no_data=said[0] if said else None,
        inbox_files=sum(1 for p in inbox.iterdir() if not p.name.startswith(".")) if inbox.is_dir() else 0,
        lag_h=None if at is None else round((now - at).total_seconds() / 3600, 1),
        last_published_as_of=publishing[-1]["as_of"] if publishing else None,
        published_to=published_to,
        score=_score(home, plant),
        disk_bytes=_disk_bytes(home, plant),
        silent=_silent(home, plant, nights[-1]["as_of"] if nights else None, now),
        unreadable_records=tuple(broken),
        **of_store,
    )


def _from_store(path: Path, plant: str) -> dict[str, Any]:
    """Return what the store says: work lists, operating days, last reading, completeness; who holds it, or that it is damaged."""
    from pipelines.store import connect

    if not path.exists():
        return {}
    try:
        con = connect(path, read_only=True)
    except LockedError as error:
        return {"busy": str(error.args[0])}
    except Exception as error:  # one store must not hide the other plants
        return {"damaged": str(faults.explained(error, plant))}
    try:
        hours, days, held = con.execute(
            "SELECT (SELECT count(*) FROM pending_hours), count(DISTINCT operating_day) FILTER (stage <> 'held'), "
            "count(*) FILTER (stage = 'held') FROM pending_days"
        ).fetchall()[0]
        first, last, seen = con.execute(
            "SELECT min(operating_day), max(operating_day), count(DISTINCT operating_day) FROM kpi_day"
        ).fetchall()[0]
        at = con.execute("SELECT max(last_utc) FROM loads").fetchall()[0][0]
        completeness = con.execute(_COMPLETENESS).fetchall()[0][0]
    except Exception as error:
        return {"damaged": str(faults.explained(error, plant))}
    finally:
        con.close()
    return {
        "pending_hours": hours, "pending_days": days, "held_days": held, "first_day": first, "last_day": last, "days": seen, "last_reading_utc": at, "completeness": completeness,
    }  # fmt: skip


def _published_to(home: Home, plants: list[str]) -> tuple[dict[str, date], str | None]:
    """Return plant -> last operating day in its published file, and what is wrong with the first file that cannot be read."""
    from pipelines.store import connect

    found, damaged = dict[str, date](), None
    for path, plant in [(home.database, ""), *((home.published_of(plant), plant) for plant in plants)]:
        if not path.exists():
            continue
        try:
            con = connect(path, read_only=True)
            try:
                sql = "SELECT max(operating_day) FROM kpi_day WHERE plant = $p HAVING count(*) > 0"
                days = con.execute(sql, {"p": plant}).fetchall()
                if days:
                    found[plant] = days[0][0]
            finally:
                con.close()
        except Exception as error:  # whatever is wrong with it: the plants are shown all the same
            damaged = damaged or f"{faults.explained(error, plant)}"
    return found, damaged
