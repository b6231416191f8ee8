"""trace: from a published number, a lab result or a row of a file to what stands behind it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from pipelines.base import sanitise
from pipelines.base.errors import ExitCode, UsageError
from pipelines.base.home import Home
from pipelines.cli.app import EXIT_CODES, home_option

if TYPE_CHECKING:
    import polars as pl

    from pipelines.trace import ResultTrace, RowTrace, Trace
    from pipelines.trace_comparison import ComparisonTrace

_SHOWN = 12  # corrections told one by one
_TEXT = 160  # characters of a raw line that are shown
_TOTALS = ("polymer_active_kg", "dry_solids_t", "feed_volume_m3", "valid_minutes", "processing_minutes", "feed_ts_pct", "data_version")


@click.command("trace", epilog=EXIT_CODES)
@click.argument("column", required=False)
@click.option("--plant", required=True, help="Plant id.")
@click.option("--line", help="Line id.")
@click.option("--day", type=click.DateTime(["%Y-%m-%d"]), help="Operating day; with --table kpi_week any day of the week.")
@click.option(
    "--table", default="kpi_day", show_default=True, help="KPI table of the number: kpi_hour, kpi_shift, kpi_day, kpi_week or kpi_rolling."
)
@click.option("--hour", help="With kpi_hour: the hour's start (ISO 8601).")
@click.option("--shift", help="With kpi_shift: the shift's name.")
@click.option("--window", help='With kpi_rolling: the window, such as "7 d".')
@click.option("--minute", help="Show the readings of this UTC minute (ISO 8601); default: the first processing minute.")
@click.option("--sample", help="Trace a lab result: its sample id.")
@click.option("--analyte", default="ts", show_default=True, help="With --sample: its analyte.")
@click.option("--file", help="Trace a row of a file: the file's name, or its load id.")
@click.option("--row", "line_no", type=click.IntRange(min=0), help="With --file: the line in the file.")
@click.option("--plan", help="Trace an outcome of a comparison: the name of its plan.")
@click.option("--outcome", default="iso-performance saving", show_default=True, help="With --plan: the outcome, as the statement names it.")
@home_option
def trace(
    column: str | None,
    plant: str,
    *,
    line: str | None,
    day: datetime | None,
    table: str,
    hour: str | None,
    shift: str | None,
    window: str | None,
    minute: str | None,
    sample: str | None,
    analyte: str,
    file: str | None,
    line_no: int | None,
    plan: str | None,
    outcome: str,
    home: Home,
) -> int:
    """Trace COLUMN of a KPI table: formula, inputs, lab results, files, corrections, and the raw lines of one minute.

    With --sample instead of COLUMN a lab result, with --file and --row a line of a file: what was set aside of it, and what
    was decided; with --plan a printed saving: its plan and every day behind it. Reads the published file, the store and the archived originals. Writes nothing.
    """
    from pipelines import trace as tracing

    if plan is not None:
        from pipelines import trace_comparison

        told = comparison_lines(trace_comparison.run(home, plant, plan, outcome))
    elif file is not None and line_no is not None:
        told = row_lines(tracing.of_row(home, plant, file, line_no))
    elif sample is not None:
        told = result_lines(tracing.of_result(home, plant, sample, analyte))
    elif column is not None and line is not None and day is not None:
        part: str | datetime | None = {"kpi_hour": _instant(hour), "kpi_shift": shift, "kpi_rolling": window}.get(table)
        told = lines(tracing.run(home, plant, line, day.date(), column, minute=_instant(minute), table=table, part=part))
    else:
        raise UsageError(
            "nothing to trace was given",
            remedy="give a COLUMN with --line and --day, or --sample, or --file and --row, or --plan; see trace --help",
        )
    click.echo(sanitise.lines("\n".join(told)))
    return ExitCode.OK


def _instant(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{text!r} is not a time", remedy="write 2026-03-05T13:30:00Z") from None
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def lines(found: Trace) -> list[str]:
    """Return the trace of a KPI as text."""
    row = found.row
    out = [f"{found.column} = {found.value} [{found.unit}]", f"  {found.meaning}"]
    out += [f"  {found.table}, {row['period_start_utc']:%Y-%m-%dT%H:%MZ} to {row['period_end_utc']:%Y-%m-%dT%H:%MZ}", ""]
    out += [f"definition (sql/tables/{found.table}.sql)"]
    out += [f"  {text.removeprefix('-- ')}" for text in found.formula.splitlines()]
    out += ["", "totals of the row"]
    out += [f"  {name} = {row[name]}" for name in _TOTALS if name in row]
    out += [""]
    if found.minute_utc is not None:
        at = f"{found.minute_utc:%Y-%m-%dT%H:%MZ}, state {found.minute.get('state')}"
        out += [f"{found.valid_minutes.height} processing minutes; shown: {at}"]
        out += [text for reading in found.readings for text in _reading(reading)]
    else:
        out += ["no processing minutes"]
    out += ["", "lab results of the period, and feed samples of the 14 days before that may be held"]
    out += [text for result in found.lab.iter_rows(named=True) for text in _result(result)]
    out += _corrections(found.corrections)
    out += ["", "files behind the period"]
    for load in found.loads.iter_rows(named=True):
        counts = f"read {load['rows_read']}, kept {load['rows_kept']}, set aside {load['rows_set_aside']}"
        out.append(f"  {load['file_name']}: {counts}; {load['archived_as']}")
    return out


def comparison_lines(found: ComparisonTrace) -> list[str]:
    """Return the trace of an outcome of a comparison as text."""
    o, plan = found.outcome, found.plan
    number = "no number" if o["estimate"] is None else f"{_number(o['estimate'])} ({_number(o['low'])} to {_number(o['high'])}) {o['unit']}"
    frozen = f"frozen {plan['frozen_utc']:%Y-%m-%dT%H:%MZ}" if plan["frozen_utc"] else "a draft, not frozen"
    out = [f"{o['outcome']} = {number}, {o['verdict']}", f"  {o['reason']}", f"  method: {o['method']}; data version {o['data_version']}"]
    out += [
        "",
        f"plan {plan['plan']}, hash {plan['plan_hash']}, {frozen}: {plan['question']}",
        f"  {plan['arm_from']} -> {plan['arm_to']}, {plan['design']}",
    ]
    out += ["", f"days or ladder steps behind it: {len(found.days)}"]
    for d in found.days:
        values = ", ".join(f"{name} {_number(d[name])}" for name in ("dose_active_kg_t", "cake_ts_pct", "capture_pct"))
        place = f"set {d['set_no']}, " if d["set_no"] is not None else ""
        out.append(f"  {d['operating_day']} {d['line']} {d['part']}, {place}{d['arm']}: {values}")
    out += ["", "left out", *([f"  {rule}: {count}" for rule, count in found.left_out] or ["  nothing"])]
    day = found.days[0] if found.days else {"line": plan["line"], "operating_day": "DAY"}
    return [
        *out,
        "",
        f"a day's number goes on with: flocledger trace dose_active_kg_t --plant {plan['plant']} --line {day['line']} --day {day['operating_day']}",
    ]


def row_lines(found: RowTrace) -> list[str]:
    """Return the trace of a row of a file as text."""
    load = found.load
    out = [f"{load['file_name']}, line {found.line_no}: {load['status']}, load {load['load_id']}", f"  {load['archived_as']}"]
    out += [f"  raw: {found.raw_text}" if found.raw_text is not None else "  the line cannot be shown (whole file, or layout not known)"]
    if found.set_aside is None:
        return [*out, "", "nothing of this line was set aside"]
    aside = found.set_aside
    out += ["", f"set aside: {aside['reason']}: {aside['detail'] or ''}", f"  disposition: {aside['disposition'] or 'open'}"]
    out += [f"  {v['subject']}: {v['text']!r}, number {_number(v['value'])} ({v['reason']})" for v in found.values.iter_rows(named=True)]
    return out + _decisions(found.decisions) + _corrections(found.corrections)


def result_lines(found: ResultTrace) -> list[str]:
    """Return the trace of a lab result as text."""
    r = found.result
    out = [f"sample {r['sample_id']}, {r['line']} {r['point']} {r['analyte']}: what counts"]
    out += [*_result(r), "", "versions as reported"]
    out += [text for version in found.versions.iter_rows(named=True) for text in _result(version)] or ["  none; it was set aside"]
    return out + _decisions(found.decisions) + _corrections(found.corrections)


def _reading(r: Any) -> Iterator[str]:
    yield f"  {r.role} <- {r.tag} at {r.time_utc:%Y-%m-%dT%H:%M:%S.%fZ} = {r.value} (quality {r.quality})"
    yield f"    {r.archived_as}, line {r.line_no}: {(r.raw_text or '')[:_TEXT]}"
    if r.correction is not None:
        yield f"    {_changed(r.correction)}"


def _result(result: dict[str, Any]) -> Iterator[str]:
    used = "" if result["is_used"] else f", not used: {result['unused_reason']}"
    yield (
        f"  {result['operating_day']} {result['point']} {result['analyte']} = {_number(result['value'])} {result['unit']}, "
        f"revision {result['revision']}, load {result['load_id']}, line {result['line_no']}{used}"
    )
    yield f"    {result['archived_as']}, line {result['line_no']}: {(result['raw_text'] or '')[:_TEXT]}"


def _corrections(found: pl.DataFrame) -> list[str]:
    if found.height == 0:
        return ["", "no corrections"]
    out = ["", f"corrections: {found.height}"]
    for c in found.head(_SHOWN).iter_rows(named=True):
        out.append(f"  {c['subject']} at {c['time_utc']:%Y-%m-%dT%H:%M:%SZ}: {_changed(c)}")
    return out + ([f"  and {found.height - _SHOWN} more"] if found.height > _SHOWN else [])


def _changed(c: dict[str, Any]) -> str:
    what = (
        f"{c['action']} by {c['source']} {c['correction_id']}"
        if c["is_applied"]
        else f"{c['correction_id']} expects otherwise; left as it came"
    )
    raw = _number(c["raw_value"]) + (f" ({c['raw_text']!r})" if c["raw_text"] is not None else "")
    return f"{what}: {raw} -> {_number(c['corrected_value'])} {c['unit']}; {c['who']}, {c['entered_utc']:%Y-%m-%d}: {c['reason'] or ''}"


def _decisions(found: pl.DataFrame) -> list[str]:
    if found.height == 0:
        return ["", "no decisions"]
    out = ["", "decisions, the last one stands"]
    for d in found.iter_rows(named=True):
        given = f" {d['given']}" if d["given"] else ""
        about = f" ({d['subject']})" if d["subject"] else ""
        out.append(
            f"  {d['decided_utc']:%Y-%m-%dT%H:%MZ} {d['who']}: {d['disposition']}{given}{about}, {d['note'] or ''} [{d['disposition_id']}]"
        )
    return out


def _number(value: float | None) -> str:
    return "nothing" if value is None else f"{value:.6g}"
