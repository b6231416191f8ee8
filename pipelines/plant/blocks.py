"""The blocks of a plant file and the whole of them, as TOML gives it; whether they agree is judged in `model`.

Quantities are strings with a unit ("400 gpm") and become SI at reading. Dates are TOML dates or date-times; a date or a naive
date-time is plant-local.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from datetime import time
from functools import cached_property
from typing import Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, field_validator, model_validator

from pipelines.base import resources, units
from pipelines.plant.calendar import Calendar, ShiftHours
from pipelines.plant.corrections import Correction
from pipelines.plant.layouts import Lab, Layout
from pipelines.plant.logs import Arrangement, Baseline, BaselinePeriod, Ladder, Service
from pipelines.plant.quantities import Block, Density, Duration, Flow, Length, PerEnergy, PerMass, PerVolume, Pressure, Since, Volume
from pipelines.plant.signals import Signal
from pipelines.plant.uncertainty import PolymerUncertainty
from pipelines.plant.watch_settings import Watch

OF_INTAKE = {
    "role",
    "tag",
    "unit",
    "range",
    "scaling",
    "on_words",
    "off_words",
    "part_words",
    "since",
    "until",
}  # of a signal; the rest is for minutes

OF_READING = {"time_zone", "operating_day_start", "shifts", "units", "data_since"}  # of the plant


class Shift(Block):
    """A shift of the roster, plant-local; `end` may lie after midnight."""

    name: str = Field(description="name of the shift in kpi_shift")
    start: time = Field(description="plant-local start")
    end: time = Field(description="plant-local end; may be after midnight")


class Plant(Block):
    """The facility as a whole."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$", description="short name in paths and tables")
    name: str = Field(description="name printed on pages")
    invented: bool = Field(default=False, description="true for demonstration plants; printed on every page")
    time_zone: str = Field(description="IANA time zone")
    operating_day_start: time = Field(default=time(0, 0), description="plant-local time at which the operating day begins")
    week_start: Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"] = Field(
        default="monday", description="first day of the reporting week"
    )
    data_since: Since | None = Field(
        default=None,
        description="no record is older; an export's row with an earlier time is set aside, else one such row stretches all tables to it",
    )
    restate_days: int = Field(
        default=45,
        ge=1,
        le=36_500,
        description="published days older than so many days before the newest one are restated by `flocledger backfill` only, not by a late file [d]",
    )
    units: Literal["US", "SI"] = Field(description="units of the weekly page and of flag texts")
    currency: str = Field(default="USD", pattern=r"^[A-Z]{3}$", description="ISO 4217 code of all prices")
    shifts: tuple[Shift, ...] = Field(default=(), description="shifts of the roster, for kpi_shift and lab shift columns")
    language: str = Field(default="en", pattern=r"^[a-z]{2}$", description="language of the pages: a file of pipelines/report/texts")
    paper: Literal["us-letter", "a4"] | None = Field(
        default=None, description="paper of the pages; default: US letter for US units, else A4"
    )

    @property
    def paper_size(self) -> str:
        """Return the paper of the pages: "us-letter" or "a4"."""
        return self.paper or ("us-letter" if self.units == "US" else "a4")

    @field_validator("language")
    @classmethod
    def _has_texts(cls, code: str) -> str:
        known = sorted(p.stem for p in (resources.folder("pipelines.report") / "texts").glob("*.toml"))
        if code not in known:
            raise ValueError(f"no texts in this language; there are {', '.join(known)}")
        return code

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, zone: str) -> str:
        if zone not in available_timezones():
            raise ValueError("not an IANA time zone such as America/New_York")
        return zone

    @property
    def week_start_number(self) -> int:
        """Return the ISO weekday (1 Monday) on which the reporting week begins."""
        return ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday").index(self.week_start) + 1


