"""The block `[watch]` of the plant file: limits and persistence of the detectors, with units in the names.

Every default is common practice, no source. `flocledger replay` shows what another value would have flagged over the plant's history.
"""

from __future__ import annotations

from pydantic import Field

from pipelines.base import units
from pipelines.plant.quantities import Block, Pressure

_PSI_KPA = units.to_si(1.0, "psi")


class Watch(Block):
    """Limits of the detectors; what the block leaves out takes its default. `pct` is per cent, `min` minutes."""

    flatline_span_pct: float = Field(default=0.1, gt=0, le=10, description="flatline: range over 30 min below so much of the span")
    flatline_linked_pct: float = Field(default=3.0, gt=0, le=100, description="flatline: while a linked signal moved by more of its span")
    spikes_sigmas: float = Field(default=6.0, gt=0, description="spikes: robust sigmas off the median of 11 minutes")
    spikes_per_day: int = Field(default=20, ge=1, description="spikes: more than so many a day are flagged")
    out_of_range_min: int = Field(default=2, ge=1, description="out of range: minutes in a row")
    data_gap_min: int = Field(default=30, ge=1, description="data gap: more than so many minutes without a record while running")
    dry_run_min: int = Field(default=1, ge=1, description="dry run: minutes, where suction pressure and power agree")
    dry_run_flow_only_min: int = Field(default=3, ge=1, description="dry run: minutes, where only the flow meter says so")
    polymer_outage_min: int = Field(default=3, ge=1, description="polymer outage: minutes of sludge without polymer")
    polymer_left_on_min: int = Field(default=5, ge=1, description="polymer left on: minutes of polymer without sludge")
    short_cycling_starts: int = Field(default=4, ge=1, description="short cycling: more than so many starts within an hour")
    short_cycling_run_min: int = Field(default=10, ge=1, description="short cycling: a run shorter than so many minutes is short")
    short_cycling_runs: int = Field(default=3, ge=2, description="short cycling: so many short runs a day")
    wash_water_low_pct: float = Field(default=85.0, gt=0, le=100, description="wash water low: below so much of its usual flow")
    wash_water_low_min: int = Field(default=10, ge=1, description="wash water low: minutes in a row")
    blocked_suction_drop: Pressure = Field(default=2 * _PSI_KPA, gt=0, description="blocked suction: pressure below its curve [kPa]")
    blocked_suction_flow_pct: float = Field(
        default=95.0, gt=0, le=100, description="blocked suction: flow below so much of the hour before"
    )
    blocked_suction_min: int = Field(default=10, ge=1, description="blocked suction: minutes in a row")
    deadhead_rise: Pressure = Field(
        default=5 * _PSI_KPA, gt=0, description="deadhead: discharge pressure above its usual, without flow [kPa]"
    )
    deadhead_min: int = Field(default=1, ge=1, description="deadhead: minutes in a row")
    torque_limit_pct: float = Field(default=90.0, gt=0, description="torque high: above so much of full torque")
    torque_above_points: float = Field(default=25.0, gt=0, description="torque high: or so many points above its usual")
    torque_min: int = Field(default=5, ge=1, description="torque high: minutes in a row")
    tank_level_low_pct: float = Field(default=5.0, ge=0, le=100, description="tank level low: below so much while the pump turns")
    tank_level_low_min: int = Field(default=5, ge=1, description="tank level low: minutes in a row")
    headbox_limit_pct: float = Field(default=90.0, gt=0, description="head box high: above so much")
    headbox_above_points: float = Field(default=25.0, gt=0, description="head box high: or so many points above its usual")
    headbox_min: int = Field(default=15, ge=1, description="head box high: minutes in a row")
    seal_water_low_pct: float = Field(default=70.0, gt=0, le=100, description="seal water low: below so much of its usual flow")
    seal_water_low_min: int = Field(default=2, ge=1, description="seal water low: minutes in a row")
    vibration_limit_mm_s: float = Field(
        default=7.1, gt=0, description="vibration high: rms velocity above it; agree it with the plant [mm/s]"
    )
    vibration_min: int = Field(default=5, ge=1, description="vibration high: minutes in a row")
    solution_off_pct: float = Field(default=15.0, gt=0, le=100, description="weak solution: off its set strength by more")
    solution_off_min: int = Field(default=30, ge=1, description="weak solution: minutes in a row")
    mixing_pressure_off: Pressure = Field(
        default=5 * _PSI_KPA, gt=0, description="mixing pressure high or low: off its curve by more [kPa]"
    )
    mixing_pressure_min: int = Field(default=30, ge=1, description="mixing pressure high or low: minutes in a row")
    overdosing_pct: float = Field(default=125.0, gt=100, description="overdosing: above so much of the usual dose of the arrangement")
    overdosing_days: int = Field(default=3, ge=1, description="overdosing: days in a row")
    dose_low_pct: float = Field(default=75.0, gt=0, lt=100, description="dose low: below so much of the usual dose of the arrangement")
    dose_low_days: int = Field(default=2, ge=1, description="dose low: days in a row")
    flow_per_revolution_pct: float = Field(default=15.0, gt=0, description="flow per revolution off: a day off its usual by more")
    drift_pct: float = Field(default=2.0, gt=0, description="flow per revolution drifts: smoothed change of more")
    drift_sigmas: float = Field(default=3.0, gt=0, description="flow per revolution drifts: robust sigmas of the smoothed change")


DEFAULTS = Watch()
