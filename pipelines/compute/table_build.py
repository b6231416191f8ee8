"""Run the files of `sql/tables/`, each as soon as the tables it reads exist, two at a time.

Dependencies are read from the SQL text itself. Half of the compute step's time is spent planning statements of up to 157
columns, which uses one core a statement however few the rows.
"""

from __future__ import annotations

import re
from concurrent.futures import FIRST_COMPLETED, Future, wait
from functools import partial
from graphlib import TopologicalSorter

from pipelines.base import resources
from pipelines.store import Store
from pipelines.store.worker_threads import WorkerThreads

# Each creates its table in `work`; of several that are ready, the first in this list runs first.
TABLES = (
    "feed_samples", "day_feed_ts", "minute_feed_ts", "planned_minutes", "meter_share", "pump_edges", "minute_kpi", "period_totals", "span_versions",
    "arrangement_days", "arrangement_rows",
    "samples_outside", "period_product", "dose_spread", "all_totals", "period_kpi", "kpi_hour", "kpi_shift", "day_feed_variance", "day_uncertainty", "kpi_day", "day_rows",
    "long_totals", "long_kpi", "kpi_week", "kpi_rolling",
    "runs_span", "runs", "data_quality",
    "line_day", "pump_minutes", "pump_weeks", "dose_steps",
)  # fmt: skip
# Built and merged only when the plant file or the store has rows for them.
ONLY_WITH = {"dose_steps": "SELECT EXISTS (FROM ladder_steps) OR EXISTS (FROM dose_steps)"}
AT_ONCE = 2


def make_all(store: Store) -> None:
    """Build every required table of `work`; the work lists must be in `work`, settings and macros committed in the store.

    A statement runs in one thread and sorts by minute or day before it sums, so the same minutes give bit-identical sums
    however the days are split into pieces.
    """
    texts = {name: _text(name) for name in TABLES if is_asked(store, name)}
    order = TopologicalSorter({name: reads_from(text) & texts.keys() - {name} for name, text in texts.items()})
    order.prepare()
    with WorkerThreads(store, AT_ONCE) as sides:
        ready, running = list[str](), dict[Future[object], str]()
        while order.is_active():
            ready = sorted([*ready, *order.get_ready()], key=TABLES.index)
            while ready and len(running) < AT_ONCE:
                name = ready.pop(0)
                running[sides.submit(partial(_run, text=texts[name]))] = name
            for made in wait(running, return_when=FIRST_COMPLETED).done:
                made.result()
                order.done(running.pop(made))


def _run(side: Store, text: str) -> object:
    return side.con.execute(text)


def reads_from(text: str) -> set[str]:
    """Return the tables of `work` that a statement names."""
    return set(re.findall(r"\bwork\.(\w+)", re.sub(r"--.*", "", text)))


def is_asked(store: Store, name: str) -> bool:
    """Return whether a plant needs a table."""
    return name not in ONLY_WITH or bool(store.rows(ONLY_WITH[name])[0][0])


def _text(name: str) -> str:
    return (resources.folder("sql") / "tables" / f"{name}.sql").read_text(encoding="utf-8")
