"""Times every saved question: `python tests/bench/questions.py [--years 3] [--rounds 3] [--json FILE] [--keep FOLDER]`.

Builds a published file of three plants, a line each, with a row for every minute of the years, by plain SQL into the published tables
(not through the pipeline: minutes instead of hours), then asks each question as `flocledger ask` does, from opening the file to the
frame, over all the years. Prints best and median seconds; the bounds are 1 s a question and 5 s for all of them.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from pipelines import ask
from pipelines.ask import questions
from pipelines.base.home import Home
from pipelines.publish import describe
from pipelines.publish.database import STORAGE_VERSION
from pipelines.store import connect
from schemas import TABLES

PLANTS = ("alder-fork", "sorrel-draw", "brenholm")
FIRST = date(2023, 1, 1)
ONE_S, ALL_S = 1.0, 5.0
_BY_TYPE = {
    "text": "'x'", "double": "5 + (hash({salt}, i) % 1000) / 500.0", "int": "(hash({salt}, i) % 500)::INTEGER", "bigint": "1", "code": "0",
    "bool": "false", "date": "day", "instant": "day::TIMESTAMPTZ",
}  # fmt: skip
KEY = {"plant": "plant", "line": "'line-1'", "operating_day": "day", "data_version": "'v'"}
KPI = {**KEY, "is_provisional": "i % 50 = 0", "dose_reason": "NULL", "capture_reason": "NULL", "processing_minutes": "480", "valid_minutes": "470",
       "dry_solids_t": "10 + (hash(i) % 100) / 20.0", "polymer_active_kg": "(10 + (hash(i) % 100) / 20.0) * (8 + (hash(i, 1) % 100) / 50.0)",
       "dose_active_kg_t": "8 + (hash(i, 1) % 100) / 50.0", "feed_ts_pct": "2.4 + (hash(i, 2) % 100) / 200.0", "cake_ts_pct": "21 + (hash(i, 3) % 100) / 50.0",
       "capture_pct": "94 + (hash(i, 4) % 100) / 50.0", "mixing_dp_ref_method": "'scaled'", "missed_share": "0.02"}  # fmt: skip
ALWAYS = {"from_utc": "TIMESTAMPTZ '1900-01-01 00:00:00+00'", "to_utc": "TIMESTAMPTZ '9999-01-01 00:00:00+00'"}
ROLE = "(['sludge_flow', 'polymer_neat_flow', 'pump_power', 'pump_run', 'mixing_upstream_pressure'])[1 + i % 5]"


def rows_of(days: int) -> dict[str, tuple[str, dict[str, str]]]:
    """Return table -> (source of its rows with columns plant, day, i; what differs from the filling by type)."""
    plants = f"(SELECT unnest([{', '.join(repr(p) for p in PLANTS)}]) AS plant) p"

    def each(unit: str, times: int) -> str:
        return (
            f"(SELECT plant, i, (DATE '{FIRST}' + (i // {times})::INTEGER)::DATE AS day FROM {plants}, range({days * times}) {unit}(i)) s"
        )

    daily = each("d", 1)
    weekly = f"(SELECT plant, i * 7 AS i, (DATE '{FIRST + timedelta(days=1)}' + (7 * i)::INTEGER)::DATE AS day FROM {plants}, range({days // 7}) w(i)) s"
    at = "day::TIMESTAMPTZ + to_minutes((i % 1440)::INTEGER)"
    state = (
        "CASE WHEN i % 1440 BETWEEN 420 AND 900 THEN 'processing' WHEN i % 1440 BETWEEN 400 AND 419 THEN 'idle running' ELSE 'stopped' END"
    )
    flow, up = "75 + (hash(i) % 3000) / 100.0", "200 + (hash(i, 1) % 4000) / 100.0"
    minute = {**KEY, "minute_utc": at, "state": state, "shift": "'day'", "sludge_flow_m3_h": flow, "mixing_upstream_pressure_kpa": up,
              "mixing_downstream_pressure_kpa": "20.0", "pump_speed_rpm": "1200.0", "pump_discharge_pressure_kpa": up, "pump_suction_pressure_kpa": "20.0"}  # fmt: skip
    settings = {**KEY, "plant_name": "plant", "time_zone": "'UTC'", "week_start": "1", "units": "'US'", "pump_kind": "'rotodynamic'", "sludge_sg": "1.0",
                "polymer_meter": "'neat'", "reference_flow_m3_h": "90.0", "suction_pipe_m": "NULL", "discharge_pipe_m": "NULL", "pump_elevation_m": "1.0"}  # fmt: skip
    flag = {**KEY, "flag_id": "format('f{}', i)", "detector": f"'on ' || {ROLE}", "start_utc": at, "end_utc": f"{at} + INTERVAL 20 MINUTE",
            "severity": "'note'", "disposition": "CASE WHEN i % 3 = 0 THEN 'confirmed' END", "evidence": "'{}'"}  # fmt: skip
    sample = {**KEY, "sample_id": "format('s{}', i)", "point": "(['feed', 'cake', 'filtrate'])[1 + i % 3]", "analyte": "CASE i % 3 WHEN 2 THEN 'tss' ELSE 'ts' END",
              "from_utc": at, "to_utc": at, "time_basis": "'stated'", "crew": "(['A', 'B', 'C'])[1 + day.day() % 3]", "is_used": "true", "qualifier": "NULL",
              "replicates": "1", "revision": "1", "unit": "'%'", "line_no": "i + 1"}  # fmt: skip
    history = {**KPI, "version": "(1 + i % 2)::INTEGER", "known_from_utc": "day::TIMESTAMPTZ + to_days((1 + 2 * (i % 2))::INTEGER)", "change": "CASE i % 2 WHEN 0 THEN 'first published' ELSE 'revised' END",
               "is_provisional": "i % 2 = 0", "known_through_seq": "i::INTEGER"}  # fmt: skip
    return {
        "line_settings": (f"(SELECT plant, 0 AS i, DATE '{FIRST}' AS day FROM {plants}) s", settings),
        "polymers": (f"(SELECT plant, 0 AS i, DATE '{FIRST}' AS day FROM {plants}) s", {**KEY, **ALWAYS, "active_fraction": "0.4"}),
        "prices": (f"(SELECT plant, 0 AS i, DATE '{FIRST}' AS day FROM {plants}) s", {**KEY, **ALWAYS}),
        "minutes": (each("m", 1440), minute),
        "kpi_day": (daily, KPI),
        "kpi_week": (weekly, {**KPI, "week_start_day": "day", "iso_week": "strftime(day + 3, '%G-W%V')"}),
        "kpi_rolling": (each("r", 5), {**KPI, "window_name": "(['1 h', '8 h', '24 h', '7 d', '28 d'])[1 + i % 5]"}),
        "runs": (each("r", 2), {**KEY, "start_utc": at, "run_h": "0.1 + i % 8"}),
        "data_quality": (each("q", 20), {**KEY, "role": ROLE, "processing_minutes": "480"}),
        "flags": (each("f", 2), flag),
        "lab_results": (each("s", 9), sample),
        "loads": (each("l", 2), {**KEY, "load_id": "format('l{}', i)", "file_name": "format('f{}.csv', i)", "first_utc": "CASE i % 2 WHEN 0 THEN day::TIMESTAMPTZ END", "received_seq": "i::INTEGER + 1"}),
        "load_days": (each("l", 2), {**KEY, "load_id": "format('l{}', i)"}),
        "set_aside": (each("a", 10), {**KEY, "load_id": "format('l{}', i // 5)", "line_no": "i", "reason": "'text in number'"}),
        "uncertainty_inputs": (f"(SELECT plant, i, DATE '{FIRST}' AS day FROM {plants}, range(20) q(i)) s", {**KEY, **ALWAYS, "quantity": "format('q{}', i)"}),
        "kpi_day_history": (each("h", 2), history),
    }  # fmt: skip


def build(home: Home, years: int) -> dict[str, int]:
    """Write the published file; returns rows per table."""
    home.published.mkdir(parents=True)
    days, counts = 365 * years, {}
    con = connect()
    con.execute(f"ATTACH '{home.database}' AS pub (STORAGE_VERSION '{STORAGE_VERSION}')")
    filled = rows_of(days)
    for table in (t for t in TABLES.values() if t.published and t.name not in ("readings", "dictionary")):
        con.execute(table.ddl("pub.main"))
        if table.name in filled:
            source, exact = filled[table.name]
            cells = [
                exact.get(c.name, _BY_TYPE[c.type].format(salt=n) if not c.name.endswith("_coverage") else "1.0")
                for n, c in enumerate(table.columns)
            ]
            order = ", ".join(table.key)
            found = con.execute(f"INSERT INTO pub.main.{table.name} SELECT {', '.join(f'{x} AS {c.name}' for x, c in zip(cells, table.columns, strict=True))} FROM {source} ORDER BY {order}")  # fmt: skip
            counts[table.name] = int(found.fetchall()[0][0])
    con.execute("CHECKPOINT pub")
    con.close()
    describe.write(home.database)
    return counts


def given(question: questions.Question) -> dict[str, str]:
    """Return parameters that reach over all the years."""
    wide = {"since": FIRST.isoformat(), "change": (FIRST + timedelta(days=500)).isoformat(), "day": (FIRST + timedelta(days=600)).isoformat(), "date": (FIRST + timedelta(days=900)).isoformat()}  # fmt: skip
    return {p.name: wide[p.name] for p in question.parameters if p.name in wide}


def timed(home: Home, rounds: int) -> list[dict[str, Any]]:
    """Ask every question, rounds interleaved."""
    seconds: dict[str, list[float]] = {}
    rows: dict[str, int] = {}
    for _ in range(rounds):
        for name, question in questions.saved().items():
            begun = time.perf_counter()
            rows[name] = ask.run(home, name, given(question)).height
            seconds.setdefault(name, []).append(time.perf_counter() - begun)
    return [{"question": n, "best_s": min(s), "median_s": statistics.median(s), "rows": rows[n]} for n, s in seconds.items()]


def main() -> None:
    """Build, time, print, and say whether the bounds hold."""
    wanted = argparse.ArgumentParser(description=__doc__)
    wanted.add_argument("--years", type=int, default=3)
    wanted.add_argument("--rounds", type=int, default=3)
    wanted.add_argument("--json", type=Path)
    wanted.add_argument("--keep", type=Path, help="folder to leave the file in, or to find it in")
    args = wanted.parse_args()
    folder = args.keep or Path(tempfile.mkdtemp(prefix="flocledger-questions-"))
    home = Home(folder)
    if not home.database.exists():
        begun = time.perf_counter()
        counts = build(home, args.years)
        print(
            f"built in {time.perf_counter() - begun:.0f} s: {counts['minutes']:,} minutes, {home.database.stat().st_size / 2**20:.0f} MiB",
            flush=True,
        )
    found = timed(home, args.rounds)
    print(f"{'question':28} {'best s':>7} {'median s':>9} {'rows':>8}")
    for row in sorted(found, key=lambda r: -r["best_s"]):
        print(f"{row['question']:28} {row['best_s']:7.2f} {row['median_s']:9.2f} {row['rows']:8}")
    total, slow = sum(r["best_s"] for r in found), [r["question"] for r in found if r["best_s"] >= ONE_S]
    print(f"sum of best {total:.2f} s (bound {ALL_S:g}); at or over {ONE_S:g} s: {', '.join(slow) or 'none'}")
    if args.json:
        args.json.write_text(json.dumps(found, indent=1), encoding="utf-8")
    if not args.keep:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
