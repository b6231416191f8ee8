"""Files shipped with the code: SQL, page templates, sample plants; the same from a checkout, an editable install and a wheel."""

from __future__ import annotations

from pathlib import Path

_TOP = Path(__file__).resolve().parents[2]  # the checkout, or the site folder that holds all the packages


def folder(package: str) -> Path:
    """Return the folder of a shipped package ("sql", "sample_data", "pipelines.report")."""
    path = _TOP.joinpath(*package.split("."))
    if not path.is_dir():
        raise FileNotFoundError(f"{package} is not installed beside pipelines: {path}")
    return path


def sql_files(kind: str) -> list[Path]:
    """Return the SQL files of one kind (tables, macros, views, checks, questions), sorted by name."""
    return sorted((folder("sql") / kind).glob("*.sql"))