class Mail(Block):
    """Who gets the weekly page by mail; the server and its login stand in the environment (FLOCLEDGER_SMTP_HOST, _PORT, _USER, _PASSWORD, _CA_FILE)."""

    to: tuple[str, ...] = Field(min_length=1, description="addresses of the plant's list")
    sender: str = Field(description="address the page is sent from")

    @field_validator("to", "sender")
    @classmethod
    def _is_address(cls, given: tuple[str, ...] | str) -> tuple[str, ...] | str:
        for one in (given,) if isinstance(given, str) else given:
            if not re.fullmatch(r"[^\s@<>,;:\"]+@[^\s@<>,;:\"]+", one):
                raise ValueError(f"{one!r} is no mail address")
        return given


class Pump(Block):
    """The feed pump and its gauges."""

    id: str = Field(description="tag of the pump, unique in the plant")
    kind: Literal["rotodynamic", "displacement"] = Field(description="rotodynamic (centrifugal) or displacement (progressing cavity, lobe)")
    gauge_elevation: Length = Field(default=0.0, description="height of discharge gauge above suction gauge [m]")
    suction_pipe: Length | None = Field(default=None, description="inner diameter at the suction gauge [m]")
    discharge_pipe: Length | None = Field(default=None, description="inner diameter at the discharge gauge [m]")
    suction_minimum: Pressure | None = Field(default=None, description="suction pressure below which the pump counts as starved [kPa]")
    discharge_maximum: Pressure | None = Field(default=None, description="discharge pressure above which it counts as deadheaded [kPa]")
    drive_efficiency: float | None = Field(default=None, gt=0, le=1, description="motor and drive, assumed")


Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class Planned(Block):
    """When a line is planned to run, plant-local; `end` may lie after midnight, equal times mean the whole day."""

    days: tuple[Weekday, ...] = Field(min_length=1, description="days on which it starts")
    start: time = Field(description="plant-local start")
    end: time = Field(description="plant-local end; may be after midnight; equal to start means the whole day")


class Line(Block):
    """One feed pump, polymer feed, mixing point and dewatering unit."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$", description="short name in tables")
    name: str = Field(description="name printed on pages")
    device: Literal[
        "belt press",
        "centrifuge",
        "screw press",
        "rotary press",
        "gravity belt thickener",
        "rotary drum thickener",
        "thickening centrifuge",
    ] = Field(description="kind of dewatering or thickening unit; sets the default start-up time")
    device_width: Length | None = Field(default=None, description="belt width, for loading per metre [m]")
    pump: Pump = Field(description="the feed pump")
    startup: Duration | None = Field(default=None, description="start-up time after feed-on [h]; default by device")
    feed_cutoff: Flow = Field(description="sludge flow above which the line counts as fed [m3/h]")
    polymer_cutoff: Flow = Field(description="polymer flow above which polymer counts as on, of the meter that carries the dose [m3/h]")
    polymer_meter: Literal["neat", "solution"] = Field(description="meter that carries the dose: neat product or made-down solution")
    sludge_sg: float = Field(default=1.0, ge=0.9, le=1.3, description="specific gravity of the feed sludge")
    reference_flow: Flow = Field(description="feed flow at which the mixing pressure drop is compared [m3/h]")
    mixing_gauge_elevation: Length = Field(default=0.0, description="height of downstream gauge above upstream gauge [m]")
    solids_hold_tau: Duration = Field(
        default=36.0, description="time constant with which a held feed TS relaxes to the median of 14 days [h]"
    )
    solids_hold_limit: Duration = Field(default=72.0, le=336.0, description="longest time a feed TS is held after its sample [h]")
    dilution_counted: Literal["none", "polymer", "polymer and wash"] = Field(
        description="water that reaches the filtrate sample, for the capture"
    )
    planned: tuple[Planned, ...] = Field(default=(), description="planned running times, for the availability")
    polymer_tank: Volume | None = Field(default=None, gt=0, description="polymer solution tank, for the solution's age [m3]")
    mixing_volume: Volume | None = Field(default=None, gt=0, description="where the mixing pressure drop is spent, for G and Gt [m3]")
    sludge_viscosity_mpa_s: float | None = Field(default=None, gt=0, description="assumed for G and Gt")

    @property
    def startup_min(self) -> float:
        """Return start-up minutes after feed-on: given, else belt press 15, centrifuge 20, screw press 60, others 20."""
        if self.startup is not None:
            return self.startup * 60.0
        return {"belt press": 15.0, "centrifuge": 20.0, "screw press": 60.0}.get(self.device, 20.0)


class Polymer(Block):
    """A polymer product on lines from a date on."""

    lines: tuple[str, ...] = Field(description="ids of the lines that use it")
    product: str = Field(description="product name")
    form: Literal["emulsion", "dry", "solution"] = Field(description="form as supplied")
    density: Density | None = Field(
        default=None, description="density as supplied [kg/m3]; may be left out of a dry product whose lines meter the solution"
    )
    active_fraction: float = Field(gt=0, le=1, description="active polymer by mass of the product as supplied (neat)")
    active_fraction_source: str = Field(default="", description="certificate, data sheet, supplier's word")
    solution_strength_pct: float | None = Field(
        default=None,
        gt=0,
        le=5,
        description="active polymer by mass of the made-down solution [%]; of neat product it is times active_fraction",
    )
    price_neat: PerMass | None = Field(default=None, ge=0, description="as supplied, '0.66 per lb' [currency/kg]")
    uncertainty: PolymerUncertainty = Field(default=PolymerUncertainty(), description="how well active fraction and strength are known")
    since: Since = Field(description="from this date on, until the next entry of the line")


class Price(Block):
    """Prices from a date on, in the plant's currency; null means not counted."""

    since: Since = Field(description="from this date on")
    source: str = Field(default="", description="contract or invoice the prices come from")
    disposal_wet: PerMass | None = Field(default=None, ge=0, description="haul and disposal of wet cake, '60 per short_ton' [currency/kg]")
    power: PerEnergy | None = Field(default=None, ge=0, description="[currency/kWh]")
    water: PerVolume | None = Field(default=None, ge=0, description="[currency/m3]")
    recycle: PerMass | None = Field(default=None, ge=0, description="treating dry solids that return with the filtrate [currency/kg]")


