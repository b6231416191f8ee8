"""The blocks of the plant file that tie tags to roles: signals, and how raw signals are scaled."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from pipelines.base import units
from pipelines.plant.quantities import Block, Duration, Since
from pipelines.plant.uncertainty import MeterUncertainty
from schemas.roles import ROLES, Role


class Scaling(Block):
    """Scaling of a raw signal (mA, counts, percent) to `unit`: raw[0] reads reads[0], raw[1] reads reads[1]."""

    raw: tuple[float, float] = Field(description="two raw numbers")
    reads: tuple[float, float] = Field(description="the readings, in `unit`, at these raw numbers")
    ma: tuple[float, float] | None = Field(
        default=None, description="milliamperes at raw[0] and raw[1], when the raw numbers stand for a current"
    )
    extraction: Literal["linear", "square root"] = Field(
        default="linear", description="square root: the raw signal is a differential pressure, the reading a flow"
    )

    @model_validator(mode="after")
    def _has_a_slope(self) -> Self:
        for name, pair in (("raw", self.raw), ("reads", self.reads), ("ma", self.ma or (4.0, 20.0))):
            if pair[0] == pair[1]:
                raise ValueError(f"scaling.{name} must be two different numbers")
        return self

    @property
    def current(self) -> tuple[float, float] | None:
        """Return the milliamperes at raw[0] and raw[1]: as given, or the raw numbers where they are 4 and 20; None for no current."""
        return self.ma or (self.raw if tuple(sorted(self.raw)) == (4.0, 20.0) else None)


class Signal(Block):
    """A plant tag tied to a role for a span of time."""

    line: str = Field(description="id of the line")
    role: str = Field(description="meaning of the tag; see the roles page")
    tag: str = Field(description="name of the signal in the export")
    unit: str = Field(description="unit the export gives the value in (after scaling)")
    range: tuple[float, float] | None = Field(default=None, description="transmitter range in `unit`; required for analog roles")
    interpolation: Literal["stepped", "sloped"] = Field(
        default="stepped", description="stepped: a value holds until the next; sloped: straight line between values"
    )
    deadband: float = Field(default=0.0, ge=0, description="deadband of the log: changes smaller than this were not recorded, in `unit`")
    hold_limit: Duration | None = Field(
        default=None,
        description="how long a reading is used after its time [h]; default by role: 30 min for analog signals and totalisers, 24 h for states",
    )
    hold_limit_at_rest: Duration | None = Field(
        default=None,
        description="the same for a reading at rest, in the lowest 5 % of `range`: a logger by change writes seldom while the line stands [h]",
    )
    scaling: Scaling | None = Field(default=None, description="scaling of a raw signal (mA, counts, percent, Hz)")
    rollover: float | None = Field(default=None, gt=0, description="totaliser capacity in `unit`")
    maximum_rate: float | None = Field(
        default=None,
        description="largest rate a totaliser can truly have, '600 gpm' [m3/h] or '50 kW' [kWh/h]; default: range top of its meter",
    )
    on_words: tuple[str, ...] = Field(
        default=("1", "true", "on", "run", "running"), description="state words that mean on; case and blanks do not matter"
    )
    off_words: tuple[str, ...] = Field(default=("0", "false", "off", "stop", "stopped"), description="state words that mean off")
    part_words: tuple[str, ...] = Field(
        default=(), description="state words that mean on for a part of the interval; how much is not told, and counts as half of it"
    )
    uncertainty: MeterUncertainty = Field(default=MeterUncertainty(), description="standard uncertainty of the meter")
    shared_by: tuple[str, ...] = Field(default=(), description="other lines that a polymer meter serves as well")
    split: Literal["by sludge flow", "by dry solids", "refuse"] = Field(default="refuse", description="how a shared polymer meter is split")
    since: Since | None = Field(default=None, description="first date or time at which the tag has this meaning")
    until: Since | None = Field(default=None, description="end of this meaning, not included")

    @field_validator("maximum_rate", mode="before")
    @classmethod
    def _rate(cls, given: Any, info: ValidationInfo) -> float:
        """Read the rate in the dimension the role's register adds up: a flow for volumes, a power for energy."""
        role = ROLES.get(str(info.data.get("role")))
        is_energy = role is not None and role.dimension == "energy"
        if not isinstance(given, str):
            raise ValueError(
                f"write it as text with a unit of {'power' if is_energy else 'flow'}, such as {'50 kW' if is_energy else '600 gpm'!r}"
            )
        return units.parse_quantity(given, "power" if is_energy else "flow")

    @model_validator(mode="after")
    def _fits_role(self) -> Self:
        if self.role not in ROLES:
            raise ValueError(f"role {self.role!r} is not one of: {', '.join(sorted(ROLES))}")
        role = ROLES[self.role]
        try:
            dimension = units.unit(self.unit).dimension
        except KeyError:
            raise ValueError(f"unit {self.unit!r} is not known") from None
        if dimension != role.dimension:
            is_drive = (dimension, role.dimension) == ("frequency", "speed")
            remedy = '; write unit = "rpm" and scaling = { raw = [0, 50], reads = [0, <rpm at 50 Hz>] }' if is_drive else ""
            raise ValueError(f"unit {self.unit!r} is a {dimension}; role {self.role} needs a {role.dimension}{remedy}")
        if role.kind == "analog" and self.range is None:
            raise ValueError("an analog signal needs range = [low, high], the transmitter range in its unit")
        if self.hold_limit_at_rest is not None and (role.kind != "analog" or self.interpolation != "stepped"):
            raise ValueError("hold_limit_at_rest is for stepped analog signals: it needs a range that says what rest is")
        if self.range and self.range[0] >= self.range[1]:
            raise ValueError("range must be [low, high] with low < high")
        if self.shared_by and not self.role.startswith(("polymer_", "makedown_", "dilution_")):
            raise ValueError("shared_by is for signals of the polymer feed; another signal belongs to one line")
        return self

    @property
    def meaning(self) -> Role:
        return ROLES[self.role]

    @property
    def hold_us(self) -> int:
        """Return the hold limit [us]."""
        minutes = self.hold_limit * 60.0 if self.hold_limit is not None else self.meaning.hold_min
        return round(minutes * 60e6)

    @property
    def hold_at_rest_us(self) -> int | None:
        """Return the hold limit of a reading at rest [us]; None where it is the same."""
        return None if self.hold_limit_at_rest is None else round(self.hold_limit_at_rest * 3.6e9)


_WORDLESS = ("", "-", "onoff", "on/off", "state", "text", "bool")  # unit words that say nothing to compare


def unit_agrees(word: str, signals: Iterable[Signal]) -> bool:
    """Return whether a unit word of a file is the unit of one of the signals; raw and state signals agree with any."""
    signals = tuple(signals)
    free = any(s.scaling is not None or s.meaning.kind == "state" for s in signals)
    return free or word.strip().lower() in _WORDLESS or _unit_name(word) in {units.unit(s.unit).name for s in signals}


def _unit_name(word: str) -> str:
    """Return the unit a word means; a word of no known meaning stands for itself."""
    try:
        return units.unit(word).name
    except KeyError:
        return word
