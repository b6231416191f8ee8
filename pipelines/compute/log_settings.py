"""Write the logs of the plant file as small tables for SQL joins: arrangements, limits, service log, references, ladders, baseline intervals, events."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from pipelines.plant import arrangements
from pipelines.plant.arrangements import PumpSpan, Spell
from pipelines.plant.calendar import FAR_FUTURE, LONG_AGO
from pipelines.plant.logs import Baseline, BaselinePeriod, Ladder, Service
from pipelines.plant.model import Event, PlantFile

_NOT_MEASURED = "no commissioning reference in the plant file"
Rows = list[dict[str, Any]]


def rows(plant: str, plant_file: PlantFile) -> dict[str, Rows]:
    """Return the rows of every log table."""
    spans = [span for line in plant_file.lines for span in arrangements.pump_spans(plant_file, line.id)]
    served = list(dict.fromkeys((span.line, span.pump) for span in spans))
    return {
        "arrangements": [_arrangement(plant, spell) for line in plant_file.lines for spell in arrangements.of_line(plant_file, line.id)],
        "line_limits": _limits(plant, plant_file),
        "pump_spans": [_pump_span(plant, plant_file, span) for span in spans],
        "service_log": [_service(plant, plant_file, line, x) for line, pump in served for x in plant_file.service if x.pump == pump],
        "pump_baselines": [row for line, pump in served for row in _baselines(plant, plant_file, line, pump)],
        "ladder_steps": [row for ladder in plant_file.ladders for row in _steps(plant, plant_file, ladder)],
        "baseline_periods": [_period(plant, x) for x in plant_file.baseline_periods],
        "line_events": [_event(plant, plant_file, x) for x in plant_file.events],
    }


def _arrangement(plant: str, spell: Spell) -> dict[str, Any]:
    return {
        "plant": plant, "line": spell.line, "arrangement": spell.name, "pump": spell.pump, "from_utc": spell.start_utc, "to_utc": spell.end_utc,
        "transition_to_utc": spell.transition_end_utc, "note": spell.note or None,
    }  # fmt: skip


def _pump_span(plant: str, plant_file: PlantFile, span: PumpSpan) -> dict[str, Any]:
    pump = next(p for p in plant_file.all_pumps if p.id == span.pump)
    return {
        "plant": plant, "line": span.line, "pump": pump.id, "from_utc": span.start_utc, "to_utc": span.end_utc, "pump_kind": pump.kind,
        "pump_elevation_m": pump.gauge_elevation, "suction_pipe_m": pump.suction_pipe, "discharge_pipe_m": pump.discharge_pipe,
    }  # fmt: skip


def _limits(plant: str, plant_file: PlantFile) -> Rows:
    band = {t.line: t.si(t.at_least) for t in plant_file.targets if t.kpi == "cake_ts_pct" and t.at_least is not None}
    layouts = sum(not layout.is_lab for layout in plant_file.layouts)
    return [
        {"plant": plant, "line": x.id, "pump": x.pump.id, "suction_minimum_kpa": x.pump.suction_minimum, "cake_at_least_pct": band.get(x.id),
         "data_layouts": layouts}
        for x in plant_file.lines
    ]  # fmt: skip


def _service(plant: str, plant_file: PlantFile, line: str, x: Service) -> dict[str, Any]:
    at = plant_file.calendar.since(x.at)
    return {
        "plant": plant, "line": line, "pump": x.pump, "at_utc": at, "operating_day": plant_file.calendar.operating_day(at), "kind": x.kind,
        "resets_overhaul": x.resets_overhaul, "ends_reference": x.ends_reference, "note": x.note or None,
    }  # fmt: skip


def _baselines(plant: str, plant_file: PlantFile, line: str, pump: str) -> Rows:
    """Return the time spans of a pump, without gaps, each with its reference or the reason why there is none."""
    measured = {plant_file.calendar.since(x.at): x for x in plant_file.baselines if x.pump == pump}
    changed = {plant_file.calendar.since(x.at): x for x in plant_file.service if x.pump == pump and x.ends_reference}
    starts = sorted({LONG_AGO, *measured, *changed})
    out: Rows = []
    for start, end in zip(starts, [*starts[1:], FAR_FUTURE], strict=True):
        row = {"plant": plant, "line": line, "pump": pump, "from_utc": start, "to_utc": end, "no_reference": None}
        if start in measured:
            out.append(row | _reference(plant_file, start, measured[start]))
        elif start in changed:
            day = plant_file.calendar.operating_day(start)
            out.append(row | {"no_reference": f"{changed[start].kind} of {day}: no commissioning reference since"})
        else:
            first = min(measured, default=None)
            reason = _NOT_MEASURED if first is None else f"before the commissioning test of {plant_file.calendar.operating_day(first)}"
            out.append(row | {"no_reference": reason})
    return out


def _reference(plant_file: PlantFile, at: datetime, x: Baseline) -> dict[str, Any]:
    low, high = x.ts_window or (None, None)
    row: dict[str, Any] = {"measured_day": plant_file.calendar.operating_day(at), "ts_low_pct": low, "ts_high_pct": high}
    if x.displacement is not None:
        return row | {"displacement_m3_rev": x.displacement, "slip_form": x.slip_form, "slip_k0": x.slip_k0()}
    c0, c1, c2 = x.head_coefficients()
    first, last = x.curve_span_m3_h()
    return row | {
        "reference_speed_rpm": x.reference_speed, "head_c0_m": c0, "head_c1": c1, "head_c2": c2, "curve_low_m3_h": first, "curve_high_m3_h": last,
        "curve_rms_m": x.curve_rms_m(),
    }  # fmt: skip


def _steps(plant: str, plant_file: PlantFile, ladder: Ladder) -> Rows:
    spans = [(plant_file.calendar.instant(start), plant_file.calendar.instant(end)) for start, end in ladder.spans]
    return [
        {
            "plant": plant, "line": ladder.line, "ladder": ladder.name, "step_no": no, "start_utc": start, "end_utc": end,
            "first_day": plant_file.calendar.operating_day(start), "last_day": plant_file.calendar.operating_day(end - timedelta(minutes=1)),
            "washout_min": ladder.washout * 60.0,
        }
        for no, (start, end) in enumerate(spans, start=1)
    ]  # fmt: skip


def _period(plant: str, x: BaselinePeriod) -> dict[str, Any]:
    return {"plant": plant, "line": x.line, "first_day": x.first_day, "last_day": x.last_day}


def _event(plant: str, plant_file: PlantFile, x: Event) -> dict[str, Any]:
    return {
        "plant": plant,
        "line": x.line,
        "operating_day": plant_file.calendar.operating_day(plant_file.calendar.since(x.at)),
        "what": x.what,
    }
