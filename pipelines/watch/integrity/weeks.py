"""Integrity of all meters of a plant over some reporting weeks: collects facts from the store and combines the witnesses.

A week rests on its own days and the `REACH_DAYS` before, on nothing else, so that an incremental run gives what a rebuild gives.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from pipelines.base import resources
from pipelines.plant import arrangements
from pipelines.plant.model import Line, PlantFile
from pipelines.store import Store
from pipelines.watch.integrity import witnesses
from pipelines.watch.integrity.day_facts import DayFacts
from pipelines.watch.integrity.verdicts import Verdict, judged
from pipelines.watch.integrity.witnesses import PumpReference, Statement
from pipelines.watch.standing import standing_on

USUAL_DAYS = 21  # operating days before a week that make its usual flow per revolution
STOCK_DAYS = 35  # operating days between the stock readings of an inventory, at most
REACH_DAYS = STOCK_DAYS
_FACTS = tuple(f.name for f in fields(DayFacts))
_REFERENCE = tuple(f.name for f in fields(PumpReference))
_VOUCH = ("pump displacement", "pump curve")  # independent of the flow meter and of its past
_BALANCE = ("balance_parts", "solids_balance")


def weeks_reached(days: Iterable[date], week_start: int, last: date) -> list[date]:
    """Return the first days of the weeks whose verdicts rest on some days: their own weeks, and those up to the reach after.

    A stock reading of the day after a week closes its inventory, so the week before is reached too.
    """
    out = set[date]()
    for day in days:
        first = week_of(day - timedelta(days=1), week_start)
        end = min(week_of(day + timedelta(days=REACH_DAYS), week_start), week_of(last, week_start))
        out |= {first + timedelta(days=k) for k in range(0, (end - first).days + 1, 7)}
    return sorted(out)


def week_of(day: date, week_start: int) -> date:
    """Return the first day of the reporting week of a day; `week_start` is its ISO weekday."""
    return day - timedelta(days=(day.isoweekday() - week_start) % 7)


@dataclass(frozen=True)
class Polymer:
    """Deliveries and stock of the plant, and what the meters of all lines used, by operating day [kg as supplied]."""

    stock: dict[date, float]
    delivered: dict[date, float]
    metered: dict[date, float]
    unknown: frozenset[date]

    def of_week(self, week: date) -> Statement | None:
        """Return the inventory that closes within a week, between the stock readings at most 35 days apart.

        A reading counts as taken before the deliveries and the use of its day, so the day after the week closes it too.
        """
        closing = max((d for d in self.stock if week < d <= week + timedelta(days=7)), default=None)
        if closing is None:
            return None
        opening = min((d for d in self.stock if closing - timedelta(days=STOCK_DAYS) <= d < closing), default=closing)
        span = [opening + timedelta(days=k) for k in range((closing - opening).days)]
        if any(d in self.unknown for d in span):
            return None
        used = sum(self.delivered.get(d, 0.0) for d in span) - (self.stock[closing] - self.stock[opening])
        return witnesses.inventory(sum(self.metered.get(d, 0.0) for d in span), used, len(span))


class Weeks:
    """What the store holds for the weeks from `first` to before `end`, and the days before them that they rest on."""

    def __init__(self, store: Store, plant_file: PlantFile, first: date, end: date) -> None:
        self._store, self._plant_file = store, plant_file
        self._span = {"first": first - timedelta(days=REACH_DAYS + 1), "last": end}
        found = store.rows(
            f"SELECT {', '.join(_FACTS)} FROM meter_days WHERE operating_day BETWEEN $first AND $last ORDER BY line, operating_day",
            self._span,
        )
        self._facts = {(r[0], r[1]): DayFacts(*r) for r in found}

    def verdicts(self, week: date) -> list[Verdict]:
        """Return the verdict on each meter of each line for one week with data."""
        days = [week + timedelta(days=k) for k in range(7)]
        return [v for line in self._plant_file.lines if any((line.id, d) in self._facts for d in days) for v in self._of_line(line, week)]

    def _of_line(self, line: Line, week: date) -> list[Verdict]:
        polymer = "polymer_neat_flow" if line.polymer_meter == "neat" else "polymer_solution_flow"
        roles = {s.role for s in self._plant_file.signals_of(line.id)}
        days = self._days(line, week, 0, 7)
        balance = self._balance(line.id, week)
        flow = judged(
            line.id,
            "sludge_flow",
            week,
            [
                witnesses.register("sludge", days),
                *self._pump(line, week, days),
                witnesses.reference_flow(days, line.reference_flow),
                balance,
            ],
            spoken_for_by=_VOUCH,
        )
        out = [flow] if "sludge_flow" in roles else []
        if polymer in roles:
            out.append(judged(line.id, polymer, week, [witnesses.register("polymer", days), self._polymer.of_week(week)]))
        lab = {d: ts for (name, d), ts in self._laboratory.items() if name == line.id}
        online = witnesses.laboratory(days, lab) if "feed_solids" in roles else None
        solids = [online, None if _explains(flow, balance) else balance]
        return [*out, judged(line.id, "feed_solids", week, solids)]

    def _pump(self, line: Line, week: date, days: Sequence[DayFacts]) -> list[Statement | None]:
        """Return what the pump says of the flow; only days of the arrangement that stood last in the week are compared."""
        standing = {
            d.operating_day: standing_on(self._plant_file, line.id, d.operating_day) for d in self._days(line, week, -USUAL_DAYS, 7)
        }
        last = standing[days[-1].operating_day] if days else None
        same = [d for d in days if last is not None and standing[d.operating_day] == last]
        before = [d for d in self._days(line, week, -USUAL_DAYS, 0) if last is not None and standing[d.operating_day] == last]
        referred = [(d, r) for d in days if (r := self._reference(line.id, d.operating_day)) is not None]
        height = line.pump.gauge_elevation
        kpa = height * line.sludge_sg * witnesses.KPA_PER_M_WATER
        return [
            witnesses.flow_per_revolution(same, before),
            witnesses.displacement(referred, kpa),
            witnesses.pump_curve(referred, height, line.sludge_sg),
        ]

    def _days(self, line: Line, week: date, first: int, end: int) -> list[DayFacts]:
        wanted = ((line.id, week + timedelta(days=k)) for k in range(first, end))
        return [self._facts[key] for key in wanted if key in self._facts]

    def _reference(self, line: str, day: date) -> PumpReference | None:
        at = self._plant_file.calendar.day_end(day)
        pump = arrangements.pump_of(self._plant_file, line, self._plant_file.calendar.day_start(day))
        return next((r for ln, p, start, end, r in self._references if ln == line and p == pump and start < at <= end), None)

    @cached_property
    def _references(self) -> list[tuple[Any, ...]]:
        rows = self._store.rows(
            f"SELECT line, pump, from_utc, to_utc, {', '.join(_REFERENCE)} FROM pump_baselines WHERE no_reference IS NULL"
        )
        return [(*r[:4], PumpReference(*r[4:])) for r in rows]

    @cached_property
    def _laboratory(self) -> dict[tuple[str, date], float]:
        rows = self._store.rows(
            "SELECT line, operating_day, avg(value ORDER BY sample_id) FROM lab_results WHERE point = 'feed' AND analyte = 'ts' AND is_used "
            "AND value IS NOT NULL AND operating_day BETWEEN $first AND $last GROUP BY line, operating_day",
            self._span,
        )
        return {(r[0], r[1]): r[2] for r in rows}

    @cached_property
    def _polymer(self) -> Polymer:
        kept = self._store.rows(
            "SELECT operating_day, analyte, sum(value ORDER BY sample_id) FROM lab_results WHERE point = 'polymer store' AND is_used "
            "AND value IS NOT NULL AND operating_day BETWEEN $first AND $last GROUP BY operating_day, analyte",
            self._span,
        )
        used = self._store.rows(
            "SELECT operating_day, sum(polymer_neat_all_kg ORDER BY line), sum(running_minutes), sum(polymer_known_minutes) FROM line_day "
            "WHERE operating_day BETWEEN $first AND $last GROUP BY operating_day",
            self._span,
        )
        return Polymer(
            {d: v for d, analyte, v in kept if analyte == "stock_mass"},
            {d: v for d, analyte, v in kept if analyte == "delivered_mass"},
            {d: v or 0.0 for d, v, _, _ in used},
            frozenset(d for d, _, running, known in used if known < running * 0.95),
        )

    def _balance(self, line: str, week: date) -> Statement | None:
        """Return the closure of a line; where only all lines together have one, theirs."""
        for who, of in ((line, ""), ("all lines", " of all lines")):
            if (who, week) in self._closures:
                return witnesses.solids_balance(*self._closures[who, week], of)
        return None

    @cached_property
    def _closures(self) -> dict[tuple[str, date], tuple[float, float, float]]:
        """Return (line or all lines, week) -> closure of whole weeks and its limits; the views are asked where there are tickets."""
        has = self._store.rows(
            "SELECT EXISTS (FROM lab_results WHERE point = 'cake haul' AND operating_day BETWEEN $first AND $last)", self._span
        )
        if not has[0][0]:
            return {}
        for name in _BALANCE:
            text = (resources.folder("sql") / "views" / f"{name}.sql").read_text(encoding="utf-8")
            self._store.con.execute(text.replace("CREATE OR REPLACE VIEW", "CREATE OR REPLACE TEMP VIEW"))
        rows = self._store.rows(
            "SELECT line, period_start_day, solids_closure, limit_low, limit_high FROM solids_balance WHERE kind = 'week' AND is_whole "
            "AND solids_closure IS NOT NULL AND period_start_day BETWEEN $first AND $last",
            self._span,
        )
        return {(r[0], r[1]): (r[2], r[3], r[4]) for r in rows}


def _explains(flow: Verdict, balance: Statement | None) -> bool:
    """Return whether an own witness against the flow meter explains a balance that is open on the same side."""
    return balance is not None and any(t.is_own and t.deviation_pct * balance.deviation_pct > 0 for t in flow.against)
