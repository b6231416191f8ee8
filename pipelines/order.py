"""The order of the steps: intake, derive, publish, report. Plain functions; Prefect and the command line call them.

`Call` lets a flow wrap each step (as a task); `direct` just calls it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from pipelines import __version__, arrivals, clock, disposition_file, plantfile, plantfile_used, records
from pipelines.chunks import Original, Receipt, StepReceipt
from pipelines.errors import ExitCode, Notice, exit_code_of
from pipelines.home import Home
from pipelines.mishaps import Mishaps, refusal
from pipelines.plantfile import PlantFile
from pipelines.sides import Sides
from pipelines.store import Store

if TYPE_CHECKING:
    from pipelines.check import Reading

Call = Callable[..., Any]


def direct(step: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Call a step as it is."""
    return step(*args, **kwargs)


@dataclass(frozen=True)
class Summary:
    """What a run did, short enough to read and complete enough to store as JSON."""

    plant: str
    run: str
    as_of: datetime
    version: str = __version__
    receipts: list[Receipt] = field(default_factory=list)
    steps: list[StepReceipt] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    outputs: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def exit_code(self) -> ExitCode:
        """Return WARNINGS when anything was set aside or noticed, else OK."""
        troubled = any(r.status == "set aside" or r.rows_set_aside or r.values_set_aside for r in self.receipts)
        return ExitCode.WARNINGS if troubled or self.notices else ExitCode.OK

    def as_json(self) -> str:
        return json.dumps({**asdict(self), "exit_code": int(self.exit_code)}, default=str, indent=1)


def nightly(home: Home, plant_id: str, as_of: datetime | None = None, *, call: Call = direct, publish_now: bool = True) -> Summary:
    """Take in the inbox of one plant, bring every table up to date, publish.

    `as_of` stands for "now" in receipts (timezone-aware); default: the clock. `publish_now=False` leaves
    publication to the next run (used while backfilling). A line whose last data are older than a day is noticed when publishing.
    """
    from pipelines import publish

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "nightly", when):
        plant_file = plantfile.of_plant(home, plant_id)
        with Incoming(home, plant_file, when) as incoming, Store(home.store(plant_id), plant_id) as store:
            plantfile_changed(home, store, plant_file, when)
            receipts, notices = call(intake, home, store, plant_file, when, incoming)
            notices += [*plantfile_used.notices(store, plant_file), *arrivals.far_apart(store, receipts)]
            with Sides(store, 1) as side:
                write = partial(publish.readings.write, home, days=store.pending_days(publish.readings.STAGE))
                meanwhile = side.submit(write) if publish_now else None
                steps = derive(home, store, plant_file, notices, call=call)
                if publish_now:
                    notices += arrivals.late(store, plant_file, when)
                    steps.append(call(publish.run, home, store, plant_file, known_from=when, meanwhile=meanwhile))
        summary = Summary(plant_id, "nightly", when, receipts=receipts, steps=steps, notices=notices, seconds=clock.stopwatch() - started)
        keep_summary(home, summary)
        return summary


def derive(home: Home, store: Store, plant_file: PlantFile, notices: list[Notice], *, call: Call = direct) -> list[StepReceipt]:
    """Bring corrections, decisions, minutes, KPIs and flags up to date; what a person should know is added to `notices`."""
    from pipelines import align, check, compute, watch

    steps, decisions = [], disposition_file.read(home.dispositions(store.plant))
    if check.corrections.is_needed(store, plant_file, decisions):
        receipt, found = call(check.corrections.run, store, plant_file, decisions)
        steps.append(receipt)
        notices += found
    steps.append(call(align.run, store, plant_file))
    with Sides(store, 1) as side:
        meanwhile = side.submit(partial(watch.judge_days, plant_file=plant_file, days=compute.will_mark_watch(store)))
        return [*steps, call(compute.run, store, plant_file), call(watch.run, store, plant_file, meanwhile)]


def bring_up(home: Home, plant_id: str, as_of: datetime | None = None, *, call: Call = direct) -> Summary:
    """Bring every table of a plant up to date and publish, without taking files in: after a decision."""
    from pipelines import publish

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "dispose", when):
        plant_file = plantfile.of_plant(home, plant_id)
        with Store(home.store(plant_id), plant_id) as store:
            plantfile_changed(home, store, plant_file, when)
            notices = plantfile_used.notices(store, plant_file)
            steps = derive(home, store, plant_file, notices, call=call)
            steps.append(call(publish.run, home, store, plant_file, known_from=when))
        summary = Summary(plant_id, "dispose", when, steps=steps, notices=notices, seconds=clock.stopwatch() - started)
        keep_summary(home, summary)
        return summary


