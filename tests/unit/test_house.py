"""The order of the house, checked by walking the source: who imports whom, who opens DuckDB, who reads the clock.

The table in DEVELOPERS.md ("The map") is the rule; an arrow that is not in it fails here.
"""

from __future__ import annotations

import ast
import graphlib
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from schemas import TABLES

ROOT = Path(__file__).resolve().parents[2]
SHIPPED = sorted(p for top in ("pipelines", "schemas", "sample_data") for p in (ROOT / top).rglob("*.py"))
ALL = [*SHIPPED, *sorted((ROOT / "tests").rglob("*.py"))]

STEPS = {"receive", "check", "align", "compute", "watch", "compare", "publish", "report"}
GROUND = ("base", "plant", "files", "store", "runs", "decisions")  # each may use those before it
MAY: dict[str, set[str]] = {  # who may import what, within pipelines; steps and what lies above them may use the whole ground floor
    **{place: set(GROUND[:n]) for n, place in enumerate(GROUND)},
    **{step: set(GROUND) for step in STEPS},
    "intake": {*GROUND, "receive", "check"},
    "inspect": {*GROUND, "receive"},
    "verify": set(GROUND),
    "trace": {*GROUND, "receive"},
    "trace_comparison": set(GROUND),
    "ask": set(GROUND),
    "manual": set(GROUND),
    "status": {*GROUND, "intake"},
    "mail": {*GROUND, "report"},
    "order": {*GROUND, *STEPS, "intake", "mail"},
    "demo": {*GROUND, "order"},
    "flows": {*GROUND, "order", "status", "mail"},
    "cli": {
        *GROUND,
        "order",
        "compute",
        "watch",
        "compare",
        "demo",
        "status",
        "trace",
        "trace_comparison",
        "ask",
        "inspect",
        "verify",
        "flows",
        "publish",
        "manual",
    },
    "__main__": {"cli"},
}


def room(path: Path) -> str:
    """The part of pipelines a file belongs to: a step, a neighbour of the steps, the shell, or the module's own name."""
    relative = path.relative_to(ROOT / "pipelines")
    return relative.parts[0] if len(relative.parts) > 1 else relative.stem


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Line and full dotted name of everything a file imports, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            package = node.module or ""
            if node.level:
                base = path.relative_to(ROOT).parent.parts
                package = ".".join((*base[: len(base) - node.level + 1], *filter(None, [node.module])))
            yield from ((node.lineno, f"{package}.{alias.name}") for alias in node.names)


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", [p for p in SHIPPED if p.is_relative_to(ROOT / "pipelines") and room(p) in MAY], ids=name_of)
def test_arrows_of_pipelines(path: Path) -> None:
    own = room(path)
    allowed = MAY[own] | {own}
    wrong = []
    for line, name in imported(path):
        top, *rest = name.split(".")
        if top == "pipelines" and rest and rest[0] in MAY and rest[0] not in allowed:
            wrong.append(f"{name_of(path)}:{line} imports {name}")
        if top in ("tests",) or (top == "sample_data" and own != "demo"):
            wrong.append(f"{name_of(path)}:{line} imports {name}")
    assert wrong == []


@pytest.mark.parametrize("path", [p for p in SHIPPED if "schemas" in p.parts or "sample_data" in p.parts], ids=name_of)
def test_schemas_and_generator_import_nothing_of_pipelines(path: Path) -> None:
    forbidden = {"pipelines"} | ({"sample_data"} if "schemas" in path.parts else {"schemas"})
    assert [f"{line} {name}" for line, name in imported(path) if name.split(".")[0] in forbidden] == []


def test_every_room_of_pipelines_is_known_to_this_test() -> None:
    rooms = {room(p) for p in (ROOT / "pipelines").rglob("*.py")} - {"__init__"}
    assert rooms == set(MAY)


def cycle(arrows: dict[str, set[str]]) -> list[str]:
    """Return one circle of imports, or an empty list."""
    try:
        graphlib.TopologicalSorter(arrows).prepare()
    except graphlib.CycleError as error:
        return [str(x) for x in error.args[1]]
    return []


