"""Building blocks of the plant file: the frozen model, quantities with units, prices with a basis."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict

from pipelines.base import units


@dataclass(frozen=True)
class Written:
    """How a quantity is written in a plant file, for the manual: its dimension and an example."""

    dimension: str
    example: str


def _quantity(dimension: str) -> BeforeValidator:
    def read(given: Any) -> float:
        if isinstance(given, str):
            return units.parse_quantity(given, dimension)
        raise ValueError(f"write it as text with a unit of {dimension}, such as {_EXAMPLE[dimension]!r}")

    return BeforeValidator(read)


_EXAMPLE = {
    "flow": "20 gpm",
    "length": "2.0 m",
    "density": "1.03 kg/L",
    "pressure": "30 psi",
    "speed": "1180 rpm",
    "time": "36 h",
    "dose": "18 lb/dt",
    "volume": "1.6 gal",
}
Flow = Annotated[float, _quantity("flow"), Written("flow", _EXAMPLE["flow"])]
Length = Annotated[float, _quantity("length"), Written("length", _EXAMPLE["length"])]
Density = Annotated[float, _quantity("density"), Written("density", _EXAMPLE["density"])]
Pressure = Annotated[float, _quantity("pressure"), Written("pressure", _EXAMPLE["pressure"])]
Speed = Annotated[float, _quantity("speed"), Written("speed", _EXAMPLE["speed"])]
Duration = Annotated[float, _quantity("time"), Written("time", _EXAMPLE["time"])]
Dose = Annotated[float, _quantity("dose"), Written("dose", _EXAMPLE["dose"])]
Volume = Annotated[float, _quantity("volume"), Written("volume", _EXAMPLE["volume"])]
Since = date | datetime


def _per(dimension: str) -> BeforeValidator:
    def read(given: Any) -> float:
        number, _, word = given.partition(" per ") if isinstance(given, str) else ("", "", "")
        try:
            u = units.unit(word.strip())
            if u.dimension == dimension:
                return float(number) / u.factor
        except (KeyError, ValueError):
            pass
        raise ValueError(f"write it as text with its basis, such as {_PER_EXAMPLE[dimension]!r}")

    return BeforeValidator(read)


_PER_EXAMPLE = {"mass": "0.66 per lb", "energy": "0.12 per kWh", "volume": "4.50 per kgal"}
PerMass = Annotated[float, _per("mass"), Written("price by mass", _PER_EXAMPLE["mass"])]
PerEnergy = Annotated[float, _per("energy"), Written("price by energy", _PER_EXAMPLE["energy"])]
PerVolume = Annotated[float, _per("volume"), Written("price by volume", _PER_EXAMPLE["volume"])]


class ContradictionError(ValueError):
    """Two entries of a plant file that cannot both hold: where, what is wrong, what to write instead."""

    def __init__(self, where: str, problem: str, remedy: str) -> None:
        """Keep the remedy apart; the text is "block[index].key: problem"."""
        super().__init__(f"{where}: {problem}")
        self.remedy = remedy


class Block(BaseModel):
    """A block of the plant file: frozen, refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", ignored_types=(cached_property,))
