"""What a polymer product of a plant file must say."""

from __future__ import annotations

from datetime import date

import pytest
from pydantic import ValidationError

from tests.plants import plant_file


@pytest.mark.parametrize(
    ("form", "meter", "says"),
    [
        ("dry", "solution", None),
        ("dry", "neat", r"polymers\[0\].density: density of 'x' is missing: line line-1 meters it as supplied"),
        ("emulsion", "solution", r"polymers\[0\].density: density of 'x' is missing: it is of form 'emulsion'"),
    ],
)
def test_a_dry_product_metered_as_solution_needs_no_density(form: str, meter: str, says: str | None) -> None:
    product = {
        "lines": ["line-1"],
        "product": "x",
        "form": form,
        "active_fraction": 0.9,
        "solution_strength_pct": 0.3,
        "since": date(2025, 1, 1),
    }
    if says is None:
        assert plant_file(line={"polymer_meter": meter}, blocks={"polymers": [product]}).polymers[0].density is None
    else:
        with pytest.raises(ValidationError, match=says):
            plant_file(line={"polymer_meter": meter}, blocks={"polymers": [product]})
