"""What the plant's instruments show of the truth: tags, units and ranges from the plant file, errors of their own."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sample_data import physics as ph
from sample_data.axis import Axis
from sample_data.operators import Bools
from sample_data.physics import Array
from sample_data.process import Truth

PLANT_FILES = Path(__file__).parent / "plants"
_PER_SI = {  # how many of the unit make one SI unit (m3/h, kPa, kW, rpm, %, m3)
    "gpm": 1 / ph.GPM_M3_H, "gph": 60 / ph.GPM_M3_H, "m3/h": 1.0, "L/h": 1000.0, "psi": 1 / ph.PSI_KPA, "bar": 0.01, "kPa": 1.0,
    "kW": 1.0, "rpm": 1.0, "%": 1.0, "gal": 1 / 0.003785411784, "m3": 1.0, "state": 1.0,
}  # fmt: skip
_DIGITS = {"gpm": 1, "gph": 2, "m3/h": 2, "L/h": 0, "psi": 2, "bar": 3, "kW": 2, "rpm": 1, "%": 1, "gal": 0, "state": 0}
_FLOW_NOISE, _POWER_NOISE, _SPEED_NOISE, _TORQUE_NOISE = 0.01, 0.01, 0.001, 0.02  # of reading, each minute
_FLOW_GAIN_SD, _POLYMER_GAIN_SD, _CALIBRATION_DAYS = 0.01, 0.02, 90  # as found; polymer meters are set anew every so often
_FLOW_GAIN_DRIFT = 0.005  # per root year
_ZERO_SHARE = 0.004  # zero offset of a flow meter: up to this share of span
_PRESSURE_NOISE_KPA, _PRESSURE_ZERO_KPA, _PRESSURE_DRIFT_KPA = 0.2 * ph.PSI_KPA, 0.15 * ph.PSI_KPA, 0.3 * ph.PSI_KPA
_REGISTER = 1_000_000.0  # a totaliser register shows six digits
_REGISTER_START = 955_000.0


@dataclass
class Shown:
    """One tag as it was shown, minute by minute, in the numbers the logger writes."""

    tag: str
    line: str
    role: str
    unit: str  # as the unit row writes it
    kind: str  # analog, state, total
    values: Array
    digits: int
    deadband: float  # in the numbers the logger writes
    status: dict[str, Bools]  # quality word -> minutes
    gone: Bools  # no record


def plant_file(plant: str) -> dict[str, Any]:
    """Return the plant file as plain data."""
    return tomllib.loads((PLANT_FILES / f"{plant}.toml").read_text(encoding="utf-8"))


def shown(plant: str, ax: Axis, truths: list[Truth], rng: np.random.Generator, quiet: bool) -> list[Shown]:
    """Return every tag of the plant file, in its order."""
    by_line = {t.line: t for t in truths}
    return [_one(signal, ax, by_line[signal["line"]], rng, quiet) for signal in plant_file(plant)["signals"]]


def _one(signal: dict[str, Any], ax: Axis, truth: Truth, rng: np.random.Generator, quiet: bool) -> Shown:
    role, unit = signal["role"], signal["unit"]
    kind = "state" if unit == "state" else "total" if role.endswith("_total") else "analog"
    true = truth.roles[role]
    values = true * _PER_SI[unit]
    if kind == "analog" and not quiet:
        low, high = signal["range"]
        values = np.clip(_measured(true, role, (high - low) / _PER_SI[unit], ax, rng) * _PER_SI[unit], low, high)
    scaling = signal.get("scaling")
    per_raw = (scaling["reads"][1] - scaling["reads"][0]) / (scaling["raw"][1] - scaling["raw"][0]) if scaling else 1.0
    values = (values - (scaling["reads"][0] if scaling else 0.0)) / per_raw + (scaling["raw"][0] if scaling else 0.0)
    if kind == "total":
        values = np.floor(_REGISTER_START + values) % _REGISTER
    return Shown(
        signal["tag"], signal["line"], role, "" if kind == "state" else unit, kind, values, _DIGITS[unit] + (2 if per_raw != 1 else 0),
        signal.get("deadband", 0.0) / per_raw, {}, np.zeros(ax.n, dtype=bool),
    )  # fmt: skip


def _measured(true: Array, role: str, span: float, ax: Axis, rng: np.random.Generator) -> Array:
    """Return a signal with its meter's gain, zero, drift and noise [SI]."""
    noise = rng.standard_normal(ax.n)
    if role.endswith("_pressure"):
        zero = rng.standard_normal() * _PRESSURE_ZERO_KPA + ph.drift(rng, ax.n, _PRESSURE_DRIFT_KPA, quiet=False)
        return true + zero + noise * _PRESSURE_NOISE_KPA
    if role.endswith("_flow"):
        gains = rng.standard_normal(int(ax.run_days // _CALIBRATION_DAYS) + 1)
        period = np.maximum(ax.day, 0) // _CALIBRATION_DAYS
        sd = _POLYMER_GAIN_SD if role.startswith("polymer") else _FLOW_GAIN_SD
        gain = np.exp(sd * (gains[period] if role.startswith("polymer") else gains[0]) + ph.drift(rng, ax.n, _FLOW_GAIN_DRIFT, quiet=False))
        return true * gain * (1.0 + _FLOW_NOISE * noise) + rng.random() * _ZERO_SHARE * span * (role == "sludge_flow")
    sd = {"pump_power": _POWER_NOISE, "device_power": _POWER_NOISE, "pump_speed": _SPEED_NOISE}.get(role, _TORQUE_NOISE)
    gain = 1.0 + 0.01 * rng.standard_normal() if role.endswith("_power") else 1.0
    return true * gain * (1.0 + sd * noise)