_OF_TARGET = {
    "dose_active_kg_t": "dose", "cake_ts_pct": "fraction", "capture_pct": "fraction", "cost_total_per_t": "mass", "dry_solids_t": "mass",
    "mixing_dp_ref_kpa": "pressure",
}  # fmt: skip
_UNITS_OF_TARGET = {
    "dose_active_kg_t": "lb/dt or kg/t", "cake_ts_pct": "%", "capture_pct": "%", "cost_total_per_t": "'per short_ton' or 'per t'",
    "dry_solids_t": "short_ton or t", "mixing_dp_ref_kpa": "psi or kPa",
}  # fmt: skip


class Target(Block):
    """What the plant wants to keep to on a line, and the usual range of its baseline."""

    line: str = Field(description="id of the line")
    kpi: Literal["dose_active_kg_t", "cake_ts_pct", "capture_pct", "cost_total_per_t", "dry_solids_t", "mixing_dp_ref_kpa"] = Field(
        description="KPI column the target is for"
    )
    unit: str = Field(description="unit of the numbers below: lb/dt, kg/t, %, psi, kPa, short_ton, t, 'per short_ton', 'per t'")
    at_least: float | None = Field(default=None, description="lower target")
    at_most: float | None = Field(default=None, description="upper target")
    usual: tuple[float, float] | None = Field(default=None, description="10-90 % range of the baseline week")

    @model_validator(mode="after")
    def _fits_kpi(self) -> Self:
        word, dimension = self.unit.removeprefix("per "), _OF_TARGET[self.kpi]
        try:
            given = units.unit(word).dimension
        except KeyError:
            given = ""
        if given != dimension or self.unit.startswith("per ") != (self.kpi == "cost_total_per_t"):
            raise ValueError(f"unit {self.unit!r} is none of {self.kpi}, which is in {_UNITS_OF_TARGET[self.kpi]}")
        return self

    def si(self, value: float) -> float:
        """Return a number of this block in the SI unit of its KPI (tonnes for solids, currency/t for cost)."""
        if self.unit.startswith("per "):
            return value / units.unit(self.unit[4:]).factor * 1000.0
        u = units.unit(self.unit)
        return value * u.factor / (1000.0 if u.dimension == "mass" else 1.0)


