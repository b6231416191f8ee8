"""The order of the steps: intake, derive, publish, report. Plain functions; Prefect and the command line call them.

`Call` lets a flow wrap each step (as a task); `direct` just calls it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any

from pipelines.base.errors import DataMissingError, Notice
from pipelines.base.home import Home
from pipelines.base.receipts import ReceiptTime, StepReceipt, added_up
from pipelines.decisions import decision_file
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.runs.recording import recorded
from pipelines.runs.summary import Summary
from pipelines.store import Store, plant_file_versions, restatement
from pipelines.store.worker_threads import WorkerThreads

Call = Callable[..., Any]
PLANNED_SAVING_PCT = 10.0  # the dose saving that the days on a plan's page would show


def direct(step: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Call a step as it is."""
    return step(*args, **kwargs)


def nightly(
    home: Home, plant_id: str, as_of: datetime | None = None, *, call: Call = direct, publish_now: bool = True, settle_s: float = 0.0
) -> Summary:
    """Take in the inbox of one plant, bring every table up to date, publish.

    `as_of` stands for "now" in receipts (timezone-aware); default: the clock. `publish_now=False` leaves
    publication to the next run (used while backfilling). Files younger than `settle_s` stay in the inbox. A line whose last data are older than a day is noticed when publishing.
    """
    from pipelines import publish
    from pipelines.intake import late_data, load_files, untied_tags
    from pipelines.intake.incoming import Incoming

    with recorded(home, plant_id, "nightly", as_of) as run:
        plant_file = loader.of_plant(home, plant_id)
        with Incoming(home, plant_file, run.as_of, settle_s=settle_s) as incoming, Store(home.store(plant_id), plant_id) as store:
            plant_file_versions.apply(store, plant_file, home.plant_file(plant_id), run.as_of)
            late_data.check_clock(store, run.as_of)
            held = store.pending_days(restatement.STAGE)
            receipts, notices = call(load_files.load_inbox, home, store, plant_file, run.as_of, incoming)
            notices += [
                *plant_file_versions.notices(store, plant_file),
                *late_data.far_apart(store, receipts),
                *untied_tags.first_met(store, receipts),
                *restatement.notices(store, held),
            ]
            with WorkerThreads(store, 1) as side:
                write = partial(publish.readings.write, home, days=store.pending_days(publish.readings.STAGE))
                readings_written = side.submit(write) if publish_now else None
                steps = derive(home, store, plant_file, notices, call=call)
                if publish_now:
                    notices += late_data.late(store, plant_file, run.as_of)
                    steps.append(call(publish.run, home, store, known_from=run.as_of, readings_written=readings_written, notices=notices))
        return run.finished(receipts, steps, notices)


def derive(home: Home, store: Store, plant_file: PlantFile, notices: list[Notice], *, call: Call = direct) -> list[StepReceipt]:
    """Update corrections, decisions, minutes, KPIs, flags and running comparisons; add to `notices` what a person should know."""
    from pipelines import align, check, compute, watch
    from pipelines.compare import running

    steps, decisions = [], decision_file.read(home.dispositions(store.plant))
    if check.corrections.is_needed(store, plant_file, decisions):
        receipt, found = call(check.corrections.run, store, plant_file, decisions)
        steps.append(receipt)
        notices += found
    steps.append(call(align.run, store, plant_file))
    with WorkerThreads(store, 1) as side:
        judging = side.submit(partial(watch.judge_days, plant_file=plant_file, days=compute.will_mark_watch(store)))
        steps += [call(compute.run, store, plant_file), call(watch.run, store, plant_file, judging)]
    receipt, found = call(running.run, home, store)
    notices += found
    return [*steps, receipt]


def apply_decisions(home: Home, plant_id: str, as_of: datetime | None = None, *, call: Call = direct) -> Summary:
    """Update every table of a plant and publish without loading files: after a decision."""
    from pipelines import publish

    with recorded(home, plant_id, "dispose", as_of) as run:
        plant_file = loader.of_plant(home, plant_id)
        with Store(home.store(plant_id), plant_id) as store:
            plant_file_versions.apply(store, plant_file, home.plant_file(plant_id), run.as_of)
            notices = plant_file_versions.notices(store, plant_file)
            steps = derive(home, store, plant_file, notices, call=call)
            steps.append(call(publish.run, home, store, known_from=run.as_of, notices=notices))
        return run.finished(steps=steps, notices=notices)


