"""Replay: the flags of a plant's history with other limits of the detectors, against the flags that stand. Reads the store, writes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from pydantic import ValidationError

from pipelines import watch
from pipelines.base.errors import UsageError
from pipelines.plant.model import PlantFile
from pipelines.plant.watch_settings import Watch
from pipelines.store import Store
from pipelines.watch import causes, history_flags
from pipelines.watch.words import Flag
from schemas.detectors import DETECTORS, NOTE

BUDGET_PER_WEEK = 1.0  # nuisance flags at check level of a line and week, all detectors together (common practice, no source)
SHARE_PER_WEEK = BUDGET_PER_WEEK / 30.0  # of one detector, of about thirty
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Counts:
    """One detector of a line: causes that stand and causes with the other limits, and which of those that stand would be lost."""

    line: str
    detector: str
    stand: int
    replayed: int
    gained: int
    lost: int
    lost_confirmed: int
    lost_nuisance: int
    nuisance_per_week: float
    checks_per_week: float
    checks_per_week_replayed: float

    @property
    def is_over_budget(self) -> bool:
        """Return whether flags decided as nuisance come more often than one in thirty weeks."""
        return self.nuisance_per_week > SHARE_PER_WEEK


@dataclass(frozen=True)
class Replayed:
    """Outcome of a replay: counts by line and detector, and the causes gained and lost."""

    weeks: float
    counts: list[Counts]
    gained: list[Row]
    lost: list[Row]


def changed(settings: Watch, given: Iterable[str]) -> Watch:
    """Return settings with some keys changed, each given as KEY=VALUE; UsageError names the key, the value and the remedy."""
    said = dict[str, str]()
    for text in given:
        key, is_pair, value = text.partition("=")
        if not is_pair or key.strip() not in Watch.model_fields:
            raise UsageError(f"{text!r} is not KEY=VALUE with a key of [watch]", remedy="`flocledger replay --keys` lists the keys")
        said[key.strip()] = value.strip()
    try:
        new = Watch(**said)  # pydantic reads the texts
    except ValidationError as error:
        first = error.errors()[0]
        key = str(first["loc"][0])
        raise UsageError(f"{key} = {said[key]!r}: {first['msg']}", remedy=Watch.model_fields[key].description or "") from None
    return settings.model_copy(update={key: getattr(new, key) for key in said})


def run(
    store: Store, plant_file: PlantFile, settings: Watch, *, since: date | None = None, progress: Callable[[int, int], None] | None = None
) -> Replayed:
    """Judge all days of the store with other settings and compare the causes with those that stand.

    A cause is kept where one of the same line, detector and role overlaps it on the other side.
    """
    days = [
        d
        for (d,) in store.rows("SELECT DISTINCT operating_day FROM minutes WHERE operating_day >= coalesce($since, DATE '0001-01-01') ORDER BY 1", {"since": since})
    ]  # fmt: skip
    standing = _causes(store.frame("SELECT * FROM flags ORDER BY line, start_utc, flag_id").to_dicts(), since)
    if not days:
        return Replayed(0.0, [], [], [])
    other = plant_file.model_copy(update={"watch": settings})
    flags = list[Flag]()
    pieces = watch.pieces(days)
    for number, piece in enumerate(pieces, start=1):
        flags += watch.flags_of_days(store, other, piece).flags
        if progress:
            progress(number, len(pieces))
    flags += [f for f, _ in history_flags.found(store, other)]
    rows = [f.row(store.plant, "") | {"disposition": None} for f in flags]
    replayed = _causes(_with_causes(rows), since)
    gained = [r for r in replayed if not any(_same(r, s) for s in standing)]
    lost = [s for s in standing if not any(_same(s, r) for r in replayed)]
    weeks = len(days) / 7.0
    return Replayed(weeks, _counts(standing, replayed, gained, lost, weeks), gained, lost)


def _with_causes(rows: list[dict[str, Any]]) -> list[Row]:
    of = causes.cause_ids(rows)
    return [r | {"cause_id": of[r["line"], r["flag_id"]]} for r in rows]


def _causes(rows: Sequence[Row], since: date | None) -> list[Row]:
    """Return the first flag of each cause, to the end of its last repeat of the same detector."""
    ends = dict[tuple[str, str, str], Any]()
    for r in rows:
        key = (r["line"], r["cause_id"], r["detector"])
        ends[key] = max(ends.get(key, r["end_utc"]), r["end_utc"])
    first = [r for r in rows if r["flag_id"] == r["cause_id"] and (since is None or r["operating_day"] >= since)]
    return [{**r, "end_utc": ends[r["line"], r["cause_id"], r["detector"]]} for r in first]


def _same(a: Row, b: Row) -> bool:
    alike = all(a[k] == b[k] for k in ("line", "detector", "role"))
    return alike and bool(a["start_utc"] < b["end_utc"] and b["start_utc"] < a["end_utc"])


def _counts(standing: Sequence[Row], replayed: Sequence[Row], gained: Sequence[Row], lost: Sequence[Row], weeks: float) -> list[Counts]:
    def by(rows: Iterable[Row], keep: Callable[[Row], bool] = lambda _: True) -> Counter[tuple[str, str]]:
        return Counter((r["line"], r["detector"]) for r in rows if keep(r))

    stand, new, more, less = by(standing), by(replayed), by(gained), by(lost)
    confirmed, nuisance = by(lost, lambda r: r["disposition"] == "confirmed"), by(lost, lambda r: r["disposition"] == "nuisance")
    decided = by(standing, lambda r: r["disposition"] == "nuisance")
    checks, checks_new = (by(rows, lambda r: r["severity"] != NOTE) for rows in (standing, replayed))
    order = list(DETECTORS)
    keys = sorted({*stand, *new}, key=lambda k: (k[0], order.index(k[1]) if k[1] in order else len(order)))
    return [
        Counts(
            *k, stand[k], new[k], more[k], less[k], confirmed[k], nuisance[k], decided[k] / weeks, checks[k] / weeks, checks_new[k] / weeks
        )
        for k in keys
    ]
