"""Lab results, the latest revision of each sample and analyte."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.vocabulary import ANALYTES, LAB_POINTS

COLUMNS = (
    Column("plant", "text", "-", "plant id", nullable=False),
    Column("sample_id", "text", "-", "the lab's sample number, or line/point/time made into one", nullable=False),
    Column(
        "analyte", "text", "-", "ts, vs, tss, strength, cst, wet_mass, delivered_mass or stock_mass", nullable=False, isin=tuple(ANALYTES)
    ),
    Column("line", "text", "-", "line the sample belongs to", nullable=False),
    Column("point", "text", "-", "feed, cake, filtrate, polymer solution, cake haul or polymer store", nullable=False, isin=LAB_POINTS),
    Column("from_utc", "instant", "-", "earliest time the sample can have been taken", nullable=False),
    Column("to_utc", "instant", "-", "latest time the sample can have been taken", nullable=False),
    Column(
        "time_basis",
        "text",
        "-",
        "how the time is known: stated, composite (a stated window), shift, or day",
        nullable=False,
        isin=("stated", "composite", "shift", "day"),
    ),
    Column("half_width_h", "double", "h", "half the span in which the sample can have been taken; 0 for a stated moment", ge=0),
    Column("operating_day", "date", "-", "operating day of the sample", nullable=False),
    Column(
        "value",
        "double",
        "by analyte: % (ts, strength), % of TS (vs), mg/L (tss), s (cst), t (wet_mass), kg (delivered_mass, stock_mass)",
        "result; half the limit for a non-detect; null when rejected",
    ),
    Column("unit", "text", "-", "unit of value", nullable=False),
    Column("qualifier", "text", "-", "qualifiers as read, joined by commas: <, >, ~, ND, U, J, UJ or a local one; null when none"),
    Column("detection_limit", "double", "unit of value", "detection limit when the result is a non-detect"),
    Column("value_at_zero", "double", "unit of value", "value with non-detects at zero; null when there is none among the replicates"),
    Column("value_at_limit", "double", "unit of value", "value with non-detects at their limit; null when there is none"),
    Column("is_estimated", "bool", "-", "true for J, UJ, ~ or >, and for duplicates over their limit: in KPIs, not fit for acceptance"),
    Column("is_used", "bool", "-", "false when a rule keeps it out of KPIs", nullable=False),
    Column("unused_reason", "text", "-", "why it is not used"),
    Column("replicates", "int", "-", "how many results were averaged into this one", nullable=False, ge=1),
    Column("rpd_pct", "double", "%", "relative percent difference of duplicates: 100 |a-b| / mean"),
    Column("method", "text", "-", "method as reported, or the plant file's word for it"),
    Column("note", "text", "-", "what was inferred or looks odd about the result: unit inferred, duplicates apart, methods mixed"),
    Column("lot", "text", "-", "lot of a delivery"),
    Column("crew", "text", "-", "crew letter, no names"),
    Column("revision", "int", "-", "1 for the first report, counted up by revisions", nullable=False, ge=1),
    Column("reported_utc", "instant", "-", "when the lab reported it, else when the file came", nullable=False),
    Column("load_id", "text", "-", "load it came with", nullable=False),
    Column("line_no", "bigint", "-", "line in the file", nullable=False, ge=1),
)
TABLE = Table(
    name="lab_results",
    description="Latest result of each sample and analyte, in the stored unit of the analyte.",
    grain="plant, sample and analyte",
    key=("plant", "sample_id", "analyte"),
    step="check",
    columns=COLUMNS,
)
