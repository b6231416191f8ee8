"""Hold readings and lab results to their tables before they are merged; rows that fail are set aside, the others stay.

The rules of the steps before catch what is known to go wrong in files, with better words. This is the last line: what no rule
foresaw costs its row, not its file.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from pipelines.check.lab.sheet import Refused, Result
from pipelines.check.readings import sorting
from pipelines.check.readings.values import LEAVES_A_MARK, Typed
from pipelines.store.schema_check import Failure, failing_rows
from schemas import TABLES
from schemas.vocabulary import BAD

READING = ("tag", "time_utc", "value", "quality")
_FILLED_IN_LATER = ("plant", "load_id", "is_used", "unused_reason", "revision")
RESULT = tuple(name for name in TABLES["lab_results"].column_names if name not in _FILLED_IN_LATER)
_REASON_OF_READING = {
    "tag": "unknown tag", "time_utc": "time stamp unreadable", "value": "value outside physical range", "quality": "unknown quality word",
}  # fmt: skip
_REASON_OF_RESULT = {
    "analyte": "unknown analyte", "unit": "unit missing", "sample_id": "unknown sample point", "line": "unknown sample point",
    "point": "unknown sample point",
    **dict.fromkeys(("from_utc", "to_utc", "time_basis", "half_width_h", "operating_day", "reported_utc"), "time stamp unreadable"),
    **dict.fromkeys(("value", "detection_limit", "value_at_zero", "value_at_limit", "rpd_pct"), "value outside physical range"),
}  # fmt: skip


def fit_readings(plant: str, said: Typed) -> Typed:
    """Return typed values without the readings that fail a rule of the table `readings`; those join `failed`.

    One whose tag and time are known leaves a bad reading behind, as any value set aside does.
    """
    found = failing_rows(plant, "readings", said.readings.select(READING), READING)
    if not found:
        return said
    at = [f.row for f in found if f.row is not None]
    bad = said.readings[at].with_columns(
        reason=pl.Series([_REASON_OF_READING[f.column] for f in found], dtype=pl.String), detail=pl.Series([_detail(f) for f in found])
    )
    counted = bad.filter(~pl.col("is_mark"))
    failed = counted.select("line_no", "time_utc", pl.col("tag").cast(pl.String).alias("name"), "reason", "detail")
    is_placed = pl.col("reason").is_in(LEAVES_A_MARK) & pl.col("tag").is_not_null() & pl.col("time_utc").is_not_null()
    marks = counted.filter(is_placed).with_columns(
        value=pl.lit(None, dtype=pl.Float64), quality=pl.lit(BAD, dtype=pl.UInt8), is_mark=pl.lit(True)
    )
    kept = said.readings.filter(~pl.int_range(pl.len()).is_in(at))
    readings = pl.concat([kept, marks.select(kept.columns)])
    return Typed(*sorting.in_order(readings), pl.concat([said.failed, failed]).sort("line_no", maintain_order=True), said.steps)


def fit_results(plant: str, samples: list[Result]) -> tuple[list[Result], list[Refused]]:
    """Return (results that fit the table `lab_results`, values of the others with their reason, one a line they speak for)."""
    if not samples:
        return [], []
    types = TABLES["lab_results"].polars_schema()
    rows: list[dict[str, Any]] = [{name: s[name] for name in RESULT} for s in samples]
    frame = pl.DataFrame(rows, schema={name: types[name] for name in RESULT})
    found = {f.row: f for f in failing_rows(plant, "lab_results", frame, RESULT)}
    refused = [_refused(samples[row], failure, line) for row, failure in found.items() if row is not None for line in samples[row]["lines"]]
    return [s for k, s in enumerate(samples) if k not in found], refused


def _refused(sample: Result, failure: Failure, line_no: int) -> Refused:
    reason = _REASON_OF_RESULT.get(failure.column, "inconsistent sample set")
    return Refused(line_no, reason, _detail(failure), sample["analyte"] or "", sample["from_utc"])


def _detail(failure: Failure) -> str:
    return f"{failure.column} is {failure.value}, but {failure.rule}"
