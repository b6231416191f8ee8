"""The trail of a weekly page: every printed number with its stored value, table, column and key, and the page's revision. Pure."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any

from pipelines import __version__
from pipelines.report.language import Language
from pipelines.report.numbers import one_decimal
from pipelines.report.weekly.facts import KpiRow, LineFacts
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import WeekData

MOST_CHANGES = 6  # told on a revised page


@dataclass(frozen=True)
class Number:
    """A printed number and where it comes from; `stored` is in the unit of the table."""

    name: str
    text: str
    unit: str
    stored: float | int | None
    table: str
    column: str
    key: dict[str, str]


def of_week(week: WeekData, lines: tuple[LineFacts, ...], page: dict[str, Any], t: Language) -> dict[str, Any]:
    """Return what a reader needs to trace every printed number; without the revision."""
    return {
        "plant": week.plant, "name": week.name, "language": t.code, "iso_week": week.iso_week, "week_start_day": str(week.week_start_day), "flocledger": __version__,
        "known_utc": week.known_utc.isoformat(), "plant_file_id": week.plant_file_id, "withheld": page["withheld"],
        "rows_set_aside": week.rows_set_aside, "sentences": page["sentences"], "data": page["data_line"], "items": page["items"],
        "lines": [
            {
                "line": line.data.line, "name": line.data.name, "withheld": line.withheld,
                "provisional": line.standing is not None and line.standing.is_provisional,
                "numbers": [asdict(n) for n in numbers_of(line, t)],
                "flags": [f["flag_id"] for f in line.data.flags], "open_items": [i.flag["flag_id"] for i in line.items],
                "doubted": [asdict(d) for d in line.doubts],
            }
            for line in lines
        ],
    }  # fmt: skip


def fingerprint(found: dict[str, Any]) -> str:
    """Return the digest of a trail: pages with the same digest say the same."""
    return hashlib.sha256(json.dumps(found, sort_keys=True, default=str).encode()).hexdigest()[:16]


def changes(before: dict[str, Any], now: dict[str, Any], t: Language) -> list[str]:
    """Return the printed numbers of the week that differ between two trails, in words."""

    def texts(trail: dict[str, Any]) -> dict[tuple[str, str], str]:
        return {(x.get("name", x["line"]), n["name"]): n["text"] for x in trail["lines"] for n in x["numbers"] if n["table"] == "kpi_week"}

    old, new = texts(before), texts(now)
    told = [
        t("appendix.revision_one", name=f"{line}, {name}", old=old[line, name], new=text)
        for (line, name), text in new.items()
        if (line, name) in old and old[line, name] != text
    ]
    return told[:MOST_CHANGES]


def numbers_of(line: LineFacts, t: Language) -> tuple[Number, ...]:
    """Return every printed number of the line with its place in the published file."""
    out: list[Number] = []
    for row in (line.data.this, line.data.last):
        if row is None or not line.rows:
            continue
        when = t("this_week") if row is line.data.this else str(row["week_start_day"])
        key = {"plant": row["plant"], "line": row["line"], "week_start_day": str(row["week_start_day"])}
        out += [_number(r, row, when, "kpi_week", key, t) for r in line.rows]
        hours = t.numeral(one_decimal(row["processing_h"] or 0.0))
        out.append(Number(f"processing_h, {when}", hours, "h", row["processing_h"], "kpi_week", "processing_h", key))
    for day in line.in_week if line.rows else ():
        key = {"plant": day["plant"], "line": day["line"], "operating_day": str(day["operating_day"])}
        out += [_number(r, day, str(day["operating_day"]), "kpi_day", key, t) for r in line.rows if r.printed.kpi in day]
    return tuple(out)


def _number(row: KpiRow, stored: Row, when: str, table: str, key: dict[str, str], t: Language) -> Number:
    kpi, value = row.printed.kpi, stored[row.printed.kpi]
    text = row.printed.text(value)
    return Number(f"{row.printed.label}, {when}", "-" if text is None else t.numeral(text), row.printed.unit, value, table, kpi, key)
