"""Checks of a plant's first days against each other and the plant's own figures: pure functions, minutes and results in, findings out.

Each finding says what was found, what would be usual, and what a wrong role, unit, zone or sign would make of it. The usual
spans are wide on purpose (common practice, no source): they tell a factor, not a drift.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from pipelines.plant.model import Line, PlantFile

AGREES, DOUBT, NOT_TESTABLE = "agrees", "doubt", "not testable"
_LEAST_RUNNING_MIN = 60  # minutes of running below which nothing is judged
FLOW_OF_REFERENCE = (0.3, 1.5)  # running feed flow / reference flow
SOLIDS_RECOVERY = (0.6, 1.3)  # solids hauled / solids fed: capture, and what a silo holds back
POLYMER_OF_DELIVERED = (0.3, 3.0)  # neat polymer used / delivered: a delivery lasts
DOSE_KG_T = (1.0, 40.0)  # active polymer per dry ton
FEED_TS, CAKE_TS = (0.3, 12.0), (8.0, 50.0)  # [%]
RUNNING_KPA = (5.0, 1_600.0)  # gauge, of a pump's discharge and a mixing point while running
FLOW_SPREAD = 0.35  # half the span of the middle half of flow per revolution, of its median
HOURS_APART = 0.2  # running hours by two witnesses, of the larger
SAMPLES_AT_REST = 0.5  # share of timed samples while the line stood
OWN_APART = 0.1  # of the plant's own figure


@dataclass(frozen=True)
class Finding:
    """One line of the table. `own`: the plant's own figure, where it was given."""

    line: str
    check: str
    found: float | None
    unit: str
    usual: str
    verdict: str
    hint: str = ""
    own: float | None = None


@dataclass(frozen=True)
class LineData:
    """What the first days hold of one line: minutes (SI columns, state) and used lab results (point, analyte, value, from_utc, half_width_h)."""

    line: Line
    minutes: pl.DataFrame
    results: pl.DataFrame
    days: int

    def has(self, *columns: str) -> bool:
        return all(c in self.minutes.columns and self.minutes[c].count() > 0 for c in columns)

    @property
    def fed(self) -> pl.DataFrame:
        """Return the minutes with feed above its cut-off."""
        return (
            self.minutes.filter(pl.col("sludge_flow_m3_h") > self.line.feed_cutoff)
            if self.has("sludge_flow_m3_h")
            else self.minutes.clear()
        )

    def mean(self, point: str, analyte: str) -> float | None:
        return _number(self.results.filter((pl.col("point") == point) & (pl.col("analyte") == analyte))["value"].mean())

    def total(self, point: str, analyte: str) -> float | None:
        values = self.results.filter((pl.col("point") == point) & (pl.col("analyte") == analyte))["value"]
        return float(values.sum()) if values.count() else None


def findings(data: LineData, plant_file: PlantFile, own: dict[str, float]) -> list[Finding]:
    """Return all findings of a line, the plant's own figures (by check) beside them."""
    found = [
        *totals(data),
        *flow(data),
        *solids(data),
        *polymer(data, plant_file),
        *pressures(data),
        *revolutions(data),
        *hours(data),
        *clock(data),
    ]
    return [_beside(f, own.get(f.check)) for f in found]


def _beside(finding: Finding, own: float | None) -> Finding:
    if own is None or finding.found is None:
        return finding
    is_apart = abs(finding.found - own) > OWN_APART * abs(own)
    hint = f"the plant says {own:g}: {finding.found / own:.3g} of it" if is_apart and own else finding.hint
    verdict = DOUBT if is_apart else AGREES if finding.verdict == NOT_TESTABLE else finding.verdict
    return Finding(finding.line, finding.check, finding.found, finding.unit, finding.usual, verdict, hint, own)


def totals(data: LineData) -> Iterator[Finding]:
    """Totals a day: to be held beside the plant's own; feed also beside its register."""
    for check, column, factor, unit in (
        ("feed volume", "sludge_flow_m3_h", 1 / 60, "m3/d"),
        ("neat polymer", "polymer_neat_flow_m3_h", 1_000 / 60, "L/d"),
        ("polymer solution", "polymer_solution_flow_m3_h", 1 / 60, "m3/d"),
        ("feed by register", "sludge_total_m3", 1.0, "m3/d"),
        ("energy by register", "energy_total_kwh", 1.0, "kWh/d"),
    ):
        if data.has(column):
            yield Finding(
                data.line.id, check, float(data.minutes[column].sum()) * factor / data.days, unit, "the plant's own total", NOT_TESTABLE
            )
    if data.has("sludge_flow_m3_h", "sludge_total_m3"):
        both = data.minutes.drop_nulls(["sludge_flow_m3_h", "sludge_total_m3"])
        share = _ratio(float(both["sludge_flow_m3_h"].sum()) / 60, float(both["sludge_total_m3"].sum()))
        yield _within(data, "feed meter / register", share, "-", (0.9, 1.1), "another unit or scale of meter or register")


