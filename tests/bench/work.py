"""The pieces of work the bench times, each run in a process of its own: `python work.py NAME JSON`.

Prints one JSON line: seconds of the work itself (imports and preparation not counted) and peak memory.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipelines.intake import load_files

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]
import plants  # noqa: E402  beside this file

SAME = 1e-9  # numbers of two ways to add up the same readings differ by rounding only


def floor(file: str, out: str, **_: object) -> dict[str, object]:
    """The least this machine does: polars reads the CSV as text, types it, writes Parquet."""
    import polars as pl

    def work() -> None:
        names = ["time", "tag", "value", "quality"]
        (
            pl.scan_csv(file, schema=dict.fromkeys(names, pl.String))
            .with_columns(
                pl.col("time").str.to_datetime("%Y-%m-%dT%H:%M:%S%.3fZ", time_unit="us", strict=False),
                pl.col("value").cast(pl.Float64, strict=False),
            )
            .sink_parquet(Path(out) / "floor.parquet", compression="zstd")
        )

    return timed(work)


def floor_wide(file: str, out: str, **_: object) -> dict[str, object]:
    """The floor for a wide file: all text, typed, Parquet (still wide)."""
    import polars as pl

    def work() -> None:
        names = pl.scan_csv(file, infer_schema=False).collect_schema().names()
        (
            pl.scan_csv(file, infer_schema=False)
            .with_columns(
                pl.col("time").str.to_datetime("%Y-%m-%d %H:%M:%S", time_unit="us", strict=False),
                *(pl.col(n).cast(pl.Float64, strict=False) for n in names if n != "time"),
            )
            .sink_parquet(Path(out) / "floor.parquet", compression="zstd")
        )

    return timed(work)


def duckdb_parquet(file: str, out: str, **_: object) -> dict[str, object]:
    """DuckDB's own way: CSV to Parquet with typed columns."""
    from pipelines.store import plant_store

    con = plant_store.connect()
    target = str(Path(out) / "duckdb.parquet")

    def work() -> None:
        con.execute(
            "COPY (SELECT * FROM read_csv($file, header = true, delim = ',', auto_detect = false, columns = "
            "{'time': 'TIMESTAMP', 'tag': 'VARCHAR', 'value': 'DOUBLE', 'quality': 'VARCHAR'})) TO '"
            + target
            + "' (FORMAT parquet, COMPRESSION zstd)",
            {"file": file},
        )

    return timed(work)


def intake(home: str, plant: str, as_of: str, **_: object) -> dict[str, object]:
    """Receive, check and store every file of the inbox."""
    import numpy.ma  # noqa: F401  polars imports it with its first array

    from pipelines.base.home import Home
    from pipelines.plant import loader
    from pipelines.store import Store

    where, when = Home(Path(home)), datetime.fromisoformat(as_of)
    plant_file = loader.load(where.plant_file(plant))
    kept: list[Any] = []

    def work() -> None:
        with Store(where.store(plant), plant) as opened:
            kept.extend(load_files.load_inbox(where, opened, plant_file, when)[0])

    result = timed(work)
    values = sum(r.values_kept for r in kept)
    return result | {
        "rows": sum(r.rows_read for r in kept),
        "kept": values,
        "store bytes a value": round(where.store(plant).stat().st_size / max(values, 1), 2),
        "reader": ",".join(sorted({str(r.reader) for r in kept})),
    }


def nightly(home: str, plants: list[str], as_of: str, **_: object) -> dict[str, object]:
    """The whole nightly of some plants, one after the other, as the command line runs it."""
    import numpy.ma  # noqa: F401  polars imports it with its first array

    from pipelines import align, check, compute, order, publish, receive, watch  # noqa: F401
    from pipelines.base.home import Home

    kept: list[Any] = []

    def work() -> None:
        kept.extend(order.nightly(Home(Path(home)), plant, datetime.fromisoformat(as_of).astimezone(UTC)) for plant in plants)

    result = timed(work)
    steps = {s.step: round(s.seconds, 3) for s in kept[-1].steps} | {"receipts": round(sum(r.seconds for r in kept[-1].receipts), 3)}
    rows = sum(r.rows_read for summary in kept for r in summary.receipts)
    return result | {"rows": rows, "steps": steps, "MB": _sizes(Home(Path(home)))}


