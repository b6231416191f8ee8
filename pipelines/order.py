"""The order of the steps: intake, derive, publish, report. Plain functions; Prefect and the command line call them.

`Call` lets a flow wrap each step (as a task); `direct` just calls it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any

from pipelines.base import clock
from pipelines.base.errors import ExitCode, Notice, exit_code_of
from pipelines.base.home import Home
from pipelines.base.receipts import Receipt, StepReceipt
from pipelines.decisions import decision_file
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.runs import records
from pipelines.runs.summary import Summary
from pipelines.store import Store, plant_file_versions
from pipelines.store.worker_threads import WorkerThreads

Call = Callable[..., Any]


def direct(step: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Call a step as it is."""
    return step(*args, **kwargs)


def nightly(home: Home, plant_id: str, as_of: datetime | None = None, *, call: Call = direct, publish_now: bool = True) -> Summary:
    """Take in the inbox of one plant, bring every table up to date, publish.

    `as_of` stands for "now" in receipts (timezone-aware); default: the clock. `publish_now=False` leaves
    publication to the next run (used while backfilling). A line whose last data are older than a day is noticed when publishing.
    """
    from pipelines import publish
    from pipelines.intake import late_data, load_files, untied_tags
    from pipelines.intake.incoming import Incoming

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "nightly", when):
        plant_file = loader.of_plant(home, plant_id)
        with Incoming(home, plant_file, when) as incoming, Store(home.store(plant_id), plant_id) as store:
            plantfile_changed(home, store, plant_file, when)
            receipts, notices = call(load_files.load_inbox, home, store, plant_file, when, incoming)
            notices += [
                *plant_file_versions.notices(store, plant_file),
                *late_data.far_apart(store, receipts),
                *untied_tags.first_met(store, receipts),
            ]
            with WorkerThreads(store, 1) as side:
                write = partial(publish.readings.write, home, days=store.pending_days(publish.readings.STAGE))
                meanwhile = side.submit(write) if publish_now else None
                steps = derive(home, store, plant_file, notices, call=call)
                if publish_now:
                    notices += late_data.late(store, plant_file, when)
                    steps.append(call(publish.run, home, store, plant_file, known_from=when, meanwhile=meanwhile))
        summary = Summary(plant_id, "nightly", when, receipts=receipts, steps=steps, notices=notices, seconds=clock.stopwatch() - started)
        keep_summary(home, summary)
        return summary


def derive(home: Home, store: Store, plant_file: PlantFile, notices: list[Notice], *, call: Call = direct) -> list[StepReceipt]:
    """Bring corrections, decisions, minutes, KPIs and flags up to date; what a person should know is added to `notices`."""
    from pipelines import align, check, compute, watch

    steps, decisions = [], decision_file.read(home.dispositions(store.plant))
    if check.corrections.is_needed(store, plant_file, decisions):
        receipt, found = call(check.corrections.run, store, plant_file, decisions)
        steps.append(receipt)
        notices += found
    steps.append(call(align.run, store, plant_file))
    with WorkerThreads(store, 1) as side:
        meanwhile = side.submit(partial(watch.judge_days, plant_file=plant_file, days=compute.will_mark_watch(store)))
        return [*steps, call(compute.run, store, plant_file), call(watch.run, store, plant_file, meanwhile)]


def bring_up(home: Home, plant_id: str, as_of: datetime | None = None, *, call: Call = direct) -> Summary:
    """Bring every table of a plant up to date and publish, without taking files in: after a decision."""
    from pipelines import publish

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "dispose", when):
        plant_file = loader.of_plant(home, plant_id)
        with Store(home.store(plant_id), plant_id) as store:
            plantfile_changed(home, store, plant_file, when)
            notices = plant_file_versions.notices(store, plant_file)
            steps = derive(home, store, plant_file, notices, call=call)
            steps.append(call(publish.run, home, store, plant_file, known_from=when))
        summary = Summary(plant_id, "dispose", when, steps=steps, notices=notices, seconds=clock.stopwatch() - started)
        keep_summary(home, summary)
        return summary


def plantfile_changed(home: Home, store: Store, plant_file: PlantFile, when: datetime) -> bool:
    """Note the plant file in the store; when it differs from the last one used, mark everything for a new pass."""
    with store.transaction():
        is_new = plant_file_versions.note(store, plant_file, home.plant_file(plant_file.plant.id), when)
        span = store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes")[0]
        if is_new and span[0] is not None:
            store.mark_hours(span[0], span[1])
    return is_new


