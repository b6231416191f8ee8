"""Every object of `sql/` against rows worked out by hand, one folder an object.

`tests/sql/<object>/cases.csv` (macros): columns named as the arguments, `expected`, `tolerance` (relative; 0 means equal), `note`.
`tests/sql/<object>/[<case>/]expected.csv` (tables, views, table macros): beside it one CSV an input table with the columns that
matter, the rest gets the defaults below; `inputs.txt` names the case whose inputs are shared; `work.<table>.csv` fills a work
table; `where.txt` says which of the rows made are compared; `arguments.txt` is what a table macro is called with. A row of minutes.csv stands for `repeat` minutes. A role given
without its coverage is covered; a sample without `to_utc` was taken at `from_utc`. NOTES.md has the working.
"""

from __future__ import annotations

import csv
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import compute
from pipelines.base import resources
from pipelines.store import Store, connect
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES
from schemas.roles import ROLES

HERE = Path(__file__).parent
WEEK_START = 1
NOON = "2026-01-05 12:00:00+00"
DEFAULTS: dict[str, dict[str, Any]] = {
    "line_settings": {
        "line": "line-1", "plant_name": "P", "line_name": "L", "time_zone": "UTC", "operating_day_start_h": 0, "week_start": WEEK_START, "units": "SI",
        "currency": "EUR", "device": "belt press", "pump_kind": "rotodynamic", "startup_min": 15, "feed_cutoff_m3_h": 5, "polymer_cutoff_m3_h": 0.002,
        "sludge_sg": 1.0, "polymer_meter": "neat", "reference_flow_m3_h": 90, "pump_elevation_m": 0, "mixing_elevation_m": 0, "solids_hold_tau_h": 36,
        "solids_hold_limit_h": 72, "dilution_counted": "polymer and wash",
    },
    "polymers": {"line": "line-1", "from_utc": "2000-01-01 00:00+00", "to_utc": "2100-01-01 00:00+00", "product": "x", "form": "emulsion",
                 "density_kg_m3": 1000, "active_fraction": 0.4, "solution_strength_pct": 0.5},
    "prices": {"from_utc": "2000-01-01 00:00+00", "to_utc": "2100-01-01 00:00+00"},
    "minutes": {"line": "line-1", "state": "processing", "is_uncertain": False},
    "lab_results": {"line": "line-1", "time_basis": "day", "is_used": True, "replicates": 1, "revision": 1, "unit": "-", "reported_utc": NOON,
                    "load_id": "lab", "line_no": 1},
    "load_days": {},
    "loads": {"rows_exact": 0},
    "line_limits": {"line": "line-1", "pump": "P-1", "data_layouts": 1},
    "pump_baselines": {"line": "line-1", "pump": "P-1", "from_utc": "1900-01-01 00:00+00", "to_utc": "9999-01-01 00:00+00"},
    "pump_spans": {"line": "line-1", "pump": "P-1", "from_utc": "1900-01-01 00:00+00", "to_utc": "9999-01-01 00:00+00", "pump_kind": "rotodynamic",
                   "pump_elevation_m": 0},
    "pump_weeks": {"line": "line-1", "pump": "P-1", "processing_minutes": 0, "index_minutes": 0, "index_days": 0, "system_minutes": 0, "data_version": "v"},
    "uncertainty_inputs": {"line": "line-1", "from_utc": "2000-01-01 00:00+00", "to_utc": "2100-01-01 00:00+00", "systematic_pct": 0, "systematic_abs": 0,
                           "random_pct": 0, "random_abs": 0, "tau_h": 0, "unit": "-", "basis": "default"},
    "runs": {"line": "line-1", "run_h": 1, "processing_h": 1, "is_open": False, "start_known": True},
    "flags": {"line": "line-1", "cause_id": "f", "detector": "d", "severity": "note", "sentence": "s", "suggestion": "s", "evidence": "{}", "minutes": 1, "data_version": "v"},
}  # fmt: skip
KPI_DEFAULTS = {
    "line": "line-1",
    "period_start_utc": NOON,
    "period_end_utc": NOON,
    "lost_minutes": 0,
    "is_provisional": False,
    "data_version": "v",
}
CASES = sorted(p.parent for p in HERE.rglob("expected.csv"))
MACRO_CASES = sorted(HERE.glob("*/cases.csv"))


def read(path: Path) -> list[dict[str, str | None]]:
    with path.open(encoding="utf-8", newline="") as text:
        return [{k: v or None for k, v in row.items()} for row in csv.DictReader(line for line in text if not line.startswith("#"))]


