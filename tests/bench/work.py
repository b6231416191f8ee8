"""The pieces of work the bench times, each run in a process of its own: `python work.py NAME JSON`.

Prints one JSON line: seconds of the work itself (imports and preparation not counted) and peak memory.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))


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
    from pipelines import store

    con = store.connect()
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
    from pipelines import align, check, compute, order, plantfile, publish, receive, watch  # noqa: F401
    from pipelines.home import Home
    from pipelines.store import Store

    where, when = Home(Path(home)), datetime.fromisoformat(as_of)
    plant_file = plantfile.load(where.plant_file(plant))
    kept: list[object] = []

    def work() -> None:
        with Store(where.store(plant), plant) as opened:
            kept.extend(order.intake(where, opened, plant_file, when)[0])

    return timed(work) | {
        "rows": sum(r.rows_read for r in kept),
        "kept": sum(r.values_kept for r in kept),
        "reader": ",".join(sorted({str(r.reader) for r in kept})),
    }


def nightly(home: str, plant: str, as_of: str, **_: object) -> dict[str, object]:
    """The whole nightly as the command line runs it."""
    from pipelines import align, check, compute, order, publish, receive, watch  # noqa: F401
    from pipelines.home import Home

    kept: list[object] = []

    def work() -> None:
        kept.append(order.nightly(Home(Path(home)), plant, datetime.fromisoformat(as_of).astimezone(UTC)))

    result = timed(work)
    summary = kept[0]
    return result | {
        "rows": sum(r.rows_read for r in summary.receipts),
        "steps": {s.step: round(s.seconds, 3) for s in summary.steps} | {"receipts": round(sum(r.seconds for r in summary.receipts), 3)},
    }


def timed(work: object) -> dict[str, object]:
    """Return seconds of the call and the peak memory of this process [MiB]."""
    start = time.perf_counter()
    work()  # type: ignore[operator]
    seconds = time.perf_counter() - start
    return {"seconds": seconds, "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}


if __name__ == "__main__":
    # Python's own start and imports cost memory, not time, here.
    print(json.dumps(globals()[sys.argv[1]](**json.loads(sys.argv[2]))))
