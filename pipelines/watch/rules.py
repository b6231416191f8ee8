"""Logical rules: series of contiguous minutes in, episodes out. Nothing is deleted or corrected here.

Limits are those of the block [watch] of the plant file; what stands here is common practice without a source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.plant.watch_settings import DEFAULTS, Watch
from pipelines.watch.episodes import MERGE_MIN, Episode, Mask, Values, episodes, merged, runs

FLAT_WINDOW_MIN = 30  # [min] in which a live signal must move
FLAT_LONG_MIN = 120  # [min] after which a lively signal must have moved, whatever the others did
LIVELY = 3.0  # times the limit: a signal whose usual range over 30 minutes is more than that is lively
POWER_LOW_SHARE = 0.7  # of the usual power counts as low
SILENT_MIN = 720  # [min] without any record of a line; while it stands it may be silent for hours (rule of this project)


@dataclass(frozen=True)
class Series:
    """A signal over contiguous minutes: its values, and where they are known."""

    values: Values
    known: Mask

    def below(self, limit: float) -> Mask:
        """Return where the value is known and below the limit."""
        return self.known & (self.values < limit)

    def mean(self, episode: Episode, within: Mask | None = None) -> float | None:
        """Return the mean of the known values of an episode (of its minutes `within`), None when there are none."""
        part = slice(episode.start, episode.end)
        used = self.known[part] if within is None else self.known[part] & within[part]
        return float(self.values[part][used].mean()) if used.any() else None


@dataclass(frozen=True)
class Linked:
    """A signal that moves when another one does; `span` is its transmitter span."""

    role: str
    series: Series
    span: float


def flatline(
    series: Series, processing: Mask, linked: Sequence[Linked], limit: float, usual_range: float | None, settings: Watch = DEFAULTS
) -> list[Episode]:
    """Return where a signal stood still over 30 processing minutes or more, although it should have moved.

    Still: range over 30 minutes below `limit` (see `still_below`). It should have moved when a linked signal moved by more
    than 3 % of its span within such minutes, or when it stood for two hours and its `usual_range` over 30 minutes (None when
    not known) is more than three times the limit.
    """
    still = window_range(series, processing) < limit
    moved = np.zeros_like(still)
    for other in linked:
        moved |= window_range(other.series, processing) > settings.flatline_linked_pct / 100.0 * other.span
    lively = usual_range is not None and usual_range > LIVELY * limit
    holds = np.zeros(len(processing), dtype=bool)
    for first, after in runs(still):
        end = after - 1 + FLAT_WINDOW_MIN
        if moved[first:after].any() or (lively and end - first >= FLAT_LONG_MIN):
            holds[first:end] = True
    return [
        replace(e, facts=_flat_facts(e, series, processing, linked, limit) | {"usual_range": usual_range})
        for e in episodes(holds, FLAT_WINDOW_MIN)
    ]


def still_below(span: float, deadband: float, settings: Watch = DEFAULTS) -> float:
    """Return the range below which a signal counts as still: max(0.1 % of its span, deadband / 2), in its unit."""
    return max(settings.flatline_span_pct / 100.0 * span, deadband / 2)


def window_range(series: Series, within: Mask) -> Values:
    """Return the range over each window of 30 minutes, by its first minute; NaN where a minute of it is unknown or not within."""
    if len(within) < FLAT_WINDOW_MIN:
        return np.empty(0)
    seen = np.where(series.known & within, series.values, np.nan)
    return _over_windows(seen, np.maximum) - _over_windows(seen, np.minimum)


def _over_windows(values: Values, larger_of: np.ufunc) -> Values:
    """Return the maximum (or minimum) over each window of 30 minutes, by doubling the width; NaN stays NaN."""
    out, width = values, 1
    while width < FLAT_WINDOW_MIN:
        step = min(width, FLAT_WINDOW_MIN - width)
        out, width = larger_of(out[:-step], out[step:]), width + step
    return out


def _flat_facts(
    e: Episode, series: Series, processing: Mask, linked: Sequence[Linked], limit: float
) -> dict[str, float | int | str | None]:
    part = slice(e.start, e.end)

    def moved(s: Series) -> float:
        seen = s.values[part][s.known[part] & processing[part]]
        return float(seen.max() - seen.min()) if len(seen) else 0.0

    facts: dict[str, float | int | str | None] = {"value": series.mean(e), "range": moved(series), "range_limit": limit}
    if linked:
        other = max(linked, key=lambda o: (moved(o.series) / o.span, o.role))
        facts |= {"linked_role": other.role, "linked_moved_pct_of_span": 100.0 * moved(other.series) / other.span}
    return facts


def out_of_range(seconds: Values, judged: Mask, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where readings lay outside the range; `seconds` of each minute stand under such a reading, half of it counts."""
    found = episodes((seconds >= 30.0) & judged, settings.out_of_range_min)
    return [replace(e, facts={"minutes_out_of_range": float(seconds[e.start : e.end].sum() / 60.0)}) for e in found]


