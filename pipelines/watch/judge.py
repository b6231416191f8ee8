"""One line on one operating day: which rule looks at which signals, and what a flag then says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial
from itertools import pairwise

import numpy as np

from pipelines.plant.model import PlantFile
from pipelines.plant.watch_settings import Watch
from pipelines.watch import curve, gaps, judge_process, rules
from pipelines.watch.episodes import Episode, Mask, Values, episodes
from pipelines.watch.line_day import RUNNING, LineDay, Usual, changes, deadband_si, signal_on, span_si, together
from pipelines.watch.spans import Spans
from pipelines.watch.standing import pump_standing_at, standing_at
from pipelines.watch.words import Flag, flags_from, lasted, number, shown
from schemas.detectors import THIS_WEEK, TODAY
from schemas.roles import ROLES

OFF = ("stopped", "shutdown")
ON_WHOLE_MINUTE = 0.999  # share of the minute the run bit must be on; partial minutes of a start or stop do not count
SPEED_ON = 0.05  # of the speed span: the pump turns (rule of this project)
USUAL_DAYS = 5  # days that make a usual range (common practice, no source)
USUAL_LEAST = 600  # processing minutes that make a usual suction pressure or power (common practice, no source)
# Which signals move when one does (hydraulics; common practice, no source). Speeds and polymer flows may rightly stand still.
LINKED = {
    "sludge_flow": ("pump_speed", "pump_power", "pump_discharge_pressure"),
    "pump_discharge_pressure": ("sludge_flow",),
    "mixing_upstream_pressure": ("sludge_flow", "pump_discharge_pressure"),
}

CURVE_ROLES = ("sludge_flow", "mixing_upstream_pressure", "mixing_downstream_pressure")  # what the mixing curve is made of

_MOMENT = timedelta(microseconds=1)

Silence = Callable[[LineDay, str, int], int]  # line and day, role, minute: minutes before it without a reading


def flags_of(
    day: LineDay,
    before: Sequence[Usual],
    plant_file: PlantFile,
    refused: Mapping[tuple[str, str], Spans],
    silence: Silence,
    recorded: tuple[datetime | None, datetime | None],
    *,
    was_silent: bool,
) -> list[Flag]:
    """Return all flags of a line and day.

    `before` are the trailing days, `refused` says where readings lay out of range, `silence` how long a signal had no reading;
    `recorded` are the first and the last reading of the plant; `was_silent`: the day before ended in a silence of the line.
    """
    events = changes(plant_file, day.line.id)
    began = day.start + _MOMENT
    usual = together(before, standing_at(plant_file, day.line.id, began), pump_standing_at(plant_file, day.line.id, began))
    seconds = {role: spans.seconds_in(day) for (line, role), spans in refused.items() if line == day.line.id}
    flat = _flatlines(day, usual, plant_file)
    turns = pump_turns(day, plant_file, ON_WHOLE_MINUTE)
    flags = [
        *flat,
        *_out_of_range(day, seconds, plant_file.watch),
        *_gaps(day, plant_file, seconds, silence),
        *_silences(day, recorded, was_silent=was_silent),
        *_dry_runs(day, usual, plant_file),
        *_outages(day, plant_file),
        *judge_process.flags_of(day, usual, plant_file, turns, under_test(day, plant_file)),
        *_off_curves(day, before, plant_file, events, ~_within(day, flat, CURVE_ROLES)),
    ]
    return sorted(flags, key=lambda f: (f.start, f.detector, f.role or ""))


def critical_roles(day: LineDay) -> tuple[str, str]:
    """Return the signals without which there is no dose: sludge flow and the polymer meter."""
    return "sludge_flow", "polymer_neat_flow" if day.line.polymer_meter == "neat" else "polymer_solution_flow"


def pump_turns(day: LineDay, plant_file: PlantFile, least_share: float) -> Mask:
    """Return the minutes in which the pump is known to turn: run bit on, speed not near zero where it is known."""
    run, speed = day.series["pump_run"], day.series["pump_speed"]
    signal = signal_on(plant_file, day.line.id, "pump_speed", day.start)
    standing = speed.below(SPEED_ON * span_si(signal)) if signal else np.zeros(day.minutes, dtype=bool)
    turning = speed.known & ~standing if signal else np.zeros(day.minutes, dtype=bool)
    return np.where(run.known, (run.values >= least_share) & ~standing, turning)


def under_test(day: LineDay, plant_file: PlantFile) -> Mask:
    """Return the minutes of the day within declared dose ladders."""
    out, at = np.zeros(day.minutes, dtype=bool), plant_file.calendar.instant
    for ladder in (x for x in plant_file.ladders if x.line == day.line.id):
        for start, end in ladder.spans:
            first, last = ((at(t) - day.start).total_seconds() / 60.0 for t in (start, end))
            out[max(0, int(first)) : max(0, int(last))] = True
    return out


def _off_curves(day: LineDay, before: Sequence[Usual], plant_file: PlantFile, events: Sequence[datetime], valid: Mask) -> list[Flag]:
    """Judge each stretch of the day between changes by the curve of what stood in it: after a change the curve before is void."""
    line, minutes = day.line.id, np.arange(day.minutes)
    edges = [day.start, *(e for e in events if day.start < e < day.at(day.minutes)), day.at(day.minutes)]
    out: list[Flag] = []
    for start, end in pairwise(edges):
        usual = together(before, standing_at(plant_file, line, start + _MOMENT), pump_standing_at(plant_file, line, start + _MOMENT))
        out += _off_curve(day, usual, plant_file, valid & (minutes >= day.minute_of(start)) & (minutes < day.minute_of(end)))
    return out


def _within(day: LineDay, flags: Sequence[Flag], roles: Sequence[str]) -> Mask:
    """Return the minutes that flags of some roles cover: what follows from a cause is not flagged again."""
    out = np.zeros(day.minutes, dtype=bool)
    for flag in flags:
        if flag.role in roles:
            first, end = (int((t - day.start).total_seconds() // 60) for t in (flag.start, flag.end))
            out[first:end] = True
    return out


def _name(role: str) -> str:
    return role.replace("_", " ")


def _flatlines(day: LineDay, usual: Usual, plant_file: PlantFile) -> list[Flag]:
    """A signal that stood still is no witness against the others: its jump back is not a movement they missed."""
    out: list[Flag] = []
    seen = dict(day.series)
    for role, partners in LINKED.items():
        signal = signal_on(plant_file, day.line.id, role, day.start)
        if signal is None or role not in day.has:
            continue
        others = [(p, signal_on(plant_file, day.line.id, p, day.start)) for p in partners]
        linked = [rules.Linked(p, seen[p], span_si(s)) for p, s in others if s is not None and span_si(s) > 0]
        ranges = usual.ranges.get(role, ())
        usual_range = float(np.median(ranges)) if len(ranges) >= USUAL_DAYS else None
        limit = rules.still_below(span_si(signal), deadband_si(signal), plant_file.watch)
        found = rules.flatline(day.series[role], day.is_state("processing"), linked, limit, usual_range, plant_file.watch)
        known = seen[role].known.copy()
        for e in found:
            known[e.start : e.end] = False
        seen[role] = rules.Series(seen[role].values, known)
        severity = TODAY if role in critical_roles(day) else THIS_WEEK
        out += flags_from(day, "flatline", role, severity, found, partial(_says_flat, role=role, system=plant_file.plant.units))
    return out


def _says_flat(e: Episode, role: str, system: str) -> str:
    value = shown(number(e.facts, "value"), ROLES[role].dimension, system)
    return f"The {_name(role)} stood still at {value} for {lasted(e.end - e.start)} while the line was processing."


def _out_of_range(day: LineDay, seconds: Mapping[str, Values], settings: Watch) -> list[Flag]:
    out: list[Flag] = []
    for role in sorted(seconds):
        found = rules.out_of_range(seconds[role], ~day.is_state(*OFF), settings)
        out += flags_from(day, "out of range", role, TODAY, found, partial(_says_out, role=role))
    return out


def _says_out(e: Episode, role: str) -> str:
    return f"The {_name(role)} read outside its range for {lasted(e.held)}."


def _gaps(day: LineDay, plant_file: PlantFile, seconds: Mapping[str, Values], silence: Silence) -> list[Flag]:
    """Minutes under a reading out of range, or in a silence of the whole line, have a flag of their own and are no gap."""
    silent = np.zeros(day.minutes, dtype=bool)
    for e in episodes(day.unrecorded(), rules.SILENT_MIN):
        silent[e.start : e.end] = True
    running = day.is_state(*RUNNING) | pump_turns(day, plant_file, 0.5)
    of_role = dict[str, list[Episode]]()
    for role in critical_roles(day):
        if role not in day.has:
            continue
        explained = seconds[role] >= 30.0 if role in seconds else np.zeros(day.minutes, dtype=bool)
        found = rules.data_gap(~day.series[role].known & running & ~explained, running, partial(silence, day, role), plant_file.watch)
        of_role[role] = [e for e in found if silent[e.start : e.end].mean() < gaps.SAME_SHARE]
    return [f for roles, found in gaps.shared(of_role) for f in _gap_flags(day, roles, found)]


def _gap_flags(day: LineDay, roles: tuple[str, ...], found: list[Episode]) -> list[Flag]:
    names = " and the ".join(_name(r) for r in roles)

    def says(e: Episode) -> str:
        if len(roles) > 1 and day.unrecorded()[e.start : e.end].mean() >= gaps.SAME_SHARE:
            return f"Nothing was recorded of the line for {lasted(e.held)} while it ran: one gap of the export or the logger."
        tail = ": one gap of the export or the logger" if len(roles) > 1 else ""
        return f"The {names} {'were' if len(roles) > 1 else 'was'} not recorded for {lasted(e.held)} while the line ran{tail}."

    return flags_from(day, "data gap", roles[0] if len(roles) == 1 else None, TODAY, found, says)


def ends_silent(day: LineDay) -> bool:
    """Return whether nothing was recorded of the line for so long at the end of a day that it counts as a silence."""
    return bool(day.unrecorded()[-rules.SILENT_MIN :].all())


def _silences(day: LineDay, recorded: tuple[datetime | None, datetime | None], *, was_silent: bool) -> list[Flag]:
    """Return long times without any record of the line, between records of the plant: what has not come yet is no gap.

    A silence that the day before ended with goes on: it is one fact, flagged on its first day.
    """
    first, last = recorded
    if first is None or last is None:
        return []
    found = [e for e in episodes(day.unrecorded(), rules.SILENT_MIN) if first <= day.at(e.start) and day.at(e.end) <= last]
    new = [e for e in found if e.start > 0 or not was_silent]

    def says(e: Episode) -> str:
        return f"Nothing was recorded of the line for {lasted(e.held)}{', to the end of the day and perhaps beyond' if e.end == day.minutes else ''}."

    return flags_from(day, "data gap", None, TODAY, new, says)


def _dry_runs(day: LineDay, usual: Usual, plant_file: PlantFile) -> list[Flag]:
    enough = len(usual.suction) >= USUAL_LEAST
    suction_low = day.line.pump.suction_minimum
    if suction_low is None and enough:
        suction_low = float(np.median(usual.suction)) - plant_file.watch.blocked_suction_drop
    power_low = rules.POWER_LOW_SHARE * float(np.median(usual.power)) if len(usual.power) >= USUAL_LEAST else None
    series = day.series
    pump = rules.PumpSeries(
        pump_turns(day, plant_file, ON_WHOLE_MINUTE), series["sludge_flow"], day.line.feed_cutoff,
        series["pump_suction_pressure"], suction_low, series["pump_power"], power_low,
    )  # fmt: skip
    found = rules.dry_run(pump, day.is_state("start-up"), plant_file.watch)
    sure = [e for e in found if e.facts["confirmed"] == "yes"]
    open_ = [e for e in found if e.facts["confirmed"] == "no"]
    return [
        *flags_from(day, "dry run", None, TODAY, sure, lambda e: f"The feed pump turned without sludge for {lasted(e.held)}; suction pressure and power say the same."),
        *flags_from(day, "dry run", None, THIS_WEEK, open_, lambda e: f"The feed pump turned without sludge flow for {lasted(e.held)}; only the flow meter says so."),
    ]  # fmt: skip


def _outages(day: LineDay, plant_file: PlantFile) -> list[Flag]:
    feed_role, polymer_role = critical_roles(day)
    if polymer_role not in day.has:
        return []
    found = rules.polymer_outage(
        day.series[feed_role], day.line.feed_cutoff, day.series[polymer_role], day.line.polymer_cutoff, day.is_state("start-up"), plant_file.watch,
    )  # fmt: skip
    system = plant_file.plant.units
    return flags_from(
        day, "polymer outage", polymer_role, TODAY, found,
        lambda e: f"Sludge was fed without polymer for {lasted(e.held)}, {shown(number(e.facts, 'sludge_without_polymer_m3'), 'volume', system)} in all.",
    )  # fmt: skip


def _off_curve(day: LineDay, usual: Usual, plant_file: PlantFile, valid: Mask) -> list[Flag]:
    fitted = curve.fitted(usual.flow, usual.dp)
    if fitted is None:
        return []
    flow, dp = day.series["sludge_flow"], day.mixing_dp()
    judged = day.is_state("processing") & flow.known & dp.known & valid
    out: list[Flag] = []
    for detector, above in (("mixing pressure high", True), ("mixing pressure low", False)):
        found = curve.off_curve(flow.values, dp.values, judged, fitted, plant_file.watch, above=above)
        out += flags_from(
            day, detector, None, THIS_WEEK, found, partial(_says_off, side="above" if above else "below", system=plant_file.plant.units)
        )
    return out


def _says_off(e: Episode, side: str, system: str) -> str:
    residual = shown(abs(number(e.facts, "residual_kpa")), "pressure", system)
    return f"The mixing pressure drop lay {residual} {side} the curve of the days before for {lasted(e.end - e.start)}."
