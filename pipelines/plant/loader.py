"""Read a plant file from disk: checked, or refused with line, key, value and remedy."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pipelines.base.home import Home
from pipelines.plant.model import PlantFile


def file_id(path: Path) -> str:
    """Return the first 16 hex digits of the SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def of_plant(home: Home, plant_id: str) -> PlantFile:
    """Read and check the plant file of a plant; PlantFileError also when it is another plant's (`id` is not the file's name)."""
    from pipelines.base.errors import PlantFileError

    path = home.plant_file(plant_id)
    found = load(path)
    if found.plant.id != plant_id:
        remedy = f"rename the file to {found.plant.id}.toml, or write id = {plant_id!r}; inbox, store and tables go by it"
        problem = f"is not the name of the file, {path.name}"
        raise PlantFileError(path=str(path), line=None, key="plant.id", value=found.plant.id, problem=problem, remedy=remedy)
    return found


def load(path: Path) -> PlantFile:
    """Read and check a plant file; PlantFileError names line, key, value and remedy."""
    from pipelines.plant import error_messages

    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise error_messages.unreadable(path, error) from error
    return of_text(text, path)


def of_text(text: str, path: Path) -> PlantFile:
    """Check the text of a plant file; `path` names it in errors (PlantFileError)."""
    import tomllib

    from pydantic import ValidationError

    from pipelines.plant import error_messages

    try:
        return PlantFile.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise error_messages.not_toml(path, text, error) from error
    except ValidationError as error:
        raise error_messages.explained(path, text, error) from error
