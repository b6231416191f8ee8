"""What can be said of the wear of each feed pump since its present reference."""

from __future__ import annotations

from schemas.model import Column, Table

TABLE = Table(
    name="pump_wear",
    description="Trend of each feed pump's weekly index since its present reference: loss a year with an interval, what loss can be excluded, time to a threshold.",
    grain="plant, line and pump",
    key=("plant", "line", "pump"),
    step="compare",
    source="pipelines/compare/wear.py: AR(1) plus white noise or equally weighted cosines, the wider; drift of meters added (common practice, no source)",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line the pump feeds", nullable=False),
        Column("pump", "text", "-", "the physical pump", nullable=False),
        Column(
            "index_kind",
            "text",
            "-",
            "head index, which falls with wear, or slip index, which rises",
            nullable=False,
            isin=("head index", "slip index"),
        ),
        Column("reference_day", "date", "-", "day of the reference the index is relative to; null: none"),
        Column("first_week", "date", "-", "first day of the first week used; null: none"),
        Column("last_week", "date", "-", "first day of the last week used; null: none"),
        Column("weeks", "int", "-", "whole weeks with an index used", nullable=False, ge=0),
        Column("weeks_left_out", "int", "-", "weeks further than 7.4 median deviations from the median, left out", nullable=False, ge=0),
        Column(
            "loss_pct_year",
            "double",
            "%/year",
            "loss of head, or growth of slip flow, in percent of the reference a year; null when refused",
        ),
        Column(
            "loss_pct_year_low", "double", "%/year", "lower end of the 95 % interval; a loss below it can be excluded when it is above 0"
        ),
        Column("loss_pct_year_high", "double", "%/year", "upper end of the 95 % interval: a loss above it can be excluded"),
        Column("index_now", "double", "-", "mean index of the last four weeks used"),
        Column("threshold_index", "double", "-", "index at which the pump counts as worn", nullable=False),
        Column("years_to_threshold_low", "double", "year", "shortest time until the threshold; null: no loss is possible"),
        Column("years_to_threshold_high", "double", "year", "longest time until the threshold; null: it may never be met"),
        Column("sentence", "text", "-", "what can be said, in one sentence", nullable=False),
        Column("refusal", "text", "-", "rule that forbids a number; null when there is one"),
        Column("data_version", "text", "-", "hash of the data versions of all whole weeks of the plant", nullable=False),
    ),
)
