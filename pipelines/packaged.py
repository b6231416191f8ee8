"""Files that ship inside the package: SQL, page templates, sample plants. Same from a checkout and a wheel."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def folder(package: str) -> Path:
    """Return the folder of a shipped package ("sql", "sample_data", "pipelines.report")."""
    resource = files(package)
    for part in getattr(resource, "_paths", [resource]):  # a namespace package lists its parts
        path = Path(str(part))
        if path.is_dir():
            return path
    raise FileNotFoundError(package)


def sql_files(kind: str) -> list[Path]:
    """Return the SQL files of one kind (tables, macros, views, checks, questions), sorted by name."""
    return sorted((folder("sql") / kind).glob("*.sql"))
