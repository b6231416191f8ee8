"""Weekly pages against truth: each printed number of a line's week, its interval and its doubts beside what truly was."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl

from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.plant.model import PlantFile
from pipelines.report import language
from pipelines.report.weekly import events, facts, read, targets, work
from pipelines.report.weekly.facts import LineFacts
from pipelines.report.weekly.rows import WeekData
from pipelines.store import connect

# The numbers of a page that a fault makes wrong or leaves without their inputs; faults that truly happen to the process (the meters show
# them) are not here, nor those of pump pressures, which are none of the six.
SOLIDS, DOSE, CAKE, CAPTURE, COST, MIXING = "solids", "dose", "cake", "capture", "cost", "mixing"
FLOW = frozenset({SOLIDS, DOSE, COST, MIXING})
MISLEADS = {
    "flatline": FLOW, "spike burst": FLOW, "re-ranged": FLOW, "no record": FLOW, "out of range": FLOW, "run bit stuck off": FLOW,
    "unit row changed": FLOW, "decimal point file": FLOW, "bad quality burst": FLOW,
    "lab unit slip": frozenset({SOLIDS, DOSE, CAPTURE, COST}), "lab swapped bottles": frozenset({SOLIDS, DOSE, CAPTURE, COST}),
    "lab moisture for solids": frozenset({CAKE, CAPTURE, COST}), "weak solution": frozenset({DOSE, COST}),
}  # fmt: skip
METERED_ONLY = {"weak solution": ("sorrel-draw",)}  # elsewhere the neat polymer meter shows it


@dataclass(frozen=True)
class Fault:
    """A planted fault; without a line it is about all lines of the plant."""

    line: str | None
    kind: str
    label: str
    start_utc: datetime
    end_utc: datetime

    def overlaps(self, start_utc: datetime, end_utc: datetime) -> bool:
        """Return whether the fault lasted into [start, end)."""
        return self.start_utc < end_utc and self.end_utc > start_utc

    def misleads(self, plant: str, name: str) -> bool:
        """Return whether the fault makes a number of a page wrong, or takes its inputs away."""
        return name in MISLEADS.get(self.kind, ()) and plant in METERED_ONLY.get(self.kind, (plant,))


@dataclass(frozen=True)
class Number:
    """A number of a page beside its truth: `half_width` is what is printed after the "±", in the stored unit (None: none is printed).

    `fault`: a planted fault that misleads this number in this week; `doubt`: what the page says against the number, or of the fault.
    """

    plant: str
    line: str
    week: date
    name: str
    printed: float | None
    half_width: float | None
    true: float
    fault: str | None
    doubt: str | None
    is_least: bool = False

    @property
    def is_outside(self) -> bool:
        """Return whether the truth is further from the printed number than its interval."""
        if self.printed is None or (self.is_least and self.true > self.printed):
            return False
        return abs(self.printed - self.true) > (self.half_width or 0.0)


def numbers(home: Home, made: Path, plants: tuple[str, ...]) -> list[Number]:
    """Return the six numbers of every line and whole week that the truth below `made` and the pages of `home` both have."""
    return [number for plant in plants for number in _of_plant(home, made / plant / "truth", plant)]


def _of_plant(home: Home, truth: Path, plant: str) -> Iterator[Number]:
    plant_file = loader.of_plant(home, plant)
    days, minutes = pl.read_parquet(truth / "day.parquet"), _fed(truth)
    told = pl.read_csv(truth / "faults.csv", try_parse_dates=True).select("line", "kind", "label", "start_utc", "end_utc")
    faults = [Fault(**row) for row in told.to_dicts()]
    first = days["operating_day"].min()
    assert isinstance(first, date)
    prices = _prices(home, plant)
    for start in (first + timedelta(days=7 * k) for k in range(days["operating_day"].n_unique() // 7)):
        week = read.week(home, plant, start)
        for line in page_of(week, plant_file):
            of = (pl.col("line") == line.data.line) & pl.col("operating_day").is_between(start, start + timedelta(days=6))
            true = _true(days.filter(of), minutes.filter(of), prices)
            mine = [
                f for f in faults
                if f.line in (None, "", line.data.line) and f.overlaps(week.start_utc, week.end_utc) and _touches(f, minutes.filter(of))
            ]  # fmt: skip
            yield from (_number(plant, line, week, name, value, mine) for name, value in true.items())
            yield from _worked(plant, line, week, days.filter(of))


def page_of(week: WeekData, plant_file: PlantFile) -> list[LineFacts]:
    """Return the facts of the lines of a week as the page has them."""
    t = language.of(language.DEFAULT)
    return [
        facts.of_line(week, data, targets.limits(plant_file, data.line), t, events.of_line(week, data.line, plant_file),
                      targets.unmeasured(plant_file, data.line))
        for data in week.lines
    ]  # fmt: skip


def _fed(truth: Path) -> pl.DataFrame:
    """Return the minutes in which sludge was truly fed, start-up included, with their solids [t]."""
    fed = pl.scan_parquet(truth / "minute.parquet").filter(pl.col("sludge_flow_m3_h") > 0)
    solids = (pl.col("sludge_flow_m3_h") * pl.col("feed_ts_pct")).cast(pl.Float64) / 6000.0
    return fed.select("line", "operating_day", "minute_utc", "processing", fed_t=solids).collect()


def _touches(fault: Fault, fed: pl.DataFrame) -> bool:
    """Return whether sludge was fed while the fault lasted."""
    return not fed.filter(pl.col("minute_utc").is_between(fault.start_utc, fault.end_utc, closed="left")).is_empty()


def _worked(plant: str, line: LineFacts, week: WeekData, days: pl.DataFrame) -> Iterator[Number]:
    """Return hours and days of the week, whose interval is the printed range, hours to 1 % and the last printed digit."""
    hours, worked = work.hours(line.data.this or {}), work.days(line.in_week)
    for name, span, true, last in (
        ("hours", hours, float(days["processing_h"].sum()), 0.05 + 0.01 * hours.most), ("days", worked, float((days["processing_h"] > 0).sum()), 0.0),
    ):  # fmt: skip
        if line.rows:
            middle, half = (span.most + span.least) / 2.0, (span.most - span.least) / 2.0 + last
            yield Number(plant, line.data.line, week.week_start_day, name, middle, half, true, None, None)


def _prices(home: Home, plant: str) -> dict[str, float]:
    con = connect(home.database, read_only=True)
    try:
        sql = """SELECT p.*, x.active_fraction, x.price_per_kg_neat FROM prices p JOIN polymers x USING (plant) WHERE p.plant = $plant
          QUALIFY row_number() OVER (ORDER BY x.from_utc, p.from_utc) = 1"""
        row: dict[str, float] = con.sql(sql, params={"plant": plant}).pl().to_dicts()[0]
        return row
    finally:
        con.close()


def _true(days: pl.DataFrame, fed: pl.DataFrame, price: dict[str, float]) -> dict[str, float]:
    """Return what the six were over the days of a week, as ratios of totals; nothing for a week without work."""
    ran = days.filter(pl.col("processing_h") > 0)
    if ran.is_empty():
        return {}
    total = {
        name: float(ran[name].sum()) for name in ("dry_solids_t", "polymer_active_kg", "cake_wet_t", "energy_kwh", "recycle_solids_kg")
    }
    solids, kept = total["dry_solids_t"], total["dry_solids_t"] - total["recycle_solids_kg"] / 1000.0
    water = float((ran["polymer_solution_m3"] + ran["wash_water_m3"]).sum())
    money = (
        total["polymer_active_kg"] / price["active_fraction"] * price["price_per_kg_neat"] + total["cake_wet_t"] * price["disposal_per_wet_t"]
        + total["energy_kwh"] * price["power_per_kwh"] + water * price["water_per_m3"] + total["recycle_solids_kg"] * price["recycle_per_kg"]
    )  # fmt: skip
    mixing = float((ran["mixing_dp_ref_kpa"] * ran["processing_h"]).sum() / ran["processing_h"].sum())
    return {
        DOSE: total["polymer_active_kg"] / solids, CAKE: 100.0 * kept / total["cake_wet_t"], CAPTURE: 100.0 * kept / solids, COST: money / solids,
        SOLIDS: float(fed["fed_t"].sum()), MIXING: mixing,
    }  # fmt: skip


def _number(plant: str, line: LineFacts, week: WeekData, name: str, true: float, faults: list[Fault]) -> Number:
    fault = next((f for f in faults if f.misleads(plant, name)), None)
    label = None if fault is None else f"{fault.label} {fault.start_utc:%m-%d %H:%M}"
    if not line.rows:
        return Number(plant, line.data.line, week.week_start_day, name, None, None, true, label, line.withheld)
    row = line.row(name)
    printed = row.stored if row.is_reported else None
    width = None
    if printed is not None and row.half_width is not None:
        shown = row.value(language.of(language.DEFAULT)).split(" ± ")
        width = float(shown[1].replace(",", "")) / row.printed.factor
        printed = float(shown[0].replace(",", "")) / row.printed.factor
    return Number(plant, line.data.line, week.week_start_day, name, printed, width, true, label, _doubt(line, name, fault), row.is_least)


def _doubt(line: LineFacts, name: str, fault: Fault | None) -> str | None:
    """Return what the page says against a number: why it is missing, whose meter is doubted; of a fault, a flag, a missing day, refused rows, usable minutes."""
    row = line.row(name)
    if not row.is_reported:
        return f"not printed: {row.why}"
    if row.doubts:
        return f"doubted: {row.doubts[0].role}, {row.doubts[0].reason}"
    if fault is None:
        return None
    untested = [role for role in line.untested if role.startswith("polymer")]
    if fault.kind == "weak solution" and untested:
        return f"untested: {untested[0]}"
    for flag in line.data.flags:
        if fault.overlaps(flag["start_utc"], flag["end_utc"]):
            return f"flag: {flag['detector']} ({flag['role']})"
    for day in line.in_week:
        if not fault.overlaps(day["period_start_utc"], day["period_end_utc"]) or not work.may_be_worked(day):
            continue
        if day.get(row.printed.kpi) is None:
            return f"a day without it: {day['operating_day']}"
        if day["operating_day"] in line.data.refused_lab_days:
            return f"lab rows refused on {day['operating_day']}"
        if day["is_provisional"]:
            return f"provisional: {day['operating_day']}"
    usable = facts.floor_pct(1.0 - ((line.data.this or {}).get("missed_share") or 0.0))
    return f"{usable} % of the minutes usable" if usable < 100 else None


def worst(found: list[Number]) -> str:
    """Return the numbers outside their interval, one a line, for the message of a test."""
    return "\n".join(
        f"{n.plant} {n.line} {n.week} {n.name}: {n.printed:.4g} ± {n.half_width or 0:.3g}, truth {n.true:.4g}; fault {n.fault}; doubt {n.doubt}"
        for n in found
        if n.is_outside
    )
