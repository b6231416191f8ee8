"""What every block of the plant file is built of: the frozen model, quantities with units, prices with a basis."""

from __future__ import annotations

from datetime import date, datetime
from functools import cached_property
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict

from pipelines.base import units


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
Flow = Annotated[float, _quantity("flow")]
Length = Annotated[float, _quantity("length")]
Density = Annotated[float, _quantity("density")]
Pressure = Annotated[float, _quantity("pressure")]
Speed = Annotated[float, _quantity("speed")]
Duration = Annotated[float, _quantity("time")]
Dose = Annotated[float, _quantity("dose")]
Volume = Annotated[float, _quantity("volume")]
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
PerMass = Annotated[float, _per("mass")]
PerEnergy = Annotated[float, _per("energy")]
PerVolume = Annotated[float, _per("volume")]


class ContradictionError(ValueError):
    """Two entries of a plant file that cannot both hold: where, what is wrong, what to write instead."""

    def __init__(self, where: str, problem: str, remedy: str) -> None:
        """Keep the remedy apart; the text is "block[index].key: problem"."""
        super().__init__(f"{where}: {problem}")
        self.remedy = remedy


class Block(BaseModel):
    """A block of the plant file: frozen, refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", ignored_types=(cached_property,))
