"""Paths below the home folder (`--home`, else FLOCLEDGER_HOME, else ./flocledger-home)."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from pipelines.base.errors import UsageError


@dataclass(frozen=True)
class Home:
    """Paths of one installation; nothing is written outside `root`."""

    root: Path

    @classmethod
    def resolve(cls, given: str | os.PathLike[str] | None = None) -> Home:
        """Return the home named by the argument, the environment, or the working folder, in that order; UsageError when it cannot be."""
        chosen = given or os.environ.get("FLOCLEDGER_HOME") or "flocledger-home"
        try:
            return cls(Path(chosen).expanduser().resolve())
        except (RuntimeError, OSError) as error:  # no such user; no working folder any more
            raise UsageError(f"the home folder {str(chosen)!r} cannot be found: {error}", remedy="name another with --home") from None

    def plant_file(self, plant: str) -> Path:
        return self.root / "plants" / f"{plant}.toml"

    @property
    def plans(self) -> Path:
        """Return the folder of the plans of comparisons."""
        return self.root / "plans"

    def dispositions(self, plant: str) -> Path:
        """Return the file of decisions on set-aside rows and flags; it lies beside the plant file and outlives the store."""
        return self.root / "plants" / f"{plant}.dispositions.jsonl"

    def ledger(self, plant: str) -> Path:
        """Return the copy of the ledger of published versions; it lies beside the plant file, where a backup of it finds it."""
        return self.root / "plants" / f"{plant}.ledger.parquet"

    def inbox(self, plant: str) -> Path:
        return self.root / "inbox" / plant

    def archive(self, plant: str) -> Path:
        return self.root / "archive" / plant

    def store(self, plant: str) -> Path:
        return self.root / "store" / f"{plant}.duckdb"

    @property
    def published(self) -> Path:
        return self.root / "published"

    @property
    def database(self) -> Path:
        """Return the small published file of all plants: views over their Parquet files, and the dictionary."""
        return self.published / "flocledger.duckdb"

    def published_plant(self, plant: str) -> Path:
        """Return the published file of one plant: its tables with views and macros, complete in itself."""
        return self.published / "plants" / f"{plant}.duckdb"

    def published_of(self, plant: str) -> Path:
        """Return the file to read a plant from: its own, or the file of all plants where an earlier version published it."""
        own = self.published_plant(plant)
        return own if own.exists() else self.database

    @property
    def publish_lock(self) -> Path:
        return self.published / ".publish.lock"

    @property
    def parquet(self) -> Path:
        return self.published / "parquet"

    def reports(self, plant: str) -> Path:
        return self.published / "reports" / plant

    def outbox(self, plant: str) -> Path:
        """Return the folder of the mail outbox: messages waiting to be sent, and the state of those sent."""
        return self.root / "outbox" / plant

    def runs(self, plant: str) -> Path:
        """Return the folder of run summaries (one JSON a run)."""
        return self.root / "runs" / plant

    @property
    def health(self) -> Path:
        """Return the file that says how all plants are, for the site's monitor."""
        return self.root / "health.json"

    def plants(self) -> list[str]:
        """Return the ids of all plants that have a plant file, sorted."""
        return sorted(p.stem for p in (self.root / "plants").glob("*.toml"))
