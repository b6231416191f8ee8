"""Units and states in the name of a tag: "Sludge feed [m3/h]", "Feed flow (gpm)", "XS-310 Centrifuge run"."""

from __future__ import annotations

import re
from contextlib import suppress

from pipelines.base import units

_AT_END = (re.compile(r"[\[(]([^\[\]()]+)[\])]\s*$"), re.compile(r",\s*([^,]+)$"), re.compile(r"\s(\S+)$"))
_STATES = re.compile(r"(?<![a-z])(run|running|on|status|state|stat|sts|st|betrieb|lauf|marcha|marche|drift|praca)(?![a-z])", re.IGNORECASE)


def unit_of(name: str) -> str | None:
    """Return the unit at the end of a name; None where it ends with another word."""
    for pattern in _AT_END:
        if (found := pattern.search(name)) is not None:
            with suppress(KeyError):
                return units.unit(found[1].strip()).name
    return None


def is_state(name: str) -> bool:
    """Return whether a word of a name says that it is a state."""
    return _STATES.search(name.replace("_", " ")) is not None
