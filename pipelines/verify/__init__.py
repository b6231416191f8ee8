"""Verify a plant file by its first days: what the files, as declared, say of the plant, as a table and one picture a line.

Reads the plant file and the store; writes the pictures only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.store import connect
from pipelines.verify.checks import Finding, LineData, findings


@dataclass(frozen=True)
class Verified:
    """The findings of all lines and where their pictures are."""

    findings: tuple[Finding, ...]
    pictures: tuple[Path, ...]


def run(home: Home, plant_id: str, folder: Path, *, days: int = 7, own: dict[str, dict[str, float]] | None = None) -> Verified:
    """Verify the first `days` operating days with readings; `own`: line -> check -> the plant's own figure. DataMissingError without minutes."""
    from pipelines.verify import picture

    plant_file = loader.of_plant(home, plant_id)
    found: list[Finding] = []
    pictures = []
    for data in read(home, plant_file, days):
        found += findings(data, plant_file, (own or {}).get(data.line.id, {}))
        pictures.append(picture.write(data, plant_file, folder / f"{plant_id}_{data.line.id}_first_days.png"))
    return Verified(tuple(found), tuple(pictures))


def read(home: Home, plant_file: PlantFile, days: int) -> Sequence[LineData]:
    """Return the first days of each line that has any."""
    con = connect(home.store(plant_file.plant.id), read_only=True)
    try:
        found = []
        for line in plant_file.lines:
            first = con.execute("SELECT min(operating_day) FROM minutes WHERE line = $l", {"l": line.id}).fetchall()[0]
            if first[0] is None:
                continue
            span = {"l": line.id, "a": first[0], "b": first[0] + timedelta(days=days - 1)}
            where = "WHERE line = $l AND operating_day BETWEEN $a AND $b"
            minutes = con.sql(f"SELECT * FROM minutes {where} ORDER BY minute_utc", params=span).pl()
            results = con.sql(
                f"SELECT point, analyte, value, from_utc, to_utc, half_width_h FROM lab_results {where} AND is_used AND value IS NOT NULL ORDER BY from_utc",
                params=span,
            ).pl()
            used = minutes.select(c for c in minutes.columns if minutes[c].null_count() < minutes.height)
            found.append(LineData(line, used, results, used["operating_day"].n_unique()))
    finally:
        con.close()
    if not found:
        raise DataMissingError(
            f"no line of {plant_file.plant.id} has minutes",
            remedy="run `flocledger nightly` with files in its inbox first",
        )
    return found