@dataclass(frozen=True)
class PumpSeries:
    """Signals that reveal a dry run: pump on for the whole minute, sludge flow, and suction pressure and power with their low limits."""

    on: Mask
    flow: Series
    flow_cutoff: float
    suction: Series
    suction_low: float | None
    power: Series
    power_low: float | None


def dry_run(pump: PumpSeries, start_up: Mask, settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where the pump turned without sludge: confirmed by low suction pressure and power, or by the flow alone.

    Witnesses are judged by their mean over the episode: each that is known must be low, and one must be known. Flow alone
    counts after three minutes, and only within a run: the minute before had flow. `confirmed` in the facts is yes or no.
    """
    empty = pump.on & pump.flow.below(pump.flow_cutoff) & ~start_up
    flowing = pump.flow.known & (pump.flow.values >= pump.flow_cutoff)
    found = []
    for e in episodes(empty, settings.dry_run_min):
        witnesses = [
            mean < low
            for series, low in ((pump.suction, pump.suction_low), (pump.power, pump.power_low))
            if low is not None and (mean := series.mean(e, empty)) is not None
        ]
        if witnesses and all(witnesses):
            found.append(replace(e, facts=_dry_facts(e, pump, empty, "yes")))
        elif any(b - a >= settings.dry_run_flow_only_min and a > 0 and flowing[a - 1] for a, b in runs(empty) if e.start <= a < e.end):
            found.append(replace(e, facts=_dry_facts(e, pump, empty, "no")))
    return found


def _dry_facts(e: Episode, pump: PumpSeries, empty: Mask, confirmed: str) -> dict[str, float | int | str | None]:
    return {
        "confirmed": confirmed,
        "sludge_flow_m3_h": pump.flow.mean(e, empty),
        "feed_cutoff_m3_h": pump.flow_cutoff,
        "suction_pressure_kpa": pump.suction.mean(e, empty),
        "suction_low_kpa": pump.suction_low,
        "pump_power_kw": pump.power.mean(e, empty),
        "power_low_kw": pump.power_low,
    }


def polymer_outage(
    feed: Series, feed_cutoff: float, polymer: Series, polymer_cutoff: float, start_up: Mask, settings: Watch = DEFAULTS
) -> list[Episode]:
    """Return where sludge flowed and polymer did not, both meters known, start-up left out. Flows decide, not the state."""
    fed = feed.known & (feed.values > feed_cutoff)
    without = fed & polymer.below(polymer_cutoff) & ~start_up
    found = episodes(without, settings.polymer_outage_min)
    return [
        replace(
            e,
            facts={
                "sludge_flow_m3_h": feed.mean(e),
                "polymer_flow_m3_h": polymer.mean(e),
                "polymer_cutoff_m3_h": polymer_cutoff,
                "sludge_without_polymer_m3": float(feed.values[e.start : e.end][without[e.start : e.end]].sum() / 60.0),
            },
        )
        for e in found
    ]


def data_gap(missing: Mask, running: Mask, silent_before: Callable[[int], int], settings: Watch = DEFAULTS) -> list[Episode]:
    """Return where nothing was recorded of a signal for long while the line ran.

    `missing`: value unknown while running. A value is held for a while after its last reading, so a gap begins before it
    shows: `silent_before(k)` is how many minutes before minute k had no reading; those in which the line ran count.
    """
    spans = []
    for start, end in runs(missing):
        begin = start
        while begin > 0 and start - begin < silent_before(start) and running[begin - 1]:
            begin -= 1
        spans.append((begin, end))
    found = [(a, b) for a, b in merged(spans, 1) if b - a > settings.data_gap_min]
    return [
        Episode(a, b, b - a, {"minutes_without_record": b - a, "minutes_unknown": int(missing[a:b].sum())})
        for a, b in merged(found, MERGE_MIN)
    ]
