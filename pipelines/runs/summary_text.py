"""A run's summary as at most twenty lines of text: for the terminal, for a log, for the record of a flow."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from pipelines.base.receipts import Receipt
from pipelines.base.sanitise import harmless
from pipelines.runs.summary import Summary

MOST_LINES = 20
_MOST_FILES = 8  # files with a line of their own; the others share one
_MOST_NOTICES = 2
_ENTRIES = {
    "applied": "applied",
    "contradicted": "contradicted by the data",
    "changes nothing": "changing nothing",
    "matches nothing": "matching nothing",
    "waiting for data": "waiting for data",
}
_NAME_WIDE = 34
_COUNTS = ("rows_read", "rows_kept", "rows_duplicate", "rows_dropped", "rows_set_aside")
_HEAD = f"  {'file':<{_NAME_WIDE}} {'read':>10} = {'kept':>10} + {'duplicate':>9} + {'dropped':>7} + {'set aside':>9}"


def lines(summary: Summary, *, near: Path | None = None) -> list[str]:
    """Return the summary as text: receipts per file, reasons, what the steps did, outputs; never more than `MOST_LINES`.

    Outputs below the folder `near` are shown relative to it.
    """
    found = [
        f"{summary.plant}: {summary.run} as of {summary.as_of:%Y-%m-%d %H:%M} UTC, {summary.seconds:.1f} s{_exactly(summary.receipts)}"
    ]
    if summary.run not in ("weekly", "pump-review"):  # they take no files in
        found += _receipts(summary.receipts)
    found += [f"  set aside: {reasons}"] if (reasons := _reasons(summary.receipts)) else []
    found += _steps(summary)
    found += [f"  note: {notice.sentence}" for notice in summary.notices[:_MOST_NOTICES]]
    more = len(summary.notices) - _MOST_NOTICES
    found += [f"  and {more} more notes in the run's record"] if more > 0 else []
    found += [f"  wrote {_shown(Path(path), near)}" for path in summary.outputs]
    return found[:MOST_LINES]


def _shown(path: Path, near: Path | None) -> Path:
    return path.relative_to(near) if near is not None and path.is_relative_to(near) else path


def _receipts(receipts: list[Receipt]) -> list[str]:
    if not receipts:
        return ["  no new files"]
    known = [r for r in receipts if r.status == "known already"]
    counted = [r for r in receipts if r.status != "known already"]
    shown = _worth_a_line(counted)
    rest = [r for r in counted if r not in shown]
    found = [_HEAD] if counted else []
    found += [_line(r.file_name, [r]) for r in shown]
    found += [_line(f"{len(rest)} other file{'s' if len(rest) > 1 else ''}", rest)] if rest else []
    found += [_line("all", counted)] if len(counted) > 1 else []
    found += [f"  known already, nothing changed: {len(known)} file{'s' if len(known) > 1 else ''}"] if known else []
    return found


def _exactly(receipts: list[Receipt]) -> str:
    """Return how many rows needed the exact reader and the time it took; empty when none did."""
    rows, seconds = sum(r.rows_exact for r in receipts), sum(r.exact_seconds for r in receipts)
    return f" (exact reader: {rows:,} rows, {seconds:.2f} s)" if rows else ""


def _worth_a_line(receipts: list[Receipt]) -> list[Receipt]:
    """Return all files when they are few, else those with rows set aside first; in order of receipt."""
    if len(receipts) <= _MOST_FILES:
        return receipts
    by_trouble = sorted(receipts, key=lambda r: (r.status != "set aside", -r.rows_set_aside, -r.values_set_aside))
    chosen = [r for r in by_trouble if r.status == "set aside" or r.rows_set_aside or r.values_set_aside][: _MOST_FILES - 1]
    return [r for r in receipts if r in chosen]


def _line(name: str, receipts: list[Receipt]) -> str:
    read, kept, duplicate, dropped, aside = (sum(getattr(r, c) for r in receipts) for c in _COUNTS)
    values = sum(r.values_set_aside for r in receipts)  # of rows of which others were kept, too
    told = f"  ({values:,} value{'s' if values > 1 else ''})" if values not in (0, aside) else ""
    superseded = sum(r.values_superseded for r in receipts)
    told += f"  ({superseded:,} kept as history only)" if superseded else ""
    name = harmless(name)
    short = name if len(name) <= _NAME_WIDE else f"{name[: _NAME_WIDE - 12]}...{name[-9:]}"
    refused = f"  refused: {receipts[0].reason}" if len(receipts) == 1 and receipts[0].status == "set aside" else ""
    return f"  {short:<{_NAME_WIDE}} {read:>10,} = {kept:>10,} + {duplicate:>9,} + {dropped:>7,} + {aside:>9,}{told}{refused}"


def _reasons(receipts: list[Receipt]) -> str:
    counts: Counter[str] = Counter()
    for receipt in receipts:
        counts.update(receipt.reasons)
    return ", ".join(f"{count:,} {reason}" for reason, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])))


def _steps(summary: Summary) -> list[str]:
    if not summary.steps:
        return []
    done = ", ".join(f"{step.step} {step.days}" for step in summary.steps if step.step != "correct")
    flags = sum(step.rows.get("flags", 0) for step in summary.steps if step.step == "watch")
    return [*_corrections(summary), f"  operating days worked on: {done}; flags written: {flags}"]


def _corrections(summary: Summary) -> list[str]:
    """Return a line on the corrections register and the decisions, when there are any."""
    rows = next((step.rows for step in summary.steps if step.step == "correct"), {})
    told = [f"{rows[state]} {word}" for state, word in _ENTRIES.items() if rows.get(state)]
    if rows.get("decisions"):
        told.append(f"{rows['decisions']} decision{'s' if rows['decisions'] > 1 else ''} on rows and flags")
    return [f"  corrections: {', '.join(told)}"] if told else []
