"""The store of a plant: the only place that opens DuckDB, its migrations, schema checks and SQL files."""

from pipelines.store.plant_store import Store, connect

__all__ = ["Store", "connect"]
