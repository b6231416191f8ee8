"""What a changed plant file restates, in lines for the terminal."""

from __future__ import annotations

from pathlib import Path

from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.plant import changes, loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store
from schemas.tables.plant_file_versions import NEWEST

_VERSION = "SELECT plant_file_id, toml FROM plant_file_versions WHERE plant = $plant AND starts_with(plant_file_id, $id) ORDER BY ALL"
_LEAST_DIGITS = 4  # of a version's id


def told(home: Home, new: PlantFile, file: Path, against: str) -> list[str]:
    """Return the lines for a plant file against another one: a file, the version last used (`used`) or one by its id in the store."""
    if Path(against).is_file():
        name, old, files = against, loader.load(Path(against)), None
    else:
        version, text, files = _kept(home, new.plant.id, against)
        name, old = f"version {version}", loader.of_text(text, Path(f"version {version} of {new.plant.id}"))
    return ["", f"changes of {file} against {name}", *lines(changes.between(old, new), files)]


def lines(found: list[changes.Change], files: int | None) -> list[str]:
    """Return one line a key, then what the whole restates; `files` is how many files a rebuild reads again, None when not known."""
    if not found:
        return ["  no key has another value: no number changes"]
    rows = [f"  {c.key}: {_shown(c.before)} -> {_shown(c.after)}  ({changes.MEANING[c.effect]}{_from(c)})" for c in found]
    effects = {c.effect for c in found}
    if "rebuild" in effects:
        count = "the files" if files is None else f"the {files} files"
        return [*rows, f"  rebuild needed: {count} taken in are read again, every day is computed again"]
    if "compute" not in effects:
        return [*rows, "  words on pages only: no number changes"]
    days = [c.since for c in found if c.effect == "compute"]
    first = None if None in days else min(day for day in days if day is not None)
    return [*rows, f"  no rebuild needed: numbers can differ {'on every day' if first is None else f'from {first} on'}"]


def _from(change: changes.Change) -> str:
    return f" from {change.since}" if change.since else ""


def _shown(value: object) -> str:
    return "(not there)" if value is None else str(value)


def _kept(home: Home, plant: str, against: str) -> tuple[str, str, int]:
    """Return id and text of a version in the plant's store, and the number of files taken in; UsageError when it has none such."""
    path = home.store(plant)
    if not path.exists():
        raise UsageError(
            f"there is no file {against}, and no store of {plant} to look in", remedy="name a file, or choose the home with --home"
        )
    with Store(path, plant, read_only=True) as store:
        if against == "used":
            rows = store.rows(f"SELECT plant_file_id, toml {NEWEST}", {"plant": plant})
        else:
            rows = store.rows(_VERSION, {"plant": plant, "id": against}) if len(against) >= _LEAST_DIGITS else []
        files = store.rows("SELECT count(*) FROM loads")[0][0]
    if len(rows) != 1:
        raise UsageError(
            f"{against} is no file and names {len(rows)} versions of {plant}", remedy="`used`, or an id of plant_file_versions"
        )
    return rows[0][0], rows[0][1], files