class Event(Block):
    """Something logged that charts and comparisons mark."""

    line: str = Field(description="id of the line")
    at: Since = Field(description="when it happened")
    what: str = Field(description="what happened, in a few words")


class PlantBlocks(Block):
    """All blocks of a plant file, and what is looked up in them."""

    plant: Plant = Field(description="the facility")
    lines: tuple[Line, ...] = Field(min_length=1, description="one block a line")
    signals: tuple[Signal, ...] = Field(min_length=1, description="one block a tag and role")
    layouts: tuple[Layout, ...] = Field(min_length=1, description="one block a kind of file")
    lab: Lab = Field(default=Lab(), description="words and repeatability of the laboratory")
    polymers: tuple[Polymer, ...] = Field(default=(), description="polymer products with their dates")
    prices: tuple[Price, ...] = Field(default=(), description="prices with their dates")
    targets: tuple[Target, ...] = Field(default=(), description="targets and usual ranges shown on the weekly page")
    mail: Mail | None = Field(default=None, description="who gets the weekly page by mail")
    events: tuple[Event, ...] = Field(default=(), description="logged events marked on charts")
    pumps: tuple[Pump, ...] = Field(default=(), description="feed pumps that an arrangement puts in the place of a line's own")
    arrangements: tuple[Arrangement, ...] = Field(
        default=(), description="which pump, injection point and mixing device stood on a line, and when"
    )
    service: tuple[Service, ...] = Field(default=(), description="service log of the pumps")
    baselines: tuple[Baseline, ...] = Field(default=(), description="commissioning references of the pumps")
    ladders: tuple[Ladder, ...] = Field(default=(), description="dose ladders")
    baseline_periods: tuple[BaselinePeriod, ...] = Field(default=(), description="operating days that count as a line's baseline")
    corrections: tuple[Correction, ...] = Field(default=(), description="register of corrections")
    watch: Watch = Field(default=Watch(), description="limits of the detectors of flags")

    @cached_property
    def calendar(self) -> Calendar:
        """Return the plant's operating days, shifts and dates."""
        shifts = tuple(ShiftHours(s.name, s.start, s.end) for s in self.plant.shifts)
        return Calendar(ZoneInfo(self.plant.time_zone), self.plant.operating_day_start, shifts)

    @cached_property
    def reads_as(self) -> str:
        """Return a digest of what decides how files are read and checked; keys left at their defaults do not enter it."""
        said = {
            "plant": self.plant.model_dump_json(include=OF_READING, exclude_defaults=True),
            "signals": [s.model_dump_json(include=OF_INTAKE, exclude_defaults=True) for s in self.signals],
            "layouts": [layout.model_dump_json(exclude_defaults=True) for layout in self.layouts],
            "lab": self.lab.model_dump_json(exclude={"uncertainty"}, exclude_defaults=True),
        }
        return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:16]

    def signals_of(self, line_id: str) -> tuple[Signal, ...]:
        """Return the signals of a line in the order of the file, with those it shares with the line they belong to."""
        return self._by_line.get(line_id, ())

    def signals_with(self, tag: str) -> tuple[Signal, ...]:
        """Return what a tag stands for, in the order of the file."""
        return self._by_tag.get(tag, ())

    @cached_property
    def _by_line(self) -> dict[str, tuple[Signal, ...]]:
        return _grouped((line, s) for s in self.signals for line in dict.fromkeys((s.line, *s.shared_by)))

    @cached_property
    def _by_tag(self) -> dict[str, tuple[Signal, ...]]:
        return _grouped((s.tag, s) for s in self.signals)

    def line(self, line_id: str) -> Line:
        return next(line for line in self.lines if line.id == line_id)

    @property
    def all_pumps(self) -> tuple[Pump, ...]:
        """Return the feed pumps of the lines, then those of `[[pumps]]`."""
        return (*(line.pump for line in self.lines), *self.pumps)


def _grouped(named: Iterable[tuple[str, Signal]]) -> dict[str, tuple[Signal, ...]]:
    """Return name -> its signals."""
    found: dict[str, list[Signal]] = {}
    for name, signal in named:
        found.setdefault(name, []).append(signal)
    return {name: tuple(signals) for name, signals in found.items()}
