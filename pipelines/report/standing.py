"""What is still open of a line's week: flags without a disposition, a solids balance that does not close. Pure."""

from __future__ import annotations

from pipelines.report.read import LineData, Row, WeekData

_URGENT = ("check today", "check this week")
_BALANCE = "solids_balance."


def open_items(week: WeekData, data: LineData) -> tuple[Row, ...]:
    """Return what asks for a check and has no disposition yet, the most urgent first, as rows like those of flags."""
    found = [f for f in data.flags if f["severity"] in _URGENT and f["disposition"] is None]
    if data.balance is not None and data.balance["verdict"] in ("below limits", "above limits"):
        found.insert(0, _unclosed(week, data.balance))
    return tuple(sorted(found, key=lambda f: _URGENT.index(f["severity"])))


def to_print(items: tuple[Row, ...], most: int) -> tuple[Row, ...]:
    """Return the `most` items to print: the first, but always what stands in no table of flags."""
    nowhere_else = tuple(i for i in items[most:] if i["flag_id"].startswith(_BALANCE))
    return (*items[: most - len(nowhere_else)], *nowhere_else)


def _unclosed(week: WeekData, balance: Row) -> Row:
    whose = " of all lines" if balance["line"] == "all lines" else ""
    percent, low, high = (100.0 * balance[c] for c in ("solids_closure", "limit_low", "limit_high"))
    return {
        "flag_id": f"{_BALANCE}{balance['line']}.{week.iso_week}", "severity": "check this week", "start_utc": week.start_utc,
        "sentence": f"The solids balance{whose} does not close: cake and filtrate hold {percent:.0f} % of the solids fed, {low:.0f} to {high:.0f} expected.",
        "suggestion": "hold truck tickets and lab sheets of the week against each other; then check feed TS and the sludge meter",
    }  # fmt: skip
