"""The plan of a comparison: a TOML file below `<home>/plans/`, written before the trial, hashed, frozen, amended by number.

The hash covers the whole file but its amendments. Freezing keeps text, hash and time beside the plan; a later result names them. A plan whose
body differs from what was frozen is refused, unless its last amendment names the new hash. A draft can be computed; it shows nothing.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, ValidationError, model_validator

from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.compare.noninferiority import CAKE_MARGIN_PCT, CAPTURE_MARGIN_PCT, FILTRATE_RATIO, THROUGHPUT_MARGIN
from pipelines.plant.quantities import Block

Design = Literal["within-day crossover", "paired days", "alternating blocks", "control line", "before/after"]
IN_SETS = ("within-day crossover", "paired days", "alternating blocks")
OutcomeName = Literal[
    "iso-performance saving",
    "fed-dose saving",
    "cake",
    "cake gain",
    "capture",
    "filtrate",
    "throughput",
    "mixing pressure drop",
    "all-in saving",
    "shear",
    "wear",
]


class Span(Block):
    """A block of a set: an arm from one time to another (not included); dates mean operating days, both included."""

    arm: str
    first: date | datetime
    last: date | datetime


class Set(Block):
    """A pair of days, of blocks, or a day with both arms: the unit within which the order was drawn."""

    blocks: tuple[Span, ...] = Field(min_length=2)


class Head(Block):
    """What is asked, of which line, by which design."""

    plant: str
    line: str
    question: str
    design: Design
    arm_from: str = Field(description="arrangement compared with, as the plant file names it")
    arm_to: str = Field(description="arrangement judged")
    first_day: date
    last_day: date
    outcomes: tuple[OutcomeName, ...] = Field(min_length=1, description="primary outcome first")
    control_line: str | None = None
    transition_days: int = Field(default=10, ge=0, le=60, description="operating days left out after a change of arrangement")
    not_claimed: str = "effect outside the days compared; effect with another polymer; effect in another season"

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.last_day < self.first_day:
            raise ValueError("last_day lies before first_day")
        if (self.design == "control line") != (self.control_line is not None):
            raise ValueError("control_line belongs to the design 'control line', and to no other")
        if self.arm_from == self.arm_to:
            raise ValueError("arm_from and arm_to are the same arrangement")
        return self


class Draw(Block):
    """How the order of arms came about, and what the dose followed."""

    is_drawn: bool = Field(default=False, description="true when the order in each set was drawn by `seed`")
    seed: int = 1
    dose_rule: Literal["ladder", "fixed rule", "operators"] = "operators"
    block_days: int = Field(default=1, ge=1, le=30)
    sets: int = Field(default=8, ge=2, le=200, description="sets to draw; plan-trial")
    rungs_pct: tuple[float, ...] = Field(default=(55.0, 75.0, 100.0, 150.0), description="ladder, % of the present dose")

    @model_validator(mode="after")
    def _tops(self) -> Self:
        if self.dose_rule == "ladder" and max(self.rungs_pct) < 150.0:
            raise ValueError("the top step of a ladder must be at least 150 % of the present dose, so that both arms reach the plateau")
        return self


class Performance(Block):
    """Least cake and capture that the dose must reach; null: not asked."""

    cake_pct: float | None = Field(default=None, gt=0, lt=100)
    capture_pct: float | None = Field(default=None, gt=0, lt=100)


class Margins(Block):
    """Margins of the non-inferiority gates, fixed in advance."""

    cake_pct: float = Field(default=CAKE_MARGIN_PCT, gt=0, le=CAKE_MARGIN_PCT)
    capture_pct: float = Field(default=CAPTURE_MARGIN_PCT, gt=0)
    filtrate_ratio: float = Field(default=FILTRATE_RATIO, gt=1)
    throughput_share: float = Field(default=THROUGHPUT_MARGIN, gt=0)


class Exclusions(Block):
    """Rules that leave a day out, each checked by machine; judgement afterwards has no place."""

    flag_severities: tuple[Literal["check today", "check this week"], ...] = ("check today",)
    provisional_days: bool = Field(default=False, description="true leaves out days whose feed TS is held")
    doubted_meters: bool = Field(default=True, description="leave out weeks whose meters are in doubt; refuse when much of an arm is")


class Money(Block):
    """Annual dry solids and costs; prices are those of the plant file at `price_day`."""

    price_day: date
    annual_dry_solids_t: tuple[float, float, float] = Field(description="low, typical, high")
    installed_cost: tuple[float, float] | None = Field(default=None, description="low, high; in the plant's currency")
    annual_new_cost: float = Field(default=0.0, ge=0)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not 0 < self.annual_dry_solids_t[0] <= self.annual_dry_solids_t[1] <= self.annual_dry_solids_t[2]:
            raise ValueError("annual_dry_solids_t: write low, typical, high in this order")
        return self


class Verification(Block):
    """A check of an instrument before the first day counts."""

    role: str
    at: date
    method: str
    found_error_pct: float


class StaticFactor(Block):
    """Something that must not change between arms, as it was in each; a difference refuses the number."""

    name: str
    in_arm_from: str
    in_arm_to: str


class Amendment(Block):
    """A change after freezing, numbered from 1; `plan_hash` is the hash of the body it makes."""

    number: int = Field(ge=1)
    at: date
    by_role: str
    what: str
    plan_hash: str


class Plan(Block):
    """A whole plan."""

    plan: Head
    draw: Draw = Draw()
    sets: tuple[Set, ...] = ()
    performance: Performance = Performance()
    margins: Margins = Margins()
    exclusions: Exclusions = Exclusions()
    covariates: tuple[Literal["feed_ts_pct", "throughput_t_h", "vs_pct"], ...] = ()
    systematic_pct: float = Field(default=2.0, ge=0, description="standard uncertainty of the dose that does not cancel between arms")
    same_instruments: bool = Field(default=True, description="the same instruments, unchanged, served both arms: systematic parts cancel")
    money: Money | None = None
    verifications: tuple[Verification, ...] = ()
    required_verified: tuple[str, ...] = Field(default=(), description="roles that need a verification before the first day")
    static_factors: tuple[StaticFactor, ...] = ()
    amendments: tuple[Amendment, ...] = ()

    @model_validator(mode="after")
    def _sets_fit(self) -> Self:
        if self.sets and self.plan.design not in IN_SETS:
            raise ValueError(f"sets belong to the designs {', '.join(IN_SETS)}")
        for k, one in enumerate(self.sets, 1):
            if {b.arm for b in one.blocks} != {self.plan.arm_from, self.plan.arm_to}:
                raise ValueError(f"set {k} must hold both arms and no other")
        return self


@dataclass(frozen=True)
class Loaded:
    """A plan with its identity: name, text, hash of its body, and when it was frozen (None: a draft)."""

    name: str
    plan: Plan
    text: str
    body_hash: str
    frozen_hash: str | None
    frozen_utc: datetime | None

    @property
    def shown_hash(self) -> str:
        """Return the hash results name: of the frozen plan, else that of the draft, marked."""
        return self.frozen_hash or f"draft-{self.body_hash}"

    @property
    def amendments_text(self) -> str | None:
        """Return the amendments in one line each; None without any."""
        said = [f"{a.number}. {a.at} ({a.by_role}): {a.what}" for a in self.plan.amendments]
        return "\n".join(said) or None


def path_of(home: Home, name: str) -> Path:
    """Return where a plan lies; UsageError for a name that is no plain file name."""
    if not name or name != Path(name).name or name.startswith("."):
        raise UsageError(f"{name!r} is no name of a plan", remedy="name the file below <home>/plans/ without its ending")
    return home.plans / f"{name.removesuffix('.toml')}.toml"


def load(home: Home, name: str) -> Loaded:
    """Read, check and identify a plan; UsageError names key and problem, or what changed since it was frozen."""
    path = path_of(home, name)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path} cannot be read: {error}", remedy="copy a template there; plan-trial --templates lists them") from None
    plan, body = parse(text, str(path)), body_hash(text)
    frozen = path.with_suffix(".frozen.json")
    if not frozen.is_file():
        return Loaded(path.stem, plan, text, body, None, None)
    kept = json.loads(frozen.read_text(encoding="utf-8"))
    latest = plan.amendments[-1].plan_hash if plan.amendments else kept["hash"]
    if body != latest:
        raise UsageError(
            f"{path.name} was changed since it was frozen: its hash is {body}, {'the last amendment' if plan.amendments else 'the frozen plan'} says {latest}",
            remedy=f"undo the change, or add an [[amendments]] block with number, at, by_role, what and plan_hash = {body!r}",
        )
    return Loaded(path.stem, plan, text, body, kept["hash"], datetime.fromisoformat(kept["frozen_utc"]))


def parse(text: str, where: str) -> Plan:
    """Return the plan of a text; UsageError names key and problem."""
    try:
        return Plan.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{where} is no TOML: {error}", remedy="mend the line named") from None
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(x) for x in first["loc"]) or "plan"
        raise UsageError(f"{where}: {key}: {first['msg']}", remedy="see the templates and the manual for the keys of a plan") from None


def body_hash(text: str) -> str:
    """Return the first 12 hex digits of the SHA-256 of a plan without its amendments, whatever the spacing of the file."""
    given = tomllib.loads(text)
    given.pop("amendments", None)
    return hashlib.sha256(json.dumps(given, sort_keys=True, default=str).encode()).hexdigest()[:12]


def freeze(home: Home, name: str, at_utc: datetime) -> Loaded:
    """Keep hash, text and time of a plan beside it; UsageError when it is frozen already or lacks its sets."""
    found = load(home, name)
    if found.frozen_hash is not None:
        raise UsageError(f"{name} was frozen at {found.frozen_utc}", remedy="write an amendment")
    if found.plan.plan.design in IN_SETS and not found.plan.sets:
        raise UsageError(f"{name} has no sets yet", remedy="draw them with `plan-trial --draw` and put them into the plan first")
    kept = {"hash": found.body_hash, "frozen_utc": at_utc.isoformat(), "text": found.text}
    path_of(home, name).with_suffix(".frozen.json").write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return load(home, name)