def test_no_circle_of_imports() -> None:
    """Every module of the shipped packages, imports inside functions and for the type checker included."""
    modules = {".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p for p in SHIPPED}
    arrows: dict[str, set[str]] = {}
    for name, path in modules.items():
        found = set()
        for _, full in imported(path):
            target = full if full in modules else full.rpartition(".")[0]
            if target in modules and target != name and not (path.name == "__init__.py" and target.startswith(name + ".")):
                found.add(target)
        arrows[name] = found
    assert cycle({"a": {"b"}, "b": {"a"}})  # the walk finds what it looks for
    assert cycle(arrows) == []


def importers(package: str) -> set[str]:
    return {name_of(p) for p in SHIPPED for _, name in imported(p) if name.split(".")[0] == package}


def test_prefect_is_imported_in_flows_only() -> None:
    assert importers("prefect") <= {name_of(p) for p in (ROOT / "pipelines" / "flows").glob("*.py")}


def test_duckdb_is_opened_in_store_only() -> None:
    """Others may name its exceptions and, for the type checker, its connection; only the store calls anything of it."""
    opened = set()
    for path in SHIPPED:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            call = node.func if isinstance(node, ast.Call) else None
            if isinstance(call, ast.Attribute) and isinstance(call.value, ast.Name) and call.value.id == "duckdb":
                opened.add((name_of(path), call.attr))
    assert opened == {("pipelines/store/plant_store.py", "connect")}
    named = [(name_of(p), name) for p in SHIPPED for _, name in imported(p) if name.startswith("duckdb.")]
    assert named == []  # no `from duckdb import ...`, which the walk above would not see


CLOCKS = {
    "datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time", "time.time_ns", "time.perf_counter",
    "time.perf_counter_ns", "time.monotonic", "time.monotonic_ns", "time.localtime", "time.gmtime", "time.strftime",
}  # fmt: skip


def clock_readings(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    named = [ast.unparse(n) for n in ast.walk(tree) if isinstance(n, ast.Attribute)]
    called = [text for text in named if any(text == c or text.endswith(f".{c}") for c in CLOCKS)]
    taken = [name for _, name in imported(path) if name in CLOCKS]
    return [*called, *taken]


@pytest.mark.parametrize("path", SHIPPED, ids=name_of)
def test_clock_is_read_in_one_place(path: Path) -> None:
    if name_of(path) == "pipelines/base/clock.py":
        assert clock_readings(path)  # the walk sees what it looks for
    else:
        assert clock_readings(path) == []


def test_no_sql_reads_the_clock() -> None:
    words = re.compile(
        r"\b(now|today|current_date|current_timestamp|current_localtimestamp|get_current_timestamp)\b\s*(\(|;|,|\s)", re.IGNORECASE
    )
    for path in sorted((ROOT / "sql").rglob("*.sql")):
        body = re.sub(r"--[^\n]*|'(?:[^']|'')*'", "", path.read_text(encoding="utf-8"))
        assert not words.search(body), path


CREATES = re.compile(r"create\s+(?:or\s+replace\s+)?(?:temp\s+)?(?:table|view|macro)\s+(?:if\s+not\s+exists\s+)?([\w.]+)", re.IGNORECASE)


def test_sql_file_is_named_after_the_object_it_creates() -> None:
    files = [p for kind in ("tables", "macros", "views") for p in sorted((ROOT / "sql" / kind).glob("*.sql"))]
    assert files
    for path in files:
        made = {name.split(".")[-1] for name in CREATES.findall(path.read_text(encoding="utf-8"))}
        assert made == {path.stem}, path


def test_every_column_has_a_unit_and_a_description() -> None:
    for table in TABLES.values():
        assert table.description.endswith("."), table.name
        assert table.grain, table.name
        assert set(table.key) <= set(table.column_names), table.name
        assert len(set(table.column_names)) == len(table.columns), table.name
        for column in table.columns:
            assert column.unit.strip(), f"{table.name}.{column.name}"
            assert len(column.description.strip()) >= 3, f"{table.name}.{column.name}"


SUFFIX_UNITS = {
    "_m3_h": "m3/h", "_kg_t": "kg/t", "_mg_l": "mg/L", "_kpa": "kPa", "_kwh": "kWh", "_kwh_t": "kWh/t", "_kw": "kW", "_rpm": "rpm", "_kg": "kg",
    "_kg_h": "kg/h", "_t_h": "t/h", "_m_min": "m/min", "_mm_s": "mm/s", "_mm_h": "mm/h", "_h": "h", "_min": "min", "_per_t": "currency/t", "_per_kwh": "currency/kWh", "_per_kg": "currency/kg",
}  # fmt: skip


def test_unit_in_a_name_is_the_unit_of_the_column() -> None:
    for table in TABLES.values():
        for column in table.columns:
            suffix = max((s for s in SUFFIX_UNITS if column.name.endswith(s)), key=len, default=None)
            if suffix and column.type in ("double", "int", "bigint"):
                assert column.unit == SUFFIX_UNITS[suffix], f"{table.name}.{column.name}"


def test_same_column_name_has_the_same_unit_everywhere() -> None:
    seen: dict[str, set[str]] = {}
    for table in TABLES.values():
        for column in table.columns:
            if column.name != "value":  # of readings and results: the unit goes by role and analyte
                seen.setdefault(column.name, set()).add(column.unit)
    assert {name: units for name, units in seen.items() if len(units) > 1} == {}


TEXTS = [
    p
    for p in sorted(ROOT.rglob("*"))
    if p.is_file()
    and (p.suffix in {".py", ".sql", ".toml", ".md", ".yaml", ".typ", ".csv"} or p.parent.name == ".ci")
    and not {".git", ".venv", "build", "dist"} & set(p.relative_to(ROOT).parts)
    and not any(part.endswith((".egg-info", "_cache")) or part.startswith("flocledger-") for part in p.relative_to(ROOT).parts)
]
MACHINE = re.compile(r"(?<![\w.<{}])/(?:work|root|home|farm|tmp|Users|opt)/\w|[A-Z]:\\\\?Users")
REGISTRY = re.compile(r"pypi\.org|pythonhosted|index-url|://(?!127\.0\.0\.1|localhost)[\w.-]*registry", re.IGNORECASE)


def test_no_path_of_one_machine_and_no_registry_is_named() -> None:
    own = Path(__file__).resolve()
    wrong = [
        f"{name_of(p)}:{number}: {row.strip()[:80]}"
        for p in TEXTS
        if p != own
        for number, row in enumerate(p.read_text(encoding="utf-8", errors="replace").splitlines(), 1)
        if MACHINE.search(row) or REGISTRY.search(row)
    ]
    assert wrong == []


@pytest.mark.parametrize("path", ALL, ids=name_of)
def test_files_and_functions_stay_small(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 400
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert (node.end_lineno or node.lineno) - node.lineno <= 70, f"{node.name}, line {node.lineno}"


@pytest.mark.parametrize("path", SHIPPED, ids=name_of)
def test_nothing_is_left_undone_and_the_core_does_not_print(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\b(TODO|FIXME|XXX|NotImplementedError)\b", text)
    prints = [
        n.lineno for n in ast.walk(ast.parse(text)) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id == "print"
    ]
    assert prints == []


HEAVY = ("polars", "duckdb", "pydantic", "prefect", "pandera", "pyarrow", "matplotlib", "typst", "numpy", "scipy", "statsmodels", "asyncio")


def test_command_line_starts_without_heavy_libraries() -> None:
    code = (
        "import sys; from pipelines.cli import run\n"
        "code = run(['--help'])\n"
        "from pipelines.cli.app import COMMANDS, app\n"
        "import click; ctx = click.Context(app); [app.get_command(ctx, name) for name in COMMANDS]\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules], code, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stderr.strip() == "[] 0"


def test_flows_are_one_a_file_and_the_ground_floor_is_cheap() -> None:
    flows = {p.stem for p in (ROOT / "pipelines" / "flows").glob("*.py")}
    assert {"nightly", "weekly", "rebuild", "backfill"} <= flows
    for stem in ("nightly", "weekly", "rebuild", "backfill"):
        text = (ROOT / "pipelines" / "flows" / f"{stem}.py").read_text(encoding="utf-8")
        assert text.count("@flow(") == 1
    code = (
        "import sys; import pipelines.base.clock, pipelines.base.home, pipelines.base.units, pipelines.base.errors, pipelines.files.pieces, pipelines.base.resources\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"