def flow(data: LineData) -> Iterator[Finding]:
    """Running flow against the reference flow; negative flow."""
    if not data.has("sludge_flow_m3_h"):
        return
    median = _number(data.fed["sludge_flow_m3_h"].median()) if data.fed.height >= _LEAST_RUNNING_MIN else None
    hint = "another unit (gpm for m3/h is a factor of 4.4), a total or another machine's meter as sludge_flow; or reference_flow"
    yield _within(data, "running flow / reference flow", _ratio(median, data.line.reference_flow), "-", FLOW_OF_REFERENCE, hint)
    negative = float((data.minutes["sludge_flow_m3_h"] < -data.line.feed_cutoff).mean() or 0.0)  # type: ignore[arg-type]
    yield _within(data, "minutes of negative feed", negative, "-", (0.0, 0.01), "the sign of the meter is turned round")


def solids(data: LineData) -> Iterator[Finding]:
    """Plausible solids, and what was fed against what was hauled."""
    feed, cake = data.mean("feed", "ts"), data.mean("cake", "ts")
    if feed is not None:
        yield _within(data, "feed TS", feed, "%", FEED_TS, "another unit (mg/L, g/L) or another sample point")
    if cake is not None:
        yield _within(data, "cake TS", cake, "%", CAKE_TS, "another unit, or feed and cake exchanged")
    hauled = data.total("cake haul", "wet_mass")
    if hauled is not None and feed and cake and data.has("sludge_flow_m3_h"):
        fed_t = float(data.minutes["sludge_flow_m3_h"].clip(lower_bound=0).sum()) / 60 * data.line.sludge_sg * feed / 100
        yield _within(
            data, "solids hauled / fed", _ratio(hauled * cake / 100, fed_t), "-", SOLIDS_RECOVERY,
            "units of the tickets (short tons, pounds) or of the flow, TS of another point, or tickets of another line",
        )  # fmt: skip


def polymer(data: LineData, plant_file: PlantFile) -> Iterator[Finding]:
    """Dose against what is usual, and polymer used against deliveries."""
    product = next((p for p in plant_file.polymers if data.line.id in p.lines), None)
    if product is None:
        return
    column = "polymer_neat_flow_m3_h" if data.line.polymer_meter == "neat" else "polymer_solution_flow_m3_h"
    if not data.has(column):
        return
    volume = float(data.minutes[column].clip(lower_bound=0).sum()) / 60
    if data.line.polymer_meter == "neat" and product.density is not None:
        active = volume * product.density * product.active_fraction
    else:
        active = volume * 1_000 * (product.solution_strength_pct or 0.0) / 100
    feed = data.mean("feed", "ts")
    if feed and data.has("sludge_flow_m3_h"):
        fed_t = float(data.minutes["sludge_flow_m3_h"].clip(lower_bound=0).sum()) / 60 * data.line.sludge_sg * feed / 100
        hint = "unit of the polymer meter (L/h, L/min, gph), neat and solution exchanged, or unit of feed flow or TS"
        yield _within(data, "active polymer / dry solids", _ratio(active or None, fed_t), "kg/t", DOSE_KG_T, hint)
    delivered = data.total("polymer store", "delivered_mass")
    if delivered and product.active_fraction:
        used = active / product.active_fraction
        yield _within(data, "polymer used / delivered", _ratio(used, delivered), "-", POLYMER_OF_DELIVERED, "unit of meter or deliveries")