def _sizes(home: Any) -> dict[str, float]:
    """Return what a home holds, in millions of bytes."""
    parts = {"archive": home.root / "archive", "stores": home.root / "store", "published file": home.database, "Parquet": home.parquet}
    return {
        name: round(sum(p.stat().st_size for p in ([at] if at.is_file() else at.rglob("*")) if p.is_file()) / 1e6, 1)
        for name, at in parts.items()
    }


def weekly(home: str, plant: str, as_of: str, **_: object) -> dict[str, object]:
    """The weekly page of the week that ended before `as_of`."""
    from pipelines import order, report  # noqa: F401
    from pipelines.base.home import Home

    return timed(lambda: order.weekly(Home(Path(home)), plant, as_of=datetime.fromisoformat(as_of)))


def questions(home: str, **_: object) -> dict[str, object]:
    """Every saved question once, from opening the file to the answer."""
    import questions as saved  # beside this file

    from pipelines.base.home import Home

    found: list[Any] = []
    result = timed(lambda: found.extend(saved.timed(Home(Path(home)), 1)))
    slowest = max(found, key=lambda row: row["best_s"])
    return result | {"questions": len(found), "slowest": slowest["question"], "slowest_s": round(slowest["best_s"], 3)}


def command(arguments: list[str], **_: object) -> dict[str, object]:
    """One command from the shell: Python's start and imports are part of it."""
    root = Path(__file__).resolve().parents[2]

    def work() -> None:
        done = subprocess.run([sys.executable, "-m", "pipelines", *arguments], cwd=root, capture_output=True, text=True, check=False)
        if done.returncode not in (0, 1):
            raise RuntimeError(done.stderr)

    return timed(work) | {"peak_mib": resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024}


def pandas_script(file: str, out: str, home: str, **_: object) -> dict[str, object]:
    """The careful script; its numbers must be those of the night that ran before it in the same home."""
    import careful_pandas

    from pipelines.base import units
    from pipelines.base.home import Home
    from pipelines.plant import loader
    from pipelines.store import plant_store

    where = Home(Path(home))
    roles = {}
    for s in loader.load(where.plant_file("bench")).signals:
        u = units.unit(s.unit)
        low, high = s.range or (0.0, 1.0)
        margin = 0.01 * (high - low) if s.range else 0.0
        roles[s.tag] = (s.line, s.role, u.factor, low - margin, high + margin)
    kept: list[Any] = []
    result = timed(lambda: kept.append(careful_pandas.night(Path(file), Path(out), roles, plants.FEED_TS_PCT)))
    con = plant_store.connect(where.database, read_only=True)
    columns = ["valid_minutes", "dry_solids_t", "polymer_active_kg", "mixing_dp_kpa", "energy_kwh", "dose_active_kg_t", "run_h"]
    for row in kept[0].to_dict("records"):
        ours = con.execute(
            f"SELECT {', '.join(columns)} FROM kpi_day WHERE line = ? AND operating_day = ?", [row["line"], row["day"]]
        ).fetchall()[0]
        for name, value in zip(columns, ours, strict=True):
            if not math.isclose(row[name], value, rel_tol=SAME):
                raise RuntimeError(f"{row['line']} {row['day']} {name}: pandas {row[name]!r}, flocledger {value!r}")
    return result | {"days equal": len(kept[0])}


def timed(work: Callable[[], object]) -> dict[str, object]:
    """Return seconds of the call and the peak memory of this process [MiB]."""
    start = time.perf_counter()
    work()
    seconds = time.perf_counter() - start
    status = Path("/proc/self/status").read_text(encoding="utf-8")  # getrusage would count the parent's memory at the fork
    return {"seconds": seconds, "peak_mib": int(status.partition("VmHWM:")[2].split()[0]) / 1024}


if __name__ == "__main__":
    # Python's own start and imports cost memory, not time, here.
    print(json.dumps(globals()[sys.argv[1]](**json.loads(sys.argv[2]))))