def minutes_of(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Expand `repeat`, and cover the roles that are given."""
    out = []
    for row in rows:
        start = datetime.fromisoformat(row["minute_utc"]).astimezone(UTC)
        covered = {r.coverage: 1.0 for r in ROLES.values() if row.get(r.column) is not None and row.get(r.coverage) is None}
        plain = {k: v for k, v in row.items() if k not in ("repeat", "minute_utc")}
        for k in range(int(row.get("repeat") or 1)):
            at = start + timedelta(minutes=k)
            out.append(
                {"operating_day": at.date().isoformat()} | covered | {k: v for k, v in plain.items() if v is not None} | {"minute_utc": at}
            )
    return out


def insert(con: Any, table: str, rows: list[dict[str, Any]], defaults: dict[str, Any]) -> None:
    """Insert rows by column name; the table's own types decide how texts are read."""
    types = dict(con.execute(f"SELECT column_name, column_type FROM (DESCRIBE {table})").fetchall())
    filled = []
    for row in rows:
        assert set(row) <= set(types), f"{table} has no {set(row) - set(types)}"
        filled.append({c: {**defaults, **{k: v for k, v in row.items() if v is not None}}.get(c) for c in types})
    zero = {c for c, t in types.items() if t == "INTEGER"} if "processing_minutes" in types else set()
    texts = {c: [None if v is None else str(v) for r in filled for v in [r[c] if r[c] is not None or c not in zero else 0]] for c in types}
    con.register("incoming", pl.DataFrame(texts, schema=dict.fromkeys(types, pl.String)))
    con.execute(f"INSERT INTO {table} SELECT {', '.join(f'CAST({c} AS {t})' for c, t in types.items())} FROM incoming")
    con.unregister("incoming")


def sources(case: Path) -> Path:
    shared = case / "inputs.txt"
    return HERE / shared.read_text(encoding="utf-8").strip() if shared.exists() else case


def days_at_hand(store: Store) -> None:
    """Put every day of minutes at hand, as the runner does."""
    days = [r[0] for r in store.rows("SELECT DISTINCT operating_day FROM minutes ORDER BY 1")]
    span = (days[0], days[-1]) if days else (date.max, date.min)
    compute.days_to_work(store, WEEK_START, days, span)


def _span(line: dict[str, Any]) -> dict[str, Any]:
    """Return the span of a line that has its own pump always, with the kind and gauges of its settings."""
    return {key: line.get(key) for key in ("line", "pump_kind", "pump_elevation_m", "suction_pipe_m", "discharge_pipe_m")}


def fill(store: Store, case: Path) -> None:
    given = {p.stem: read(p) for p in sorted(case.glob("*.csv")) if p.stem not in ("expected", "cases") and not p.stem.startswith("work.")}
    given.setdefault("line_settings", [{}])
    given.setdefault("polymers", [{}])
    given.setdefault("line_limits", [{"line": r.get("line")} for r in given["line_settings"]])
    given.setdefault("pump_spans", [_span(r) for r in given["line_settings"]])
    given.setdefault("pump_baselines", [{"line": r.get("line"), "no_reference": "none"} for r in given["line_settings"]])
    for table, rows in given.items():
        rows = minutes_of(rows) if table == "minutes" else rows
        if table == "lab_results":
            rows = [
                {"sample_id": f"s{i}", "to_utc": r["from_utc"], **{k: v for k, v in r.items() if v is not None}} for i, r in enumerate(rows)
            ]
        insert(store.con, f"main.{table}", rows, {"plant": "p", **DEFAULTS.get(table, KPI_DEFAULTS)})


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Any:
    with Store(tmp_path_factory.mktemp("cases") / "p.duckdb", "p") as made:
        create_macros_and_views(made.con)
        yield made


def clean(store: Store) -> None:
    for table in TABLES.values():
        if table.view is None:
            store.con.execute(f"DELETE FROM main.{table.name}")


def needed(*texts: str) -> tuple[str, ...]:
    """Return the tables of `work` that SQL reads from, and those they are made from, in the order of the runner."""
    folder, found, waiting = resources.folder("sql") / "tables", set[str](), list(texts)
    while waiting:
        new = compute.table_build.reads_from(waiting.pop()) - found
        found |= new
        waiting += [path.read_text(encoding="utf-8") for name in new if (path := folder / f"{name}.sql").exists()]
    return tuple(name for name in compute.table_build.TABLES if name in found)


def made_by(store: Store, case: Path, monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """Make the object of a case, and what it reads from, and return its rows, in the columns of expected.csv, as text."""
    name = case.relative_to(HERE).parts[0]
    columns = ", ".join(read_header(case / "expected.csv"))
    where = (case / "where.txt").read_text(encoding="utf-8").strip() if (case / "where.txt").exists() else "true"
    clean(store)
    fill(store, sources(case))
    days_at_hand(store)
    work = sorted(sources(case).glob("work.*.csv"))
    monkeypatch.setattr(compute.table_build, "TABLES", needed(f"work.{name}", *(path.stem for path in work)))
    compute.make_all(store)
    monkeypatch.undo()
    for path in work:
        store.con.execute(f"DELETE FROM {path.stem}")
        insert(store.con, path.stem, read(path), {"plant": "p", **KPI_DEFAULTS})
    view = name in {p.stem for p in resources.sql_files("views")}
    if (case / "arguments.txt").exists():
        source = f"{name}({(case / 'arguments.txt').read_text(encoding='utf-8').strip()})"
    elif name in compute.table_build.TABLES:
        if work:
            store.con.execute((resources.folder("sql") / "tables" / f"{name}.sql").read_text(encoding="utf-8"))
        source = f"work.{name}"
    else:
        source = name if view else f"{name}('{work[0].stem}')"
    return store.rows(f"SELECT COLUMNS(*)::VARCHAR FROM (SELECT {columns} FROM {source} WHERE {where}) ORDER BY ALL")


def read_header(path: Path) -> list[str]:
    with path.open(encoding="utf-8", newline="") as text:
        return next(csv.reader(line for line in text if not line.startswith("#")))


def same(found: str | None, wanted: str | None) -> bool:
    found = found or None  # a CSV cannot tell an empty text from none
    if found is None or wanted is None:
        return found is None and wanted is None
    try:
        return float(found) == pytest.approx(float(wanted), rel=1e-8, abs=1e-12)
    except ValueError:
        return found == wanted


@pytest.mark.parametrize("case", CASES, ids=lambda p: str(p.relative_to(HERE)))
def test_rows_worked_out_by_hand(store: Store, case: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wanted = [tuple(row.values()) for row in read(case / "expected.csv")]
    found = made_by(store, case, monkeypatch)
    assert len(found) == len(wanted), found
    header = read_header(case / "expected.csv")
    wrong = [
        f"{dict(zip(header[:2], w, strict=False))}: {c} is {x}, by hand {y}"
        for f, w in zip(found, wanted, strict=True)
        for c, x, y in zip(header, f, w, strict=True)
        if not same(x, y)
    ]
    assert wrong == []


def literal(text: str | None) -> str:
    if text is None:
        return "NULL"
    return text if re.fullmatch(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?|true|false", text) else "'" + text.replace("'", "''") + "'"


@pytest.mark.parametrize("path", MACRO_CASES, ids=lambda p: p.parent.name)
def test_macro_gives_the_expected_value(store: Store, path: Path) -> None:
    rows = read(path)
    assert rows
    arguments = [c for c in rows[0] if c not in ("expected", "tolerance", "note")]
    for row in rows:
        call = f"SELECT {path.parent.name}({', '.join(literal(row[a]) for a in arguments)})"
        found = store.rows(call)[0][0]
        if row["expected"] is None or found is None or row["expected"] in ("true", "false"):
            assert (None if found is None else str(found).lower()) == row["expected"], f"{call}: {row['note']}"
        else:
            assert float(found) == pytest.approx(float(row["expected"]), rel=float(row["tolerance"] or 1e-9), abs=0.0), (
                f"{call}: {row['note']}"
            )


def test_every_object_has_a_case_folder_and_every_folder_an_object() -> None:
    objects = {p.stem for kind in ("tables", "views", "macros") for p in resources.sql_files(kind)}
    cased = {p.relative_to(HERE).parts[0] for p in CASES} | {p.parent.name for p in MACRO_CASES}
    assert objects - cased == set()
    assert cased - objects == set()


def test_table_files_are_in_the_order_of_compute() -> None:
    assert sorted(compute.table_build.TABLES) == [p.stem for p in resources.sql_files("tables")]


def test_views_have_the_columns_their_descriptions_promise() -> None:
    from schemas.views.registry import VIEWS

    con = connect()
    for table in TABLES.values():
        con.execute(table.ddl())
    create_macros_and_views(con)
    assert sorted(VIEWS) == [p.stem for p in resources.sql_files("views")]
    for view in VIEWS.values():
        assert tuple(r[0] for r in con.execute(f"DESCRIBE {view.name}").fetchall()) == view.column_names, view.name
    con.close()


def test_every_sql_file_says_what_it_is() -> None:
    for kind in ("tables", "views", "macros"):
        for path in resources.sql_files(kind):
            head = "\n".join(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("--")).lower()
            for word in ("question:", "unit:", "formula:", "source:", "known limits:", *(("grain:",) if kind != "macros" else ())):
                assert f"-- {word}" in head, f"{path.name} lacks {word}"
