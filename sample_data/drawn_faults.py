"""A fault script whose faults, times, sizes and order are drawn by the seed: for measuring detectors, not for the demonstration."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.fault_script import Entry
from sample_data.scenario import PlantScenario

FIRST_DAY = 21  # three quiet weeks before the first fault
APART_DAYS = 3  # from the end of one fault of a line to the next, at least


@dataclass(frozen=True)
class Kind:
    """A kind of fault and from what its size, place and length are drawn."""

    kind: str
    anchor: str
    first: tuple[int, int]  # [min] after the anchor
    minutes: tuple[int, int]
    amount: tuple[float, float]
    role: str = ""
    plants: tuple[str, ...] = ("alder-fork", "sorrel-draw", "brenholm")


_FAST = ("alder-fork", "sorrel-draw")  # faults of minutes do not show in averages of a quarter of an hour
SENSOR = (
    Kind("flatline", "run", (40, 120), (150, 240), (0, 0), "sludge_flow"),
    Kind("plugged tap", "day", (0, 0), (1440, 2880), (0, 0), "pump_discharge_pressure"),
    Kind("spike burst", "run", (40, 120), (90, 180), (1.3, 1.6), "sludge_flow", _FAST),
    Kind("re-ranged", "day", (0, 0), (3 * 1440, 8 * 1440), (1.2, 1.4), "sludge_flow"),
    Kind("run bit stuck off", "day", (0, 0), (1440, 1440), (0, 0), "pump_run", _FAST),
    Kind("no record", "run", (40, 120), (60, 150), (0, 0), "sludge_flow"),
)
PROCESS = (
    Kind("valve throttled", "day", (0, 0), (1440, 3 * 1440), (8.0, 16.0)),
    Kind("polymer outage", "run", (40, 150), (15, 45), (0, 0)),
    Kind("dry run", "run", (40, 150), (4, 10), (0, 0), plants=_FAST),
    Kind("wash water low", "day", (0, 0), (1440, 1440), (0.4, 0.75), plants=("alder-fork",)),
    Kind("polymer left on", "after", (20, 60), (60, 300), (3.0, 8.0), plants=("alder-fork",)),
    Kind("weak solution", "day", (0, 0), (2 * 1440, 3 * 1440), (0.6, 0.72), plants=("alder-fork",)),
    Kind("short cycling", "run", (40, 120), (90, 150), (0, 0), plants=_FAST),
    Kind("blocked suction", "run", (40, 120), (25, 60), (0.78, 0.88), plants=_FAST),
    Kind("overdosing", "day", (0, 0), (4 * 1440, 7 * 1440), (1.35, 1.6)),
    Kind("torque excursion", "run", (40, 120), (20, 40), (30.0, 40.0), plants=("sorrel-draw",)),
    Kind("deadhead", "run", (40, 120), (2, 5), (0, 0), plants=("sorrel-draw",)),
)


def entries(plant: PlantScenario, days: int, rng: np.random.Generator) -> tuple[Entry, ...]:
    """Return faults drawn for each line of a plant over so many days, one after the other with quiet days between."""
    out = list[Entry]()
    kinds = [k for k in (*SENSOR, *PROCESS) if plant.plant in k.plants]
    for line in plant.lines:
        day = FIRST_DAY + int(rng.integers(0, 3))
        while day < days - 8:
            for at in rng.permutation(len(kinds)):
                kind = kinds[int(at)]
                first, minutes = (int(rng.integers(low, high + 1)) for low, high in (kind.first, kind.minutes))
                if kind.anchor == "day":
                    minutes = max(1440, minutes // 1440 * 1440)
                if day >= days - 8:
                    break
                amount = float(rng.uniform(*kind.amount))
                out.append(Entry(kind.kind, day, line.line, kind.anchor, first, minutes, kind.role, amount, "no", "drawn"))
                day += -(-minutes // 1440) + APART_DAYS + int(rng.integers(0, 3))
    return tuple(sorted(out, key=lambda e: (e.day, e.line)))
