"""Check readings, results, histories and set-aside rows against their schemas before writing.

The one-row bookkeeping of a load (`loads`, `load_days`) is left to the types and NOT NULLs of the tables themselves.
"""

from __future__ import annotations

import polars as pl

from pipelines.store import Store
from pipelines.store.schema_check import require_schema

__all__ = ["append", "require_schema", "upsert"]


def append(store: Store, table: str, frame: pl.DataFrame) -> None:
    """Check a frame and insert it."""
    require_schema(store.plant, table, frame)
    store.append(table, frame)


def upsert(store: Store, table: str, frame: pl.DataFrame) -> None:
    """Check a frame and insert it over rows of equal key."""
    require_schema(store.plant, table, frame)
    store.upsert(table, frame)
