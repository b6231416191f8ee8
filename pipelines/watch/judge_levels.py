"""One line on one operating day: levels, seal water and vibration against their limits, and what a flag then says."""

from __future__ import annotations

from pipelines.plant.model import PlantFile
from pipelines.plant.watch_settings import Watch
from pipelines.watch import process_rules as rules
from pipelines.watch.episodes import Episode, Mask
from pipelines.watch.line_day import RUNNING, LineDay, Usual
from pipelines.watch.words import Flag, flags_from, lasted, number, shown
from schemas.detectors import TODAY

USUAL_LEAST = 600  # minutes that make a usual value (common practice, no source)


def flags_of(day: LineDay, usual: Usual, plant_file: PlantFile, turns: Mask) -> list[Flag]:
    """Return the flags of tank level, head box, seal water and vibration; `turns`: minutes in which the feed pump turns."""
    settings = plant_file.watch
    return [
        *_tank(day, settings, turns),
        *_headbox(day, usual, settings),
        *_seal(day, usual, plant_file, turns),
        *_vibration(day, settings, turns),
    ]


def _tank(day: LineDay, settings: Watch, turns: Mask) -> list[Flag]:
    found = rules.level_low(day.series["tank_level"], turns, settings.tank_level_low_pct, settings.tank_level_low_min)
    return flags_from(
        day, "tank level low", "tank_level", TODAY, found,
        lambda e: f"The sludge tank stood at {number(e.facts, 'value'):.1f} % for {lasted(e.held)} while the feed pump turned.",
    )  # fmt: skip


def _headbox(day: LineDay, usual: Usual, settings: Watch) -> list[Flag]:
    middle = rules.median_of(usual.headbox, USUAL_LEAST)
    most = settings.headbox_limit_pct
    limit = most if middle is None else min(most, middle + settings.headbox_above_points)
    found = rules.level_high(day.series["headbox_level"], day.is_state(*RUNNING), limit, settings.headbox_min)
    return flags_from(
        day, "head box high", "headbox_level", TODAY, found,
        lambda e: f"The head box stood at {number(e.facts, 'value'):.0f} % for {lasted(e.held)}; the limit is {number(e.facts, 'limit'):.0f} %.",
    )  # fmt: skip


def _seal(day: LineDay, usual: Usual, plant_file: PlantFile, turns: Mask) -> list[Flag]:
    settings, middle = plant_file.watch, rules.median_of(usual.seal, USUAL_LEAST)
    if middle is None or middle <= 0:
        return []
    limit = settings.seal_water_low_pct / 100.0 * middle
    found = rules.level_low(day.series["seal_water_flow"], turns, limit, settings.seal_water_low_min)

    def says(e: Episode) -> str:
        seen, known = (shown(x, "small flow", plant_file.plant.units) for x in (number(e.facts, "value"), middle))
        return f"The seal water was {seen} for {lasted(e.held)} while the feed pump turned; usual is {known}."

    return flags_from(day, "seal water low", "seal_water_flow", TODAY, found, says)


def _vibration(day: LineDay, settings: Watch, turns: Mask) -> list[Flag]:
    found = rules.level_high(day.series["pump_vibration"], turns, settings.vibration_limit_mm_s, settings.vibration_min)
    return flags_from(
        day, "vibration high", "pump_vibration", TODAY, found,
        lambda e: f"The feed pump vibrated at {number(e.facts, 'value'):.1f} mm/s for {lasted(e.held)}; the limit is {number(e.facts, 'limit'):.1f} mm/s.",
    )  # fmt: skip
