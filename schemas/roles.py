"""The neutral meanings a plant tag can have: the closed list of roles.

Letters follow ISA-5.1 (first letter the variable, T transmit, Q totalise, I indicate). `column` is the
name in `minutes`; its unit is in the name. `physical` bounds what can be true at any plant, in SI; a value
outside is set aside whatever the transmitter range says (wide on purpose; common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Role:
    """One role; `kind` is analog, state or totaliser; `hold_min` is the default hold limit [min]."""

    name: str
    letters: str
    dimension: str
    unit: str
    column: str
    kind: str
    hold_min: float
    physical: tuple[float, float]
    description: str

    @property
    def coverage(self) -> str:
        """Return the name of the coverage column in `minutes` (share of the minute with a usable value)."""
        return f"{self.name}_coverage"


def _analog(name: str, letters: str, dimension: str, unit: str, suffix: str, low: float, high: float, text: str) -> Role:
    return Role(name, letters, dimension, unit, f"{name}_{suffix}", "analog", 30.0, (low, high), text)


def _state(name: str, text: str) -> Role:
    return Role(name, "YI", "state", "state", f"{name}_share", "state", 24 * 60.0, (0.0, 1.0), text)


def _total(name: str, letters: str, dimension: str, unit: str, suffix: str, text: str) -> Role:
    return Role(name, letters, dimension, unit, f"{name}_{suffix}", "totaliser", 30.0, (0.0, 1e12), text)


_ALL = (
    _analog("sludge_flow", "FT", "flow", "m3/h", "m3_h", -50, 2000, "sludge feed flow to the dewatering unit"),
    _analog("polymer_neat_flow", "FT", "flow", "m3/h", "m3_h", -1, 50, "flow of polymer as supplied (neat)"),
    _analog("polymer_solution_flow", "FT", "flow", "m3/h", "m3_h", -5, 500, "flow of made-down polymer solution"),
    _analog(
        "makedown_water_flow",
        "FT",
        "flow",
        "m3/h",
        "m3_h",
        -5,
        500,
        "water that makes neat polymer down to solution, metered before they meet",
    ),
    _analog("dilution_water_flow", "FT", "flow", "m3/h", "m3_h", -5, 500, "post-dilution water added to the polymer solution"),
    _analog("wash_water_flow", "FT", "flow", "m3/h", "m3_h", -5, 500, "belt, screen or flush wash water"),
    _analog("seal_water_flow", "FT", "flow", "m3/h", "m3_h", -1, 20, "pump seal water"),
    _analog("pump_speed", "ST", "speed", "rpm", "rpm", -50, 6000, "feed pump speed"),
    _analog("pump_power", "JT", "power", "kW", "kw", -5, 1000, "feed pump electrical power"),
    _analog("device_power", "JT", "power", "kW", "kw", -5, 2000, "dewatering unit electrical power"),
    _analog("pump_suction_pressure", "PT", "pressure", "kPa", "kpa", -101.325, 2000, "feed pump suction pressure, gauge"),
    _analog("pump_discharge_pressure", "PT", "pressure", "kPa", "kpa", -101.325, 5000, "feed pump discharge pressure, gauge"),
    _analog("mixing_upstream_pressure", "PT", "pressure", "kPa", "kpa", -101.325, 5000, "pressure before the polymer mixing point, gauge"),
    _analog("mixing_downstream_pressure", "PT", "pressure", "kPa", "kpa", -101.325, 5000, "pressure after the polymer mixing point, gauge"),
    _analog("mixing_valve_position", "ZT", "fraction", "%", "pct", -5, 105, "mixing valve opening"),
    _analog("polymer_solution_strength", "AT", "fraction", "%", "pct", 0, 5, "active polymer in the solution by mass, online"),
    _analog("feed_solids", "AT", "fraction", "%", "pct", 0, 15, "feed total solids by mass, online meter"),
    _analog("device_torque", "WT", "fraction", "%", "pct", -5, 150, "scroll or drive torque of the dewatering unit"),
    _analog("belt_speed", "ST", "velocity", "m/min", "m_min", -1, 100, "belt speed of a belt press"),
    _analog("bowl_speed", "ST", "speed", "rpm", "rpm", -50, 10000, "bowl speed of a centrifuge"),
    _analog("differential_speed", "ST", "speed", "rpm", "rpm", -5, 200, "scroll speed against bowl speed of a centrifuge"),
    _analog("headbox_level", "LT", "fraction", "%", "pct", -5, 150, "level of the head box or flocculation tank of the dewatering unit"),
    _analog("tank_level", "LT", "fraction", "%", "pct", -5, 150, "level of the sludge tank the feed pump draws from"),
    _analog("sludge_temperature", "TT", "temperature", "C", "c", -10, 100, "temperature of the fed sludge"),
    _analog("pump_vibration", "VT", "vibration", "mm/s", "mm_s", 0, 200, "vibration velocity of the feed pump, rms"),
    _analog("rain", "RT", "rain", "mm/h", "mm_h", 0, 500, "rain intensity at the plant"),
    _state("pump_run", "feed pump proven running"),
    _state("device_run", "dewatering unit running"),
    _state("polymer_run", "polymer pump running"),
    _total("sludge_total", "FQ", "volume", "m3", "m3", "sludge feed totaliser, increment in the minute"),
    _total("polymer_total", "FQ", "volume", "m3", "m3", "polymer totaliser, increment in the minute"),
    _total("energy_total", "JQ", "energy", "kWh", "kwh", "energy totaliser of the line, increment in the minute"),
)
# Signals that rightly stand at the top of their range: a drive at full speed, a valve fully open (rule of this project).
TOP_IS_TRUE = ("pump_speed", "mixing_valve_position")
ROLES: dict[str, Role] = {r.name: r for r in _ALL}
