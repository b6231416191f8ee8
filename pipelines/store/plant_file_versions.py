"""Plant files behind a store's numbers: the one last used, and those its files were read with."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from pipelines.base.errors import Notice
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store, restatement
from schemas import TABLES
from schemas.tables.plant_file_versions import NEWEST

READ_OTHERWISE = "plant_file.read_otherwise"
_LAST = f"SELECT plant_file_id, reads_as {NEWEST}"


def note(store: Store, plant_file: PlantFile, path: Path, when: datetime) -> bool:
    """Record the plant file in the store, in the caller's transaction; return whether it differs from the last one used."""
    import polars as pl

    now_id, last = loader.file_id(path), store.rows(_LAST, {"plant": store.plant})
    if last and last[0] == (now_id, plant_file.reads_as):
        return False
    is_new = not last or last[0][0] != now_id
    if is_new:
        row: dict[str, object] = {
            "plant": store.plant,
            "plant_file_id": now_id,
            "first_used_utc": when,
            "toml": path.read_text(encoding="utf-8"),
        }
        number = store.rows("SELECT coalesce(max(use_no), 0) + 1 FROM plant_file_versions")[0][0]
        row |= {"reads_as": plant_file.reads_as, "use_no": number}
        store.upsert("plant_file_versions", pl.DataFrame([row], schema=TABLES["plant_file_versions"].polars_schema()))
    else:  # the store, or the digest, is of an earlier version of this code
        values = {"id": now_id, "now": plant_file.reads_as, "was": last[0][1]}
        store.con.execute(
            "UPDATE loads SET reads_as = $now WHERE reads_as IS NOT DISTINCT FROM $was", {k: values[k] for k in ("now", "was")}
        )
        store.con.execute("UPDATE plant_file_versions SET reads_as = $now WHERE plant_file_id = $id", {k: values[k] for k in ("now", "id")})
    return is_new


def apply(store: Store, plant_file: PlantFile, path: Path, when: datetime) -> bool:
    """Note the plant file in the store; when it differs from the last one used, mark all hours for a new pass."""
    with store.transaction():
        is_new = note(store, plant_file, path, when)
        first, last = store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes")[0]
        if is_new and first is not None:
            store.mark_hours(first, last)
            store.clear_days(restatement.STAGE)  # every day is computed again, late data included
    return is_new


def recipe_id(store: Store) -> str:
    """Return the plant file's part of data_version: its id, and the digests of other reading rules still in force for some files."""
    last = store.rows(_LAST, {"plant": store.plant})
    return "".join([last[0][0], *sorted(_otherwise(store, last[0][1]))]) if last else ""


def notices(store: Store, plant_file: PlantFile) -> list[Notice]:
    """Return a notice of files whose numbers follow an earlier plant file until a rebuild."""
    count = sum(_otherwise(store, plant_file.reads_as).values())
    if not count:
        return []
    sentence = (
        f"the plant file now reads files otherwise (signals, layouts, lab words or times were changed), and {count} "
        f"file{'s' if count > 1 else ''} taken in before still count{'' if count > 1 else 's'} as the old one read them: "
        f"run flocledger rebuild --plant {store.plant}"
    )
    return [Notice(READ_OTHERWISE, sentence, {"files": str(count)})]


def _otherwise(store: Store, reads_as: str | None) -> dict[str, int]:
    """Return digest -> number of files, for files read under another digest."""
    return dict(
        store.rows("SELECT reads_as, count(*) FROM loads WHERE reads_as <> $now GROUP BY reads_as ORDER BY reads_as", {"now": reads_as})
    )
