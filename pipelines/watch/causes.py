"""One cause, one flag: repeats of a flag and its consequences carry the id of the flag they belong to (`cause_id`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from schemas.detectors import DETECTORS

REPEATS_WITHIN = timedelta(hours=12)  # an event again on the same day is the same cause (rule of this project)
LASTS_WITHIN = timedelta(days=4)  # what stays until someone mends it outlasts a long weekend (rule of this project)
Row = Mapping[str, Any]
Key = tuple[str, str]  # line, flag id


def cause_ids(flags: Sequence[Row]) -> dict[Key, str]:
    """Return (line, flag id) -> id of the first flag of its cause; `flags` have line, flag_id, detector, role, start_utc, end_utc.

    Flags of one detector, line and role that follow each other closely are one cause. A flag that overlaps one which explains it
    (`explained_by` of its detector) hangs under that cause.
    """
    own = _repeats(flags)
    by_line: dict[str, list[Row]] = {}
    for flag in flags:
        by_line.setdefault(flag["line"], []).append(flag)
    out = dict[Key, str]()
    for flag in flags:
        key = (flag["line"], flag["flag_id"])
        names = DETECTORS[flag["detector"]].explained_by if flag["detector"] in DETECTORS else ()
        above = [c for c in by_line[flag["line"]] if c["detector"] in names and _overlap(c, flag)] if names else []
        first = min(above, key=lambda c: (names.index(c["detector"]), c["start_utc"], c["flag_id"]), default=None)
        out[key] = own[key] if first is None else own[first["line"], first["flag_id"]]
    return out


def _repeats(flags: Sequence[Row]) -> dict[Key, str]:
    out, open_ = dict[Key, str](), dict[tuple[str, str, str | None], tuple[str, Any]]()
    for flag in sorted(flags, key=lambda f: (f["start_utc"], f["flag_id"])):
        series = (flag["line"], flag["detector"], flag["role"])
        first, end = open_.get(series, (flag["flag_id"], flag["start_utc"]))
        lasting = flag["detector"] in DETECTORS and DETECTORS[flag["detector"]].is_lasting
        if flag["start_utc"] - end > (LASTS_WITHIN if lasting else REPEATS_WITHIN):
            first = flag["flag_id"]
        out[flag["line"], flag["flag_id"]] = first
        open_[series] = (first, max(end, flag["end_utc"]))
    return out


def _overlap(a: Row, b: Row) -> bool:
    return bool(a["start_utc"] < b["end_utc"] and b["start_utc"] < a["end_utc"])