def pressures(data: LineData) -> Iterator[Finding]:
    """Pressures while running: of a usual size, discharge above suction, upstream above downstream by more than the height between."""
    fed = data.fed
    if fed.height < _LEAST_RUNNING_MIN:
        return
    for name in ("pump_discharge_pressure", "mixing_upstream_pressure", "mixing_downstream_pressure"):
        if data.has(f"{name}_kpa"):
            median = _number(fed[f"{name}_kpa"].median())
            yield _within(
                data, name.replace("_", " "), median, "kPa", RUNNING_KPA, "another unit (bar and psi differ by 14.5), or absolute pressure"
            )
    for above, below, height in (
        ("pump_discharge_pressure", "pump_suction_pressure", data.line.pump.gauge_elevation),
        ("mixing_upstream_pressure", "mixing_downstream_pressure", data.line.mixing_gauge_elevation),
    ):
        if data.has(f"{above}_kpa", f"{below}_kpa"):
            rise = _number((fed[f"{above}_kpa"] - fed[f"{below}_kpa"]).median())
            least = -9.81 * height  # kPa a metre of water between the gauges
            check = f"{above.replace('_', ' ')} over {below.split('_')[1]}"
            verdict = NOT_TESTABLE if rise is None else AGREES if rise > least else DOUBT
            yield Finding(
                data.line.id,
                check,
                rise,
                "kPa",
                f"> {least:.3g}",
                verdict,
                "" if verdict == AGREES else "the two gauges are exchanged, or one has another unit",
            )


def revolutions(data: LineData) -> Iterator[Finding]:
    """Flow per revolution of a displacement pump, which hardly changes within a week."""
    if data.line.pump.kind != "displacement" or not data.has("sludge_flow_m3_h", "pump_speed_rpm"):
        return
    turning = data.fed.filter(pl.col("pump_speed_rpm") > 1.0)
    if turning.height < _LEAST_RUNNING_MIN:
        return
    litres = turning.select(pl.col("sludge_flow_m3_h") * 1_000 / 60 / pl.col("pump_speed_rpm")).to_series()
    middle = _number(litres.median())
    spread = _ratio(((litres.quantile(0.75) or 0.0) - (litres.quantile(0.25) or 0.0)) / 2, middle)
    yield Finding(data.line.id, "flow a revolution", middle, "L", "the pump's data sheet", NOT_TESTABLE)
    yield _within(
        data, "spread of flow a revolution", spread, "-", (0.0, FLOW_SPREAD), "speed of another pump, speed in %, or a rotodynamic pump"
    )


def hours(data: LineData) -> Iterator[Finding]:
    """Running hours by each witness against those by the feed flow."""
    by_flow = data.fed.height / 60 / data.days if data.has("sludge_flow_m3_h") else None
    if by_flow is not None:
        yield Finding(data.line.id, "hours fed by flow", by_flow, "h/d", "the plant's hour meter", NOT_TESTABLE)
    for name in ("pump_run", "device_run"):
        if not data.has(f"{name}_share"):
            continue
        on = float((data.minutes[f"{name}_share"] >= 0.5).sum()) / 60 / data.days
        verdict, hint = NOT_TESTABLE, ""
        if by_flow is not None:
            is_near = abs(on - by_flow) <= HOURS_APART * max(on, by_flow, 1.0)
            both = (
                float(((data.minutes[f"{name}_share"] >= 0.5) & (data.minutes["sludge_flow_m3_h"] > data.line.feed_cutoff)).sum())
                / 60
                / data.days
            )
            is_same = both >= (1 - HOURS_APART) * min(on, by_flow)
            verdict = AGREES if is_near and is_same else DOUBT
            hint = "" if verdict == AGREES else "words of on and off exchanged, or another machine's state"
        yield Finding(data.line.id, f"hours by {name.replace('_', ' ')}", on, "h/d", "the hours fed by flow", verdict, hint)


def clock(data: LineData) -> Iterator[Finding]:
    """Samples with a time of day against running: taken while the line stood, one of the two clocks is in another zone."""
    timed = data.results.filter((pl.col("half_width_h") == 0) & pl.col("point").is_in(["feed", "cake", "filtrate"]))
    if not timed.height or not data.has("sludge_flow_m3_h"):
        return
    at = timed.select(minute_utc=pl.col("from_utc").dt.truncate("1m")).unique()
    met = at.join(data.minutes.select("minute_utc", "sludge_flow_m3_h").drop_nulls(), on="minute_utc")
    share = float((met["sludge_flow_m3_h"] <= data.line.feed_cutoff).mean()) if met.height else None  # type: ignore[arg-type]
    yield _within(data, "samples while not fed", share, "-", (0.0, SAMPLES_AT_REST), "time zone of the export or of the lab sheet")


def _within(data: LineData, check: str, found: float | None, unit: str, usual: tuple[float, float], hint: str) -> Finding:
    is_usual = found is not None and usual[0] <= found <= usual[1]
    verdict = NOT_TESTABLE if found is None else AGREES if is_usual else DOUBT
    return Finding(data.line.id, check, found, unit, f"{usual[0]:g} to {usual[1]:g}", verdict, hint if verdict == DOUBT else "")


def _ratio(a: float | None, b: float | None) -> float | None:
    return a / b if a is not None and b else None


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None