def backfill(
    home: Home,
    plant_id: str,
    first: date | None = None,
    last: date | None = None,
    as_of: datetime | None = None,
    *,
    call: Call = direct,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> Summary:
    """Align and compute the operating days from `first` to `last`, both included, again, a piece at a time, and publish once.

    Without days: those whose late data wait for a restatement. `progress` is told the days done and the days in all, before the
    first piece and after each. A killed backfill loses the piece it was at; its days are computed by the next run.
    """
    from pipelines import publish

    with recorded(home, plant_id, "backfill", as_of) as run:
        plant_file = loader.of_plant(home, plant_id)
        with Store(home.store(plant_id), plant_id) as store:
            plant_file_versions.apply(store, plant_file, home.plant_file(plant_id), run.as_of)
            notices, steps = plant_file_versions.notices(store, plant_file), list[StepReceipt]()
            spans = restatement.pieces(store, first, last)
            days = [(until - since).days + 1 for since, until in spans]
            progress(0, sum(days))
            for number, (since, until) in enumerate(spans, 1):
                restatement.mark(store, plant_file, since, until)
                steps += derive(home, store, plant_file, notices, call=call)
                progress(sum(days[:number]), sum(days))
            steps.append(call(publish.run, home, store, known_from=run.as_of, notices=notices))
        return run.finished(steps=added_up(steps), notices=notices)


def rebuild(
    home: Home,
    plant_id: str,
    *,
    call: Call = direct,
    as_of: datetime | None = None,
    without_missing: bool = False,
    receipt_times: Sequence[ReceiptTime] = (),
) -> Summary:
    """Rebuild a plant's store from its archived originals, in order of receipt, and publish.

    The old store stays in place until the new one is complete; receipts keep their numbers and times. DataMissingError when the
    archive lacks originals that were taken in before, unless the rebuild is to go on `without_missing` ones.
    `receipt_times` are corrections of times of receipt that a wrong clock wrote.
    """
    from pipelines import publish
    from pipelines.intake import load_archive
    from pipelines.store.replacement import replaced

    with recorded(home, plant_id, "rebuild", as_of) as run:
        plant_file = loader.of_plant(home, plant_id)
        with replaced(home.store(plant_id), plant_id) as (old, store):
            notices = load_archive.check_complete(home, plant_id, publish.taken_in(home, old, plant_id), without_missing=without_missing)
            load_archive.correct_receipt_times(home, plant_id, receipt_times)
            notices += publish.carry_over(home, old, store)
            plant_file_versions.apply(store, plant_file, home.plant_file(plant_id), run.as_of)
            receipts, found = load_archive.load_archive(home, store, plant_file, call=call)
            steps = derive(home, store, plant_file, notices := [*notices, *found], call=call)
        with Store(home.store(plant_id), plant_id) as store:
            steps.append(call(publish.run, home, store, whole=True, known_from=run.as_of, notices=notices))
        return run.finished(receipts, steps, notices)


def weekly(
    home: Home, plant_id: str, week_start_day: date | None = None, *, call: Call = direct, as_of: datetime | None = None,
    mail_secret: Callable[[], str | None] = lambda: None,
) -> Summary:  # fmt: skip
    """Write the weekly page of one plant from the published file and mail it; default: the reporting week that ended before `as_of` (the clock).

    `mail_secret` gives the mail server's password when the environment does not.
    """
    from pipelines import mail, report

    with recorded(home, plant_id, "weekly", as_of) as run:
        path = call(report.run, home, plant_id, week_start_day, as_of=run.as_of)
        return run.finished(outputs=[str(path)], notices=mail.run(home, plant_id, path, as_of=run.as_of, secret=mail_secret))


def pump_review(home: Home, plant_id: str, *, call: Call = direct, as_of: datetime | None = None) -> Summary:
    """Write the pump condition review of one plant from the published file."""
    from pipelines.report import review

    with recorded(home, plant_id, "pump-review", as_of) as run:
        return run.finished(outputs=[str(call(review.run, home, plant_id))])


def compare(
    home: Home, plan_name: str, *, call: Call = direct, as_of: datetime | None = None, tell: Callable[[str], None] = lambda _: None
) -> Summary:
    """Compute the comparison of a plan below `<home>/plans/`, publish it, and write its statement; `tell` hears what is being computed."""
    from pipelines import compare as comparing
    from pipelines import publish
    from pipelines.compare import plan
    from pipelines.report import statement

    loaded = plan.load(home, plan_name)
    plant_id = loaded.plan.plan.plant
    with recorded(home, plant_id, "compare", as_of) as run:
        loader.of_plant(home, plant_id)
        notices: list[Notice] = []
        with Store(home.store(plant_id), plant_id) as store:
            steps = [
                call(comparing.run, store, loaded, run.as_of, tell),
                call(publish.run, home, store, known_from=run.as_of, notices=notices),
            ]
        path = call(statement.run, home, plant_id, loaded.name, loaded.shown_hash)
        return run.finished(steps=steps, outputs=[str(path)], notices=notices)


def freeze_plan(home: Home, plan_name: str, at_utc: datetime) -> None:
    """Freeze a plan below `<home>/plans/`."""
    from pipelines.compare import plan

    plan.freeze(home, plan_name, at_utc)


def last_day_of_plan(home: Home, plan_name: str) -> date:
    """Return the last operating day of a plan below `<home>/plans/`."""
    from pipelines.compare import plan

    return plan.load(home, plan_name).plan.plan.last_day


def trial_plan(home: Home, plan_name: str, *, as_of: datetime | None = None) -> Path:
    """Write the page of a plan below `<home>/plans/`, with the days its design needs where the line's history is long enough."""
    from pipelines.base import clock
    from pipelines.compare import lengths, plan, plan_page
    from pipelines.report import trial_plan as page

    loaded = plan.load(home, plan_name)
    head = loaded.plan.plan
    try:
        needed = lengths.of_line(home, head.plant, head.line, PLANNED_SAVING_PCT, loaded.plan.margins.cake_pct)
    except DataMissingError as error:
        needed = [], [f"How many days each design needs cannot be said yet: {error}."]
    return page.run(home, head.plant, loaded.name, plan_page.told(loaded, needed), loaded.frozen_utc or clock.in_utc(as_of))