def intake(
    home: Home, store: Store, plant_file: PlantFile, received_utc: datetime, incoming: Incoming | None = None
) -> tuple[list[Receipt], list[Notice]]:
    """Take in every complete file of the inbox, each in its own transaction; a bad file never stops the others."""
    from pipelines import check, receive

    receipts: list[Receipt] = []
    mishaps = Mishaps(home, store.plant)
    for kept in receive.archived(home, store.plant):  # archived, but the run was killed before its rows stood
        if not check.known(store, kept.sha256[:16]):
            folder = home.archive(store.plant)
            original, path = kept.original(folder), folder / kept.archived_as
            receipts += check_in(store, plant_file, original, path, kept.seq, kept.received_utc, None, mishaps)
    with incoming or Incoming(home, plant_file, received_utc) as files:
        for path, fingerprint, reading in files:
            try:
                original = fingerprint()
            except OSError as error:
                mishaps.not_opened(path, error)
                continue
            receipts += take_in(home, store, plant_file, original, received_utc, reading, mishaps)
    return receipts, mishaps.notices


class Incoming:
    """The complete files of a plant's inbox, oldest first: (path, what gives its fingerprint, what reads it if begun).

    One of them is hashed and read ahead: a large export, where an open file may be moved. One of the first two is begun at once,
    before there is a store to put it in; a later one while the file before it is taken in, unless that is being read itself.
    Use as a context manager; iterate once.
    """

    def __init__(self, home: Home, plant_file: PlantFile, received_utc: datetime) -> None:
        from pipelines import receive

        self._plant_file, self._received_utc = plant_file, received_utc
        self._paths = list(receive.waiting(home, plant_file.plant.id))
        self._hashing = ThreadPoolExecutor(1, thread_name_prefix="hash")
        self._ahead: tuple[Future[Original], Reading] | None = None
        self._looked_at = -1
        for place in (0, 1):
            self._begin(place)

    def _begin(self, place: int) -> None:
        """Begin a file, if none is begun and this one was not looked at yet."""
        from pipelines import check, receive

        if self._ahead is None and self._looked_at < place < len(self._paths):
            self._looked_at = place
            received = receive.open_early(self._paths[place], self._plant_file)
            if received is not None and not received.layout.is_lab:
                original = self._hashing.submit(receive.fingerprint, self._paths[place])
                self._ahead = original, check.Reading(received, self._plant_file, self._received_utc)

    def __iter__(self) -> Iterator[tuple[Path, Callable[[], Original], Reading | None]]:
        from pipelines import receive

        for place, path in enumerate(self._paths):
            self._begin(place)
            here = self._ahead if self._looked_at == place else None
            self._begin(place + 1)
            if here is None:
                yield path, partial(receive.fingerprint, path), None
            else:
                yield path, here[0].result, here[1]
                self._close_reading()

    def _close_reading(self) -> None:
        if self._ahead is not None:
            self._ahead[1].pieces.close()
            self._ahead = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._close_reading()
        self._hashing.shutdown(cancel_futures=True)


def take_in(
    home: Home,
    store: Store,
    plant_file: PlantFile,
    original: Original,
    received_utc: datetime,
    reading: Reading | None = None,
    mishaps: Mishaps | None = None,
) -> list[Receipt]:
    """Move one file into the archive and check its content into the store; known content changes nothing."""
    from pipelines import check, receive

    if reading is not None:
        reading.pieces.wait()  # it has the file open now, under whatever name
    if check.known(store, original.load_id):
        original.path.unlink()  # the same bytes are in the archive
        return [Receipt(original.load_id, original.file_name, "known already")]
    seq = check.next_seq(store)
    archived_as = receive.archive(home, store.plant, original, seq, received_utc)
    if mishaps is not None and receive.was_written_on(home.archive(store.plant) / archived_as, original):
        mishaps.written_on(original, archived_as)
    return check_in(store, plant_file, original, home.archive(store.plant) / archived_as, seq, received_utc, reading, mishaps)


