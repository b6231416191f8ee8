"""The blocks of the plant file that say how well a number is known: standard uncertainties (k = 1) of meters, lab and polymer.

What a block leaves out takes the default here or, for meters, the role's default in `pipelines/compute/uncertainty.py`.
All defaults are common practice, no source; a verification record of the plant beats them.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipelines.plant.quantities import Block, Duration


class MeterUncertainty(Block):
    """Standard uncertainty of one meter; gain and offset persist until recalibration, noise changes every minute."""

    gain_pct: float | None = Field(default=None, ge=0, le=50, description="of the value [%]; default by role")
    offset: float | None = Field(default=None, ge=0, description="in the signal's unit; default by role, a share of the range")
    noise_pct: float | None = Field(default=None, ge=0, le=100, description="of a minute's value, each minute anew [%]; default by role")


class LabUncertainty(Block):
    """Standard uncertainty of a lab result: taking the sample, and analysing it. Duplicates shrink the second only."""

    feed_sampling_pct: float = Field(default=4.0, ge=0, le=50, description="feed TS, of the value [%]")
    feed_analysis_pct: float = Field(default=3.0, ge=0, le=50, description="feed TS, of the value [%]")
    feed_bias_pct: float = Field(
        default=3.0,
        ge=0,
        le=50,
        description="feed TS, what sampling and lab are off always in one direction, of the value [%]: a bottle always taken at one time of the "
        "run, a warm oven; 0 only where split samples with another lab and samples over whole runs have shown it",
    )
    feed_scatter_pct: float | None = Field(
        default=None, ge=0, le=100, description="how much the feed TS itself wanders, of its mean [%]; default: learned from its samples"
    )
    feed_sample: Literal["grab", "composite"] = Field(
        default="grab", description="what a feed sample without a time of day is: one bottle at an unknown time, or mixed over the day"
    )
    cake_sampling_points: float = Field(default=0.5, ge=0, le=20, description="cake TS [% TS]")
    cake_analysis_points: float = Field(default=0.25, ge=0, le=20, description="cake TS [% TS]")
    filtrate_sampling_pct: float = Field(default=12.0, ge=0, le=100, description="filtrate TSS, of the value [%]")
    filtrate_grab_pct: float = Field(
        default=15.0, ge=0, le=200, description="how far a filtrate bottle filled at a stated time is off its day's mean, of the value [%]"
    )
    filtrate_analysis_pct: float = Field(default=9.0, ge=0, le=100, description="filtrate TSS, of the value [%]")


class PolymerUncertainty(Block):
    """Standard uncertainty of what the polymer is: the supplier's active fraction, and the made-down strength."""

    active_fraction_pct: float = Field(default=2.0, ge=0, le=50, description="of the value [%]; counts for a neat meter")
    strength_pct: float = Field(
        default=2.0, ge=0, le=50, description="mean strength against the stated one [%]; counts for a solution meter"
    )
    batch_pct: float = Field(default=3.0, ge=0, le=50, description="strength from batch to batch [%]; counts for a solution meter")
    batch_tau: Duration = Field(default=12.0, ge=0, description="time in which the strength becomes another one [h]")
