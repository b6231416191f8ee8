"""Write the plant file's standard uncertainties as rows for SQL joins: meters by role, lab, polymer."""

from __future__ import annotations

from typing import Any

from pipelines.base import units
from pipelines.plant import registers
from pipelines.plant.calendar import FAR_FUTURE, LONG_AGO
from pipelines.plant.model import PlantFile, Signal
from schemas.roles import ROLES, Role

# Standard uncertainty of a meter whose plant file says nothing, by its dimension: gain [% of value], offset [% of range],
# noise [% of a minute's value]. Common practice, no source: magnetic flow meters on sludge verified within 3 %, gauges within
# half a percent of range, power meters within 2 %; as limits of an even spread these are 1.5 %, 0.25 % and 1 %.
DEFAULTS = {"flow": (1.5, 0.25, 1.0), "pressure": (0.0, 0.25, 0.0), "power": (1.0, 0.0, 1.0)}
POLYMER_GAIN_PCT = 2.0  # polymer meters are small, and checked by drawdown to 3 %
FEED_SCATTER_PCT = 10.0  # of the feed TS from day to day, where fewer than five samples in 14 days tell


def rows(plant: str, plant_file: PlantFile) -> list[dict[str, Any]]:
    """Return the rows of `uncertainty_inputs` for every line."""
    out = []
    for line in plant_file.lines:
        mine = [s for s in plant_file.signals_of(line.id) if s.meaning.kind == "analog" and s.meaning.dimension in DEFAULTS]
        flows = {total: flow for flow, total in registers.flows_by_register(plant_file, line).items()}
        by_register = [_meter(plant_file, s, ROLES[flows[s.role]]) for s in plant_file.signals_of(line.id) if s.role in flows]
        found = (
            [_meter(plant_file, signal, signal.meaning) for signal in mine]
            + by_register
            + _lab(plant_file)
            + _polymers(plant_file, line.id)
        )
        out += [{"plant": plant, "line": line.id, **row} for row in found]
    return out


def _row(quantity: str, unit: str = "-", *, given: bool, **parts: Any) -> dict[str, Any]:
    none = {"systematic_pct": 0.0, "systematic_abs": 0.0, "random_pct": 0.0, "random_abs": 0.0, "tau_h": 0.0}
    dates = {"from_utc": LONG_AGO, "to_utc": FAR_FUTURE}
    return {"quantity": quantity, "unit": unit, "basis": "plant file" if given else "default", **dates, **none, **parts}


def _meter(plant_file: PlantFile, signal: Signal, role: Role) -> dict[str, Any]:
    """Return the row of a meter under its role; of a register that stands in for a flow meter under the role of the flow."""
    said = signal.uncertainty
    gain, offset_share, noise = DEFAULTS[role.dimension]
    gain = POLYMER_GAIN_PCT if role.name.startswith("polymer") else gain
    factor = abs(units.unit(signal.unit).factor)
    span = signal.range[1] - signal.range[0] if signal.range and signal.meaning.kind == "analog" else 0.0
    offset = said.offset if said.offset is not None else offset_share / 100.0 * span
    return _row(
        role.name, ROLES[role.name].unit, given=bool(said.model_fields_set), systematic_pct=gain if said.gain_pct is None else said.gain_pct,
        systematic_abs=offset * factor, random_pct=noise if said.noise_pct is None else said.noise_pct,
        from_utc=plant_file.calendar.since(signal.since), to_utc=plant_file.calendar.until(signal.until),
    )  # fmt: skip


def _lab(plant_file: PlantFile) -> list[dict[str, Any]]:
    lab = plant_file.lab.uncertainty
    said = lab.model_fields_set
    scatter = lab.feed_scatter_pct
    return [
        _row("feed ts sampling", "%", given="feed_sampling_pct" in said, random_pct=lab.feed_sampling_pct),
        _row("feed ts analysis", "%", given="feed_analysis_pct" in said, random_pct=lab.feed_analysis_pct),
        _row("feed ts bias", "%", given="feed_bias_pct" in said, systematic_pct=lab.feed_bias_pct),
        _row("feed ts scatter", "%", given=scatter is not None, random_pct=FEED_SCATTER_PCT if scatter is None else scatter),
        _row("feed ts untimed", "%", given="feed_sample" in said, random_pct=100.0 if lab.feed_sample == "grab" else 0.0),
        _row("cake ts sampling", "%", given="cake_sampling_points" in said, random_abs=lab.cake_sampling_points),
        _row("cake ts analysis", "%", given="cake_analysis_points" in said, random_abs=lab.cake_analysis_points),
        _row("filtrate tss sampling", "mg/L", given="filtrate_sampling_pct" in said, random_pct=lab.filtrate_sampling_pct),
        _row("filtrate tss grab", "mg/L", given="filtrate_grab_pct" in said, random_pct=lab.filtrate_grab_pct),
        _row("filtrate tss analysis", "mg/L", given="filtrate_analysis_pct" in said, random_pct=lab.filtrate_analysis_pct),
    ]


def _polymers(plant_file: PlantFile, line: str) -> list[dict[str, Any]]:
    mine = sorted((plant_file.calendar.since(x.since), i) for i, x in enumerate(plant_file.polymers) if line in x.lines)
    ends = ([start for start, _ in mine[1:]] + [FAR_FUTURE])[: len(mine)]
    out = []
    for (start, i), end in zip(mine, ends, strict=True):
        u = plant_file.polymers[i].uncertainty
        said: set[str] = u.model_fields_set
        dates: dict[str, Any] = {"from_utc": start, "to_utc": end}
        out += [
            _row("active fraction", given="active_fraction_pct" in said, systematic_pct=u.active_fraction_pct, **dates),
            _row("solution strength", given="strength_pct" in said, systematic_pct=u.strength_pct, **dates),
            _row("strength batch", given="batch_pct" in said, random_pct=u.batch_pct, tau_h=u.batch_tau, **dates),
        ]
    return out
