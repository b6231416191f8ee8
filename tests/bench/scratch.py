"""Files and homes of the bench below one folder: made once, homes copied fresh for each round."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, timedelta
from pathlib import Path

import plants

HERE = Path(__file__).resolve().parent
OLD = plants.START.timestamp()  # when files were last written to: long ago, so that they count as complete


@dataclass(frozen=True)
class Scratch:
    """The folder, and by how much every size is divided to show only that it runs."""

    folder: Path
    divisor: int = 1

    def file(self, name: str, write: Callable[[Path], object]) -> Path:
        """Return a file, made if it is not there."""
        path = self.folder / f"{self.divisor}" / name
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            partial = path.with_name(path.name + ".partial")
            write(partial)
            partial.replace(path)
        return path

    def long(self, rows: int, name: str = "long.csv", **how: object) -> Path:
        """Return a long file of about so many rows, 40 signals each second (each minute when sizes are divided by 60)."""
        return self.file(f"{rows}_{name}", lambda p: plants.write_long(p, rows // self.divisor, step_s=self.divisor, **how))  # type: ignore[arg-type]

    def home(self, *files: Path, plants_count: int = 1, count: int = 2, behind: Path | None = None) -> Path:
        """Return a new home whose inboxes hold copies of the files, or a copy of a home with history `behind` it."""
        home = self.folder / "home"
        shutil.rmtree(home, ignore_errors=True)
        if behind is not None:
            shutil.copytree(behind, home)
        for plant in self.plants(plants_count):
            plants.write_plant_file(home / "plants" / f"{plant}.toml", plant=plant, count=count)
            inbox = home / "inbox" / plant
            inbox.mkdir(parents=True, exist_ok=True)
            for file in files:
                target = inbox / file.name.partition("_")[2]
                shutil.copyfile(file, target)
                os.utime(target, (OLD, OLD))
        return home

    def answers(self, years: int) -> Path:
        """Return a home whose published file has so many years of minutes of three plants."""
        import questions

        from pipelines.base.home import Home

        home = Home(self.folder / f"{self.divisor}" / f"questions_{years}")
        if not home.database.exists():
            questions.build(home, years)
        return home.root

    @staticmethod
    def plants(count: int) -> list[str]:
        """Return so many plant ids."""
        return ["bench"] if count == 1 else [f"bench-{n}" for n in range(1, count + 1)]

    def history(self, days: int) -> Path:
        """Return a home with so many days of minute data (40 signals) and lab results behind it, already published."""
        kept = self.folder / f"{self.divisor}" / f"history_{days}"
        if not kept.exists():
            first = plants.START - timedelta(days=days)
            wide = self.file(f"{days}_wide_history.csv", lambda p: plants.write_wide(p, days * 1440 // self.divisor, first=first))
            lab = self.file(f"{days}_lab_history.csv", lambda p: plants.write_lab(p, days, first=first))
            home = self.home(wide, lab)
            as_of = plants.START.astimezone(UTC).isoformat()
            command = [sys.executable, str(HERE / "work.py"), "nightly", f'{{"home": "{home}", "plants": ["bench"], "as_of": "{as_of}"}}']
            subprocess.run(command, check=True, capture_output=True)
            shutil.move(home, kept)
        return kept