def rebuild(home: Home, plant_id: str, *, call: Call = direct, as_of: datetime | None = None) -> Summary:
    """Make a plant's store anew from its archived originals, in their order of receipt, and publish.

    The old store stays in place until the new one is whole; receipts keep their numbers and times.
    """
    from pipelines import publish, receive
    from pipelines.intake import load_files, untied_tags
    from pipelines.intake.file_problems import FileProblems

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "rebuild", when):
        plant_file = loader.of_plant(home, plant_id)
        fresh = home.store(plant_id).with_suffix(".rebuild.duckdb")
        with Store(home.store(plant_id), plant_id, as_it_is=True) as old:  # holds the lock of the plant until the new store is in its place
            old.rows("CHECKPOINT")  # a log left by a killed run must not lie beside the new store
            fresh.unlink(missing_ok=True)
            with Store(fresh, plant_id) as store:
                carry_over(old, store)
                plantfile_changed(home, store, plant_file, when)
                receipts: list[Receipt] = []
                problems, folder = FileProblems(home, plant_id), home.archive(plant_id)
                for kept in receive.archived(home, plant_id):
                    if not kept.is_as_it_came(folder):
                        problems.not_as_it_came(kept.file_name, kept.archived_as)
                    original, path = kept.original(folder), folder / kept.archived_as
                    receipts += call(load_files.check_in, store, plant_file, original, path, kept.seq, kept.received_utc, None, problems)
                problems.notices.extend(untied_tags.first_met(store, receipts))
                steps = derive(home, store, plant_file, problems.notices, call=call)
            fresh.replace(home.store(plant_id))
        with Store(home.store(plant_id), plant_id) as store:
            steps.append(call(publish.run, home, store, plant_file, whole=True, known_from=when))
        seconds = clock.stopwatch() - started
        summary = Summary(plant_id, "rebuild", when, receipts=receipts, steps=steps, notices=problems.notices, seconds=seconds)
        keep_summary(home, summary)
        return summary


def carry_over(old: Store, new: Store) -> None:
    """Bring what no file can give back into a fresh store: plant files used so far, and the ledger of published versions."""
    from pipelines.publish import ledger

    there = {name for (name,) in old.rows("SELECT table_name FROM duckdb_tables() WHERE NOT internal")}
    if "plant_file_versions" in there:
        new.append_earlier("plant_file_versions", old.frame("SELECT * FROM plant_file_versions"))
    if "kpi_day_history" in there:
        new.append_earlier("kpi_day_history", old.frame("SELECT * FROM kpi_day_history ORDER BY line, operating_day, version"))
    if "pending_days" in there:
        new.mark_days(ledger.STAGE, old.pending_days(ledger.STAGE))  # versions nobody has seen yet


def weekly(home: Home, plant_id: str, week_start_day: date | None = None, *, call: Call = direct, as_of: datetime | None = None) -> Summary:
    """Write the weekly page of one plant from the published file; default: the reporting week that ended before `as_of` (the clock)."""
    from pipelines import report

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "weekly", when):
        path = call(report.run, home, plant_id, week_start_day, as_of=when)
        summary = Summary(plant_id, "weekly", when, outputs=[str(path)], seconds=clock.stopwatch() - started)
        keep_summary(home, summary)
        return summary


@contextmanager
def recorded(home: Home, plant_id: str, run: str, when: datetime) -> Iterator[None]:
    """Leave a record of a run that failed: what stopped it and its exit code. A plant that is not there gets none."""
    try:
        yield
    except Exception as error:
        code = exit_code_of(error)
        told = str(error) if code != ExitCode.INTERNAL else f"{type(error).__name__}: {error}"
        failed = {**json.loads(Summary(plant_id, run, when).as_json()), "error": told, "exit_code": int(code)}
        if home.plant_file(plant_id).is_file():
            with suppress(OSError):  # what stopped the run is worth more than its record
                records.keep(home, plant_id, run, when, json.dumps(failed, indent=1))
        raise


def keep_summary(home: Home, summary: Summary) -> Path:
    """Leave the run's summary as JSON below `<home>/runs/<plant>/`."""
    return records.keep(home, summary.plant, summary.run, summary.as_of, summary.as_json())
