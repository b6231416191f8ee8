"""Prices with a basis: so much per lb, kWh or kgal becomes so much per kg, kWh or m3."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from pipelines.plant.quantities import PerEnergy, PerMass, PerVolume

# NIST SP 811: 1 lb = 0.45359237 kg and 1 gal = 3.785411784 L, both exact; a short ton is 2000 lb.


@pytest.mark.parametrize(
    ("kind", "written", "per_si"),
    [
        (PerMass, "0.66 per lb", 0.66 / 0.45359237),
        (PerMass, "60 per short_ton", 60 / 907.18474),
        (PerMass, "85 per t", 0.085),
        (PerMass, "3 per kg", 3.0),
        (PerEnergy, "0.12 per kWh", 0.12),
        (PerEnergy, "120 per MWh", 0.12),
        (PerVolume, "4.50 per kgal", 4.50 / 3.785411784),
        (PerVolume, "0.002 per L", 2.0),
    ],
)
def test_a_price_is_divided_by_its_basis(kind: Any, written: str, per_si: float) -> None:
    assert TypeAdapter(kind).validate_python(written) == pytest.approx(per_si, rel=1e-12)


@pytest.mark.parametrize("written", ["0.66", 0.66, "0.66 per kWh", "0.66 per bag", "cheap per lb"])
def test_a_price_without_a_basis_of_its_kind_is_refused(written: str | float) -> None:
    with pytest.raises(ValidationError, match=r"write it as text with its basis, such as '0\.66 per lb'"):
        TypeAdapter(PerMass).validate_python(written)
