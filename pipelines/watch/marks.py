"""One line on one operating day: the marks of its signals, and the flags that follow from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from pipelines.base import units
from pipelines.plant import limits, registers
from pipelines.plant.model import PlantFile, Signal
from pipelines.watch import clocks, rules, signal_character
from pipelines.watch.episodes import Episode, Mask
from pipelines.watch.judge import LINKED, SPEED_ON
from pipelines.watch.line_day import RUNNING, SEEN, LineDay, signals_on, span_si
from pipelines.watch.readings_lookup import Said
from pipelines.watch.words import Flag, lasted, shown
from schemas.detectors import NOTE, THIS_WEEK, TODAY
from schemas.roles import ROLES, TOP_IS_TRUE

# Which signals move when one does; of a polymer meter at least the sludge flow it is paced by (common practice, no source).
MOVES = LINKED | {"polymer_neat_flow": ("sludge_flow",), "polymer_solution_flow": ("sludge_flow",)}
FED = ("sludge_flow", "polymer_neat_flow", "polymer_solution_flow")  # meters that read nothing when the line is stopped


@dataclass(frozen=True)
class Mark:
    """One row of `signal_marks` before plant and data version are added."""

    line: str
    operating_day: date
    role: str
    frozen_minutes: int = 0
    clipped_minutes: int = 0
    is_setpoint_like: bool = False
    is_resampled: bool = False
    repeat_share: float | None = None
    zero_offset_m3_h: float | None = None
    zero_offset_share: float | None = None
    negative_minutes: int = 0
    negative_m3: float | None = None
    run_flow_lag_s: float | None = None
    stuck_minutes: int = 0
    register_ratio: float | None = None

    def row(self, plant: str, data_version: str) -> dict[str, Any]:
        return {"plant": plant, **vars(self), "data_version": data_version}


def of_day(day: LineDay, plant_file: PlantFile, said: Said, flags: Sequence[Flag]) -> tuple[list[Mark], list[Flag]]:
    """Return the marks of all signals of a line and day, and their flags; `flags` are those of the other rules."""
    marks: list[Mark] = []
    out: list[Flag] = []
    on = signals_on(plant_file, day.line.id, day.start)
    during = During(day.is_state("processing"), day.is_state(*RUNNING), signal_character.settled(day.is_state("stopped")))
    for role in SEEN:
        signal = on.get(role)
        if signal is None or role not in day.has:
            continue
        frozen = [f for f in flags if f.detector == "flatline" and f.role == role]
        mark = Mark(day.line.id, day.day, role, frozen_minutes=sum(f.held for f in frozen))
        one = _Signal(day, plant_file, said, role, signal, span_si(signal), during, on)
        if ROLES[role].kind == "analog" and one.span > 0:
            mark, more = _analog(one, mark, _under(day, frozen))
        elif role == "pump_run":
            mark, more = _run_bit(one, mark)
        else:
            mark, more = _register(one, mark) if ROLES[role].kind == "totaliser" else (mark, [])
        marks.append(mark)
        out += more
    return marks, sorted(out, key=lambda f: (f.start, f.detector, f.role or ""))


def out_of_order(day: LineDay, found: Sequence[tuple[datetime, str, int, float]]) -> list[Flag]:
    """Return a flag for the files whose first step back in time lies on the day; one a minute."""
    flags: dict[int, Flag] = {}
    for at, name, count, largest in found:
        minute = int((at - day.start).total_seconds() // 60)
        if 0 <= minute < day.minutes and minute not in flags:
            sentence = f"In the file {name} time went back {count} {'time' if count == 1 else 'times'}, by up to {largest:,.0f} s, from one row to the next."
            facts: dict[str, float | int | str | None] = {"file": name, "steps_back": count, "largest_step_s": largest}
            flags[minute] = Flag(
                "clock error", day.line.id, None, day.day, day.at(minute), day.at(minute + 1), 1, THIS_WEEK, sentence, facts
            )
    return list(flags.values())


@dataclass(frozen=True)
class During:
    """Minutes of a day in which the line was processing, running, or stopped for long."""

    processing: Mask
    running: Mask
    quiet: Mask


@dataclass(frozen=True)
class _Signal:
    """One signal of a line and day; `span` of its transmitter in SI."""

    day: LineDay
    plant_file: PlantFile
    said: Said
    role: str
    signal: Signal
    span: float
    during: During
    on: Mapping[str, Signal]

    @property
    def series(self) -> rules.Series:
        return self.day.series[self.role]

    @property
    def name(self) -> str:
        return self.role.replace("_", " ")

    @property
    def linked(self) -> list[rules.Linked]:
        found = [(p, self.on.get(p)) for p in MOVES.get(self.role, ())]
        return [rules.Linked(p, self.day.series[p], span_si(s)) for p, s in found if s is not None and span_si(s) > 0]

    def shown(self, value: float, dimension: str = "") -> str:
        small = "small flow" if self.role.startswith("polymer") else "flow"
        return shown(value, dimension or small, self.plant_file.plant.units)

    def flag(self, detector: str, severity: str, episode: Episode, sentence: str) -> Flag:
        day, e = self.day, episode
        return Flag(detector, day.line.id, self.role, day.day, day.at(e.start), day.at(e.end), e.held, severity, sentence, e.facts)


def _under(day: LineDay, flags: Sequence[Flag]) -> Mask:
    out = np.zeros(day.minutes, dtype=bool)
    for flag in flags:
        first, end = (int((t - day.start).total_seconds() // 60) for t in (flag.start, flag.end))
        out[first:end] = True
    return out


def _whole(minutes: Mask, facts: dict[str, float | int | str | None]) -> Episode:
    """Return some minutes of a day as one episode."""
    at = np.flatnonzero(minutes)
    return Episode(int(at[0]), int(at[-1]) + 1, len(at), facts)


def _analog(one: _Signal, mark: Mark, frozen: Mask) -> tuple[Mark, list[Flag]]:
    low = units.to_si(one.signal.range[0], one.signal.unit) if one.signal.range else 0.0
    flags: list[Flag] = []
    if one.role not in TOP_IS_TRUE:
        minutes, found = signal_character.clipped(one.series, low, one.span)
        mark = replace(mark, clipped_minutes=minutes)
        for e in found:
            top = {"range_top_share": signal_character.CLIPPED_SHARE, "value": one.series.mean(e)}
            flags.append(
                one.flag("clipped", THIS_WEEK, replace(e, facts=top), f"The {one.name} stood at the top of its range for {lasted(e.held)}.")
            )
    if one.role in FED:
        mark, more = _zero(one, mark)
        flags += more
    mark, more = _variation(one, mark, frozen)
    return mark, flags + more


def _zero(one: _Signal, mark: Mark) -> tuple[Mark, list[Flag]]:
    flags: list[Flag] = []
    quiet = one.during.quiet
    offset = signal_character.zero_offset(one.series, quiet)
    if offset is not None:
        mark = replace(mark, zero_offset_m3_h=offset, zero_offset_share=offset / one.span)
        if abs(offset) > signal_character.OFFSET_SHARE * one.span:
            seen = quiet & one.series.known
            e = _whole(
                seen, {"offset_m3_h": offset, "offset_share_of_span": offset / one.span, "phantom_m3": offset * float(seen.sum()) / 60.0}
            )
            flags.append(one.flag("zero offset", NOTE, e, f"The {one.name} read {one.shown(offset)} while the line was stopped."))
    negative, volume = signal_character.below_zero(one.series, one.during.running, one.span)
    mark = replace(mark, negative_minutes=int(negative.sum()), negative_m3=volume)
    if negative.any():
        e = _whole(negative, {"negative_m3": volume, "lowest_m3_h": float(one.series.values[negative].min())})
        said = f"The {one.name} read below zero for {lasted(e.held)} while the line ran, {one.shown(volume, 'volume')} in all; totals count it as zero."
        flags.append(one.flag("negative flow", NOTE, e, said))
    return mark, flags


def _variation(one: _Signal, mark: Mark, frozen: Mask) -> tuple[Mark, list[Flag]]:
    """Set-points and held values: minutes raise the question, the readings of the day answer it."""
    processing = one.during.processing
    again, share = signal_character.repeats(one.series, processing, one.span)
    mark = replace(mark, repeat_share=share)
    judged = processing & one.series.known
    if one.role in MOVES and signal_character.stands(one.series, processing, one.span) and signal_character.moved(one.linked, judged):
        read = one.said.some_of_day(one.signal.tag, one.day).within(judged).distinct_minutes
        if read >= signal_character.SETPOINT_MIN:
            e = _whole(judged, {"value": float(one.series.values[judged][0]), "minutes_with_reading": read})
            sentence = (
                f"The {one.name} did not vary at all in {lasted(e.held)} of processing while other signals moved: it may be a set-point."
            )
            return replace(mark, is_setpoint_like=True), [one.flag("set-point as value", THIS_WEEK, e, sentence)]
        return mark, []
    if one.role not in LINKED or one.signal.deadband > 0:  # others may rightly stand still, and a deadband is stated
        return mark, []
    if frozen.any():
        again, share = signal_character.repeats(one.series, processing & ~frozen, one.span)
    if share is None or share < signal_character.REPEAT_SHARE or not signal_character.others_moved(one.linked, again):
        return mark, []
    if not signal_character.is_held_grid(one.said.some_of_day(one.signal.tag, one.day).within(judged & ~frozen), one.span):
        return mark, []
    e = _whole(again, {"repeat_share": share})
    sentence = f"The {one.name} repeats itself in {100 * share:.0f} % of its minutes and moves in jumps: held values, not measured ones."
    return replace(mark, is_resampled=True), [one.flag("resampled", NOTE, e, sentence)]


def _run_bit(one: _Signal, mark: Mark) -> tuple[Mark, list[Flag]]:
    day, flow = one.day, one.day.series["sludge_flow"]
    said, flags = one.said.of_day(one.signal.tag, day), list[Flag]()
    if clocks.told_each_min(flow, one.during.running) <= clocks.COARSE_MIN:
        lag = clocks.edge_lag(clocks.bit_edges(said.at, said.value), clocks.flow_edges(flow, day.line.feed_cutoff))
        if lag is not None:
            mark = replace(mark, run_flow_lag_s=lag.seconds)
            flags += _late(one, lag)
    speed, power = (one.on.get(role) for role in ("pump_speed", "pump_power"))
    meter = one.on.get("sludge_flow")
    standing = day.series["pump_speed"].below(SPEED_ON * span_si(speed)) if speed else np.zeros(day.minutes, dtype=bool)
    seen = clocks.Witnesses(
        flow,
        day.line.feed_cutoff,
        span_si(meter) if meter else np.inf,
        standing,
        day.series["pump_power"],
        span_si(power) if power else 0.0,
        _turning(day, speed),
    )
    before = one.said.of_day(one.signal.tag, day, min(limits.LONGEST_HOLD, np.timedelta64(one.signal.hold_us, "us").item()))
    found = clocks.stuck(clocks.bit_by_minute(before.at, before.value, one.signal.hold_us / 60e6, day.minutes), seen)
    for e in found:
        denied = "flow and speed say that it stood" if e.facts["run_bit"] == "on" else "flow and power or speed say that it ran"
        sentence = f"The run bit of the feed pump was {e.facts['run_bit']} for {lasted(e.held)} while {denied}."
        flags.append(one.flag("stuck run bit", THIS_WEEK, e, sentence))
    return replace(mark, stuck_minutes=sum(e.held for e in found)), flags


def _turning(day: LineDay, speed: Signal | None) -> Mask:
    """Return the minutes in which the speed meter shows that the pump turns."""
    seen = day.series["pump_speed"]
    return seen.known & (seen.values > clocks.STUCK_SHARE * span_si(speed)) if speed else np.zeros(day.minutes, dtype=bool)


def _late(one: _Signal, lag: clocks.Lag) -> list[Flag]:
    if abs(lag.seconds) <= clocks.LAG_WARN_S:
        return []
    severity = TODAY if abs(lag.seconds) > clocks.LAG_HOLD_S else THIS_WEEK
    first, end = max(int(lag.first), 0), min(int(lag.last) + 1, one.day.minutes)
    e = Episode(first, max(end, first + 1), max(1, round(lag.edges * abs(lag.seconds) / 60)), {"lag_s": lag.seconds, "edges": lag.edges})
    who = "after" if lag.seconds > 0 else "before"
    doubt = " Run hours and flow of the day cannot be put side by side." if severity == TODAY else ""
    sentence = (
        f"The sludge flow started and stopped {abs(lag.seconds):.0f} s {who} the run bit, {lag.edges} times: two clocks differ.{doubt}"
    )
    return [one.flag("clock error", severity, e, sentence)]


def _register(one: _Signal, mark: Mark) -> tuple[Mark, list[Flag]]:
    day, flags = one.day, list[Flag]()
    meters = [m for m in registers.METERS.get(one.role, ()) if m in day.has]
    if len(meters) == 1:
        running = one.during.running
        ratio = signal_character.register_ratio(one.series, day.series[meters[0]], running)
        mark = replace(mark, register_ratio=ratio)
        if ratio is not None and not signal_character.RATIO[0] <= ratio <= signal_character.RATIO[1]:
            e = _whole(one.series.known & day.series[meters[0]].known & running, {"ratio": ratio, "meter": meters[0]})
            sentence = f"The register {one.name} counted {ratio:.3f} of what its meter shows."
            flags.append(one.flag("totaliser ratio", THIS_WEEK, e, sentence))
    most = registers.largest_rate(one.role, one.plant_file.signals_of(day.line.id)) if one.role in registers.METERS else None
    events = {minute: rest for minute, *rest in one.said.register_events(one.signal, most, day)}
    return mark, flags + [_odd(one, minute, *rest) for minute, rest in sorted(events.items())]


def _odd(one: _Signal, minute: int, verdict: float, before: float, after: float) -> Flag:
    unit = ROLES[one.role].unit
    e = Episode(minute, minute + 1, 1, {"register_before": before, "register_after": after})
    reset = verdict == registers.RESET
    what = "was reset" if reset else "jumped by more than can be"
    tail = "; what it shows since then is counted" if reset else "; the time between the two readings is left out"
    sentence = f"The register {one.name} {what}, from {before:,.0f} to {after:,.0f} {unit}{tail}."
    return one.flag("totaliser reset" if reset else "totaliser jump", NOTE if reset else THIS_WEEK, e, sentence)
