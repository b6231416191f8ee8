"""Combine the results of one sheet: average duplicates, keep tickets apart, convert volatile solids of wet sludge."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean
from typing import Any

from pipelines.check.lab.qualifiers import RowError
from pipelines.check.lab.result_units import MASSES, STORED_UNIT, VS_OF_WET, within_vs
from pipelines.plant.model import Lab, PlantFile

Result = dict[str, Any]  # the columns of lab_results but plant, load, revision, use; with line_no, is_reported, is_numbered
_DUPLICATE_LIMIT_PCT: dict[str, float] = {str(k): v for k, v in Lab().duplicate_limit_pct.items()}  # where the plant file names only some


@dataclass(frozen=True)
class Refused:
    """A lab value that cannot be used, with its reason."""

    line_no: int
    reason: str
    detail: str
    name: str
    time_utc: datetime | None


def averaged(found: list[Result], plant_file: PlantFile) -> tuple[list[Result], list[Refused]]:
    """Return (one result a sample and analyte of a load, values refused because they contradict each other).

    Duplicates become their mean with RPD = 100 (max - min) / mean. What the lab reported later replaces what it reported
    earlier. `lines` of a result are all lines it speaks for, `line_no` the first of those averaged. Tickets, deliveries
    and stock are never averaged: without a number each row is one, and two amounts under one number are refused.
    """
    rows, refused = of_ts(_numbered(found))
    groups: dict[tuple[str, str], list[Result]] = {}
    for row in rows:
        groups.setdefault((row["sample_id"], row["analyte"]), []).append(row)
    samples: list[Result] = []
    for group in groups.values():
        current = _current(group)
        said = _clash(current)
        if said is None:
            samples.append(_mean(group, current, plant_file))
            continue
        refused += [_refuse(r, "duplicate disagreement", said) for r in group]
    return samples, refused


def _refuse(row: Result, reason: str, detail: str) -> Refused:
    return Refused(row["line_no"], reason, detail, row["analyte"], row["from_utc"])


def _current(rows: list[Result]) -> list[Result]:
    """Return what the lab reported last; of a replicate that stands in several rows the last row."""
    last = max(r["reported_utc"] for r in rows)
    latest = [r for r in rows if r["reported_utc"] == last]
    rows_of = {r["replicate"]: r["line_no"] for r in sorted(latest, key=lambda r: r["line_no"]) if r.get("replicate")}
    return [r for r in latest if not r.get("replicate") or rows_of[r["replicate"]] == r["line_no"]]


def _numbered(found: list[Result]) -> list[Result]:
    """Return the results with amounts without a ticket number numbered by their order in the file: /2, /3 and so on."""
    seen: Counter[tuple[str, str]] = Counter()
    out = []
    for row in found:
        key = (row["sample_id"], row["analyte"])
        if row["analyte"] in MASSES and not row["is_numbered"]:
            seen[key] += 1
            row = row if seen[key] == 1 else row | {"sample_id": f"{row['sample_id']}/{seen[key]}"}
        out.append(row)
    return out


def of_ts(found: list[Result]) -> tuple[list[Result], list[Refused]]:
    """Return (results with VS in % of wet sludge made % of TS by the TS of the same sample in the same sheet, refused ones).

    VS above TS: neither can be trusted, both are refused. Without a TS the VS is refused.
    """
    if all(r["analyte"] != VS_OF_WET for r in found):
        return found, []
    solids: dict[str, list[Result]] = {}
    for row in found:
        if row["analyte"] == "ts":
            solids.setdefault(row["sample_id"], []).append(row)
    out, refused, spoilt = [], list[Refused](), set[str]()
    for row in found:
        if row["analyte"] != VS_OF_WET:
            out.append(row)
            continue
        ts_pct = fmean(r["value"] for r in _current(solids[row["sample_id"]])) if row["sample_id"] in solids else None
        if not ts_pct:
            refused.append(_refuse(row, "unit implausible", "VS of wet sludge needs the TS of the same sample in the same sheet"))
        elif row["value"] > ts_pct:
            spoilt.add(row["sample_id"])
            refused.append(
                _refuse(row, "inconsistent sample set", f"VS of {row['value']:g} % of wet sludge is above its TS of {ts_pct:g} %")
            )
        else:
            _take(row, 100.0 / ts_pct, out, refused)
    refused += [_refuse(r, "inconsistent sample set", "VS of the same sample is above this TS") for s in sorted(spoilt) for r in solids[s]]
    return [r for r in out if r["analyte"] != "ts" or r["sample_id"] not in spoilt], refused


def _take(row: Result, factor: float, out: list[Result], refused: list[Refused]) -> None:
    numbers = {c: row[c] * factor for c in ("value", "detection_limit", "value_at_zero", "value_at_limit") if row[c] is not None}
    try:
        within_vs(numbers["value"], row["point"])
    except RowError as error:
        refused.append(_refuse(row, error.reason, error.detail))
        return
    out.append(row | numbers | {"analyte": "vs", "unit": STORED_UNIT["vs"]})


def _clash(current: list[Result]) -> str | None:
    """Return why the results of one sample cannot be one, or None."""
    places = sorted({(r["line"], r["point"], r["from_utc"], r["to_utc"]) for r in current})
    if len(places) > 1:
        said = " and ".join(f"{line} {point} {at:%Y-%m-%dT%H:%MZ}" for line, point, at, _ in places)
        points = len({(line, point) for line, point, _, _ in places})
        remedy = '; where a number is that of a round, write sample_number = "round" in the layout' if points > 1 else ""
        return f"sample {current[0]['sample_id']} is {said}{remedy}"
    amounts = sorted({r["value"] for r in current})
    if current[0]["analyte"] in MASSES and len(amounts) > 1:
        return f"number {current[0]['sample_id']} has " + " and ".join(f"{a:g}" for a in amounts) + f" {current[0]['unit']}"
    return None


def _mean(rows: list[Result], current: list[Result], plant_file: PlantFile) -> Result:
    first = min(current, key=lambda r: r["line_no"])
    if first["analyte"] in MASSES or len(current) == 1:
        return {**first, "replicates": 1, "rpd_pct": None, "lines": [r["line_no"] for r in rows]}
    numbers = [r["value"] for r in current]
    mean = fmean(numbers)
    spread = 100.0 * (max(numbers) - min(numbers)) / mean if mean > 0 else None
    limits = [r["detection_limit"] for r in current if r["detection_limit"] is not None]
    bounds: dict[str, float | None] = dict.fromkeys(("value_at_zero", "value_at_limit"))
    if limits:
        bounds = {c: fmean(r["value"] if r[c] is None else r[c] for r in current) for c in bounds}
    qualifiers = sorted({q for r in current for q in (r["qualifier"] or "").split(",") if q})
    apart = _apart(spread, first, plant_file)
    notes = [*sorted({r["note"] for r in current if r["note"]}), *_mixed(current), *([apart] if apart else [])]
    return {
        **first, "value": mean, "replicates": len(numbers), "rpd_pct": spread, "detection_limit": max(limits) if limits else None, **bounds,
        "qualifier": ",".join(qualifiers) or None, "is_estimated": any(r["is_estimated"] for r in current) or apart is not None,
        "note": "; ".join(notes) or None, "lines": [r["line_no"] for r in rows],
    }  # fmt: skip


def _apart(spread_pct: float | None, first: Result, plant_file: PlantFile) -> str | None:
    """Return the note on duplicates that lie further apart than the analyte's limit [% of their mean], or None."""
    key = "cake" if first["point"] == "cake" and first["analyte"] == "ts" else first["analyte"]
    stated = {str(k): v for k, v in plant_file.lab.duplicate_limit_pct.items()}
    limit = stated.get(key, _DUPLICATE_LIMIT_PCT.get(key))
    if limit is None or spread_pct is None or spread_pct <= limit:
        return None
    return f"duplicates {spread_pct:.3g} % apart, limit {limit:g} %"


def _mixed(current: list[Result]) -> list[str]:
    methods = sorted({r["method"] for r in current if r["method"]})
    return [f"methods mixed: {', '.join(methods)}"] if len(methods) > 1 else []
