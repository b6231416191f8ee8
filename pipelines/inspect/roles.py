"""Guess the role of a tag from its ISA-5.1 letters, its words and its unit. A guess is a question, not an answer."""

from __future__ import annotations

import re

from pipelines import units
from schemas.roles import ROLES

# role -> words that speak for it (English, with a few of other languages); lower case, matched anywhere
_WORDS: dict[str, tuple[str, ...]] = {
    "sludge_flow": ("sludge feed", "feed flow", "sludge flow", "slamflow", "sludge", "feed", "slam", "schlamm", "boue"),
    "polymer_neat_flow": ("neat", "emulsion", "concentrate"),
    "polymer_solution_flow": ("polymer solution", "polymerflow", "polymer", "poly", "flocculant"),
    "dilution_water_flow": ("dilution", "make-down water", "fortynd"),
    "wash_water_flow": ("wash", "spray", "vaskevand", "waschwasser"),
    "seal_water_flow": ("seal", "gland"),
    "pump_speed": ("pump speed", "speed", "omdrejning", "drehzahl", "hz"),
    "pump_power": ("pump power", "effekt pumpe", "pump kw"),
    "device_power": ("press power", "centrifuge power", "effekt presse", "drive power"),
    "pump_suction_pressure": ("suction", "sugetryk", "inlet"),
    "pump_discharge_pressure": ("discharge", "efter pumpe", "outlet"),
    "mixing_upstream_pressure": ("before mix", "upstream", "før mix", "valve in"),
    "mixing_downstream_pressure": ("after mix", "downstream", "efter mix", "valve out"),
    "mixing_valve_position": ("valve position", "mixing valve"),
    "polymer_solution_strength": ("strength", "concentration"),
    "feed_solids": ("solids", "density", "ts"),
    "device_torque": ("torque", "moment"),
    "pump_run": ("pump run", "pumpe", "feed pump"),
    "device_run": ("press run", "presse", "centrifuge", "decanter", "device run"),
    "polymer_run": ("polymer run", "polymer pump"),
    "sludge_total": ("total", "sum"),
    "polymer_total": ("polymer total",),
    "energy_total": ("kwh", "energy"),
}
_FIRST_LETTER = {"flow": "F", "pressure": "P", "speed": "S", "power": "J", "state": "Y", "volume": "F", "energy": "J", "fraction": "AWZ"}
_LETTERS = re.compile(r"(?<![A-Za-z])([FPSJYAWZLTIQ][A-Z]{0,3})[-_ .]?\d")


def guess_role(tag: str, unit_word: str | None, *, is_text: bool, only_grows: bool = False) -> str | None:
    """Return the most likely role, or None when neither letters, words nor unit point to one."""
    folded = tag.lower()
    letters = _LETTERS.search(tag)
    dimension = _dimension(unit_word, is_text=is_text)
    best, best_score = None, 0.0
    for role in ROLES.values():
        if dimension and role.dimension != dimension:
            continue
        if only_grows != (role.kind == "totaliser") and not is_text:
            continue
        words = [w for w in _WORDS[role.name] if w in folded]
        score = max((len(w) for w in words), default=0) + (2.0 if dimension else 0.0) * bool(words)
        if letters and letters[1][0] in _FIRST_LETTER.get(role.dimension, ""):
            score += 1.0
        if words and score > best_score:
            best, best_score = role.name, score
    return best


def _dimension(unit_word: str | None, *, is_text: bool) -> str | None:
    if is_text:
        return "state"
    try:
        found = units.unit(unit_word).dimension if unit_word else None
    except KeyError:
        return None
    return "speed" if found == "frequency" else found
