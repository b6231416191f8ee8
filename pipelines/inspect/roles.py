"""Guess the role of a tag from its words, its ISA-5.1 letters and its unit. A guess is a question, not an answer."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from pipelines.base import units
from schemas.roles import ROLES

# role -> words that speak for it (English, Danish, German, Spanish, French, Polish); without accents, matched anywhere
_WORDS: dict[str, tuple[str, ...]] = {
    "sludge_flow": (
        "sludge feed", "feed flow", "sludge flow", "slamflow", "sludge", "feed", "slam", "schlamm", "zulauf", "beschickung", "fango", "lodo",
        "alimentacion", "boue", "alimentation", "osad", "nadawa",
    ),
    "polymer_neat_flow": ("neat", "emulsion", "emulsja", "concentrate", "konzentrat", "concentrado"),
    "polymer_solution_flow": (
        "polymer solution", "polymerflow", "polymer", "poly", "flocculant", "flockungsmittel", "fhm", "polimer", "polielectrolito",
        "polielektrolit", "floculant", "flokulant",
    ),
    "makedown_water_flow": ("make-down water", "make down water", "makedown"),
    "dilution_water_flow": ("dilution", "fortynd", "verdunnung", "dilucion", "rozciencz"),
    "wash_water_flow": ("wash", "spray", "vaskevand", "waschwasser", "lavado", "lavage", "plukan"),
    "seal_water_flow": ("seal", "gland", "sperrwasser", "cierre", "garniture", "uszczelni"),
    "pump_speed": ("pump speed", "pump spd", "speed", "spd", "omdrejning", "drehzahl", "hz", "velocidad", "vitesse", "predkosc", "obroty"),
    "pump_power": ("pump power", "effekt pumpe", "pump kw", "pump", "bomba", "pompe", "pompa", "pompy"),
    "device_power": (
        "press power", "centrifuge power", "effekt presse", "drive power", "centrifug", "zentrifug", "wirowk", "decanter", "dekanter",
        "presse", "prensa", "prasa", "prasy",
    ),
    "pump_suction_pressure": ("suction", "suct", "sugetryk", "inlet", "saug", "aspiracion", "aspiration", "ssan"),
    "pump_discharge_pressure": ("discharge", "disch", "efter pumpe", "outlet", "druckseite", "impulsion", "descarga", "refoulement", "tlocz"),
    "mixing_upstream_pressure": (
        "before mix", "upstream", "for mix", "valve in", "vor misch", "antes mezcla", "antes de mezcla", "avant melange", "przed miesz",
    ),
    "mixing_downstream_pressure": (
        "after mix", "downstream", "efter mix", "valve out", "nach misch", "despues mezcla", "despues de mezcla", "apres melange", "za miesz",
    ),
    "mixing_valve_position": ("valve position", "mixing valve", "mischventil", "valvula", "vanne", "zawor"),
    "polymer_solution_strength": ("strength", "concentration", "konzentration", "concentracion", "stezenie"),
    "feed_solids": ("solids", "density", "ts", "trockensubstanz", "feststoff", "materia seca", "siccite", "matiere seche", "sucha masa"),
    "device_torque": ("torque", "moment", "par motor", "couple"),
    "belt_speed": ("belt speed",),
    "bowl_speed": ("bowl speed", "bowl rpm"),
    "differential_speed": ("differential", "diff speed", "differenz"),
    "headbox_level": ("head box", "headbox"),
    "tank_level": ("tank level", "level", "niveau", "fullstand"),
    "sludge_temperature": ("temperature", "temperatur"),
    "pump_vibration": ("vibration",),
    "rain": ("rain", "nedbor", "regen"),
    "pump_run": ("pump run", "pumpe", "feed pump", "bomba", "pompe", "pompa", "pompy"),
    "device_run": (
        "press run", "presse", "centrifug", "zentrifug", "wirowk", "decanter", "dekanter", "prensa", "prasa", "prasy", "device run",
    ),
    "polymer_run": ("polymer run", "polymer pump", "polymerpumpe", "bomba polim", "pompe polym", "pompa polim", "polimer"),
    "sludge_total": ("total", "sum", "zahler", "compteur", "licznik"),
    "polymer_total": ("polymer total", "polymer", "polimer"),
    "energy_total": ("kwh", "energy", "energi"),
}  # fmt: skip
_NOT = {  # role -> words of other machines that have the same quantity
    "pump_speed": ("diff", "bowl", "scroll", "belt speed", "drum", "conveyor", "trommel", "mixer", "band"),
    "pump_power": ("conveyor", "mixer", "belt drive", "fan", "blower"),
    "pump_discharge_pressure": ("cake discharge", "air"),
    "sludge_flow": ("air", "effluent", "influent", "biogas", "gas flow"),
}
_QUANTITIES = {  # where no unit is known: dimension -> words a tag can begin a word with
    "flow": ("flow", "flw", "durchfluss", "caudal", "debit", "przeplyw"),
    "pressure": ("pressure", "druck", "presion", "pression", "cisnienie", "tryk"),
    "power": ("power", "leistung", "potencia", "puissance", "moc", "effekt", "kw"),
    "speed": ("speed", "spd", "drehzahl", "velocidad", "vitesse", "predkosc", "obroty"),
    "state": ("run", "stat", "sts", "betrieb", "marcha", "marche", "praca", "drift"),
}
_OTHER_QUANTITIES = re.compile(  # measured at plants, and no role: a name that says one is of no role
    r"\b(ph|orp|redox|turbidity|trubung|turbidite|turbidez|conductivity|leitfahigkeit|conductivite|chlorine|ammonia|nitrate|phosphate|oxygen|"
    r"dissolved oxygen|ntu|setpoint|set point|sollwert|consigne|alarm)\b"
)
_AT_WORD_START = ("couple", "moment", "sum", "ts", "hz", "seal", "neat", "total")
_NEEDS_QUANTITY = ("power", "speed", "energy", "state")  # a machine's name alone says nothing of what is measured at it
_NEAT_OVER_POLYMER = 8.0  # "polymer neat" is the neat product, not the solution
_FIRST_LETTER = {
    "flow": "F", "pressure": "P", "speed": "S", "power": "J", "state": "Y", "volume": "F", "energy": "JFEQ", "fraction": "ADQWZ",
}  # fmt: skip
_LETTERS = re.compile(r"(?<![A-Za-z])([FPSJYAWZLTIQDE][A-Z]{0,3})[-_ .]?\d")
# where no word fits: the role most often meant (common practice, no source)
_USUAL = {
    "flow": "sludge_flow", "pressure": "pump_discharge_pressure", "speed": "pump_speed", "power": "pump_power", "state": "pump_run",
    "volume": "sludge_total", "energy": "energy_total",
}  # fmt: skip
_USUAL_FRACTION = {"A": "feed_solids", "D": "feed_solids", "Q": "feed_solids", "Z": "mixing_valve_position", "W": "device_torque"}
_SMALL_FLOWS = ("L/h", "gph", "L/min")  # sludge is measured in larger units


@dataclass(frozen=True)
class RoleGuess:
    """A role and whether a word of the tag speaks for it, or its letters and its unit alone."""

    role: str
    has_word: bool


def guess_role(tag: str, unit_word: str | None, *, is_text: bool, only_grows: bool = False) -> RoleGuess | None:
    """Return the most likely role, or None when neither words nor letters and unit together point to one.

    A unit that no role has, known or not, and the name of another quantity rule every role out.
    """
    folded = _folded(tag)
    letters = _LETTERS.search(tag)
    unit_dimension = _dimension(unit_word, is_text=is_text)
    if _OTHER_QUANTITIES.search(folded) or (unit_word and unit_dimension is None):
        return None
    only_grows = only_grows and unit_dimension in (None, "volume", "energy")  # a flow that happens to rise is no register
    named = next((d for d, said in _QUANTITIES.items() if any(re.search(rf"\b{w}", folded) for w in said)), None)
    dimension = unit_dimension or (None if only_grows else named)
    best: str | None = None
    best_score = 0.0
    for role in ROLES.values():
        if dimension and role.dimension != dimension:
            continue
        if only_grows != (role.kind == "totaliser") and not is_text:
            continue
        if dimension is None and role.dimension in _NEEDS_QUANTITY:
            continue
        if any(re.search(rf"\b{word}", folded) for word in _NOT.get(role.name, ())):
            continue
        said = [w for w in _WORDS.get(role.name, ()) if _stands(w, folded)]
        score = max((len(w) for w in said), default=0) + (2.0 if dimension else 0.0) * bool(said)
        score += _NEAT_OVER_POLYMER if said and role.name == "polymer_neat_flow" else 0.0
        if letters and letters[1][0] in _FIRST_LETTER.get(role.dimension, ""):
            score += 1.0
        if said and score > best_score:
            best, best_score = role.name, score
    if best is not None:
        return RoleGuess(best, has_word=True)
    usual = _usual(letters[1][0], unit_dimension, unit_word) if letters and unit_dimension else None
    is_total = usual is not None and ROLES[usual].kind == "totaliser"
    return None if usual is None or (is_total != only_grows and not is_text) else RoleGuess(usual, has_word=False)


def _usual(letter: str, dimension: str, unit_word: str | None) -> str | None:
    """Return the role that letter and dimension mean most often; None where they do not belong together."""
    if letter not in _FIRST_LETTER.get(dimension, ""):
        return None
    if dimension == "flow" and unit_word and units.unit(unit_word).name in _SMALL_FLOWS:
        return "polymer_solution_flow"
    return _USUAL_FRACTION.get(letter) if dimension == "fraction" else _USUAL.get(dimension)


def _stands(word: str, folded: str) -> bool:
    """Return whether a word stands in a tag; short ones only at the beginning of a word ("couple" is no thermocouple)."""
    return re.search(rf"(?<![a-z]){word}", folded) is not None if word in _AT_WORD_START else word in folded


_PLAIN = str.maketrans("łøæ", "loa")


@lru_cache(maxsize=10_000)
def _folded(text: str) -> str:
    """Return lower case without accents, words parted by blanks: "FEED_PUMP/ST" and "FeedPumpSt" are "feed pump st"."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    text = re.sub(r"[\s_/\\.:]+", " ", text)
    plain = unicodedata.normalize("NFKD", text.lower().replace("ß", "ss").translate(_PLAIN))
    return "".join(c for c in plain if not unicodedata.combining(c))


def _dimension(unit_word: str | None, *, is_text: bool) -> str | None:
    if is_text:
        return "state"
    try:
        found = units.unit(unit_word).dimension if unit_word else None
    except KeyError:
        return None
    return "speed" if found == "frequency" else found