def check_in(
    store: Store,
    plant_file: PlantFile,
    original: Original,
    archived: Path,
    seq: int,
    received_utc: datetime,
    reading: Reading | None = None,
    mishaps: Mishaps | None = None,
) -> list[Receipt]:
    """Check an archived original into the store, or set it aside whole with its reason; one receipt a load.

    Of a ZIP archive each member is a load of its own, numbered from the archive's number on; the archive's own receipt, which
    says that all of it was looked at, comes last. An error nobody foresaw sets a file aside too when there are `mishaps` to tell it.
    """
    from pipelines import check, receive

    try:
        members = receive.members(archived, original.file_name)
    except Exception as error:
        refused = refusal(error, original, mishaps)
        return [check.refuse(store, plant_file, original, archived.name, refused, seq=seq, received_utc=received_utc)]
    if members is None:
        return [check_one(store, plant_file, original, archived, archived.name, seq, received_utc, reading, mishaps)]
    receipts: list[Receipt] = []
    for number, member in enumerate(members, 1):
        one = member.original(archived, original.file_name)
        if check.known(store, one.load_id):
            receipts.append(Receipt(one.load_id, one.file_name, "known already"))
            continue
        archived_as = f"{archived.name}/{member.name}"
        receipts.append(check_one(store, plant_file, one, one.path, archived_as, seq + number, received_utc, None, mishaps))
    said = f"an archive of {len(members)} file{'s' if len(members) > 1 else ''}; each has a receipt of its own"
    return [*receipts, check.note(store, original, archived.name, said, seq=seq, received_utc=received_utc)]


def check_one(
    store: Store,
    plant_file: PlantFile,
    original: Original,
    path: Path,
    archived_as: str,
    seq: int,
    received_utc: datetime,
    reading: Reading | None = None,
    mishaps: Mishaps | None = None,
) -> Receipt:
    """Check one file, or one member of an archive, into the store, or set it aside whole with its reason."""
    from pipelines import check, receive

    try:
        received = reading.received if reading is not None else receive.open_file(path, original.file_name, plant_file, may_measure=True)

        def raw(line_numbers: Any) -> dict[int, str]:
            return receive.raw_lines(path, received.layout, line_numbers)

        return check.run(store, plant_file, original, archived_as, received, raw, seq=seq, received_utc=received_utc, reading=reading)
    except Exception as error:
        refused = refusal(error, original, mishaps)
        return check.refuse(store, plant_file, original, archived_as, refused, seq=seq, received_utc=received_utc)


def plantfile_changed(home: Home, store: Store, plant_file: PlantFile, when: datetime) -> bool:
    """Note the plant file in the store; when it differs from the last one used, mark everything for a new pass."""
    with store.transaction():
        is_new = plantfile_used.note(store, plant_file, home.plant_file(plant_file.plant.id), when)
        span = store.rows("SELECT min(minute_utc), max(minute_utc) FROM minutes")[0]
        if is_new and span[0] is not None:
            store.mark_hours(span[0], span[1])
    return is_new


def rebuild(home: Home, plant_id: str, *, call: Call = direct, as_of: datetime | None = None) -> Summary:
    """Make a plant's store anew from its archived originals, in their order of receipt, and publish.

    The old store stays in place until the new one is whole; receipts keep their numbers and times.
    """
    from pipelines import publish, receive

    started, when = clock.stopwatch(), clock.in_utc(as_of)
    with recorded(home, plant_id, "rebuild", when):
        plant_file = plantfile.of_plant(home, plant_id)
        fresh = home.store(plant_id).with_suffix(".rebuild.duckdb")
        with Store(home.store(plant_id), plant_id, as_it_is=True) as old:  # holds the lock of the plant until the new store is in its place
            old.rows("CHECKPOINT")  # a log left by a killed run must not lie beside the new store
            fresh.unlink(missing_ok=True)
            with Store(fresh, plant_id) as store:
                carry_over(old, store)
                plantfile_changed(home, store, plant_file, when)
                receipts: list[Receipt] = []
                mishaps, folder = Mishaps(home, plant_id), home.archive(plant_id)
                for kept in receive.archived(home, plant_id):
                    if not kept.is_as_it_came(folder):
                        mishaps.not_as_it_came(kept.file_name, kept.archived_as)
                    original, path = kept.original(folder), folder / kept.archived_as
                    receipts += call(check_in, store, plant_file, original, path, kept.seq, kept.received_utc, None, mishaps)
                steps = derive(home, store, plant_file, mishaps.notices, call=call)
            fresh.replace(home.store(plant_id))
        with Store(home.store(plant_id), plant_id) as store:
            steps.append(call(publish.run, home, store, plant_file, whole=True, known_from=when))
        seconds = clock.stopwatch() - started
        summary = Summary(plant_id, "rebuild", when, receipts=receipts, steps=steps, notices=mishaps.notices, seconds=seconds)
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
