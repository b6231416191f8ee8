"""The views on lab results: non-detects, methods side by side, numbers that repeat."""

from __future__ import annotations

from schemas.model import Column, Table

_SERIES = (
    Column("plant", "text", "-", "plant id"),
    Column("line", "text", "-", "line the samples belong to"),
    Column("point", "text", "-", "sample point"),
    Column("analyte", "text", "-", "analyte"),
)
_UNIT = Column("unit", "text", "-", "unit of the analyte")
_MEAN = "unit of the analyte"

LAB_NONDETECTS = Table(
    name="lab_nondetects",
    description="Mean results of weeks and months with non-detects at 0, half and whole limit, and by Kaplan-Meier.",
    grain="plant, line, point, analyte and period",
    key=("plant", "line", "point", "analyte", "period_kind", "period_start_day"),
    step="compute",
    source="Kaplan and Meier 1958, turned round for left-censored data, from memory",
    columns=(
        *_SERIES,
        Column("period_kind", "text", "-", "week or month, of operating days", isin=("week", "month")),
        Column("period_start_day", "date", "-", "first day of the period"),
        _UNIT,
        Column("samples", "int", "-", "results in use"),
        Column("non_detects", "int", "-", "of those, not detected"),
        Column("mean_at_zero", "double", _MEAN, "mean with non-detects at zero"),
        Column("mean_at_half", "double", _MEAN, "mean with non-detects at half their limit, as KPIs count them"),
        Column("mean_at_limit", "double", _MEAN, "mean with non-detects at their limit"),
        Column("mean_kaplan_meier", "double", _MEAN, "Kaplan-Meier mean; null when nothing was detected"),
    ),
)
CAPTURE_NONDETECTS = Table(
    name="capture_nondetects",
    description="Capture of days and weeks with non-detects of the filtrate at 0, half and whole limit.",
    grain="plant, line and period",
    key=("plant", "line", "period_kind", "period_start_day"),
    step="compute",
    columns=(
        *_SERIES[:2],
        Column("period_kind", "text", "-", "day or week, of operating days", isin=("day", "week")),
        Column("period_start_day", "date", "-", "first day of the period"),
        Column("filtrate_samples", "int", "-", "filtrate samples in use on days with a capture"),
        Column("non_detects", "int", "-", "of those, with a detection limit"),
        Column("dry_solids_t", "double", "t", "dry solids fed on these days: the weight of each day"),
        Column("filtrate_tss_at_zero_mg_l", "double", "mg/L", "filtrate suspended solids with non-detects at zero"),
        Column("filtrate_tss_at_half_mg_l", "double", "mg/L", "with non-detects at half their limit"),
        Column("filtrate_tss_at_limit_mg_l", "double", "mg/L", "with non-detects at their limit"),
        Column("capture_at_zero_pct", "double", "%", "capture with non-detects at zero: the upper bound"),
        Column("capture_at_half_pct", "double", "%", "capture as in kpi_day"),
        Column("capture_at_limit_pct", "double", "%", "capture with non-detects at their limit: the lower bound"),
    ),
)
LAB_METHOD_BIAS = Table(
    name="lab_method_bias",
    description="Difference between methods over samples run by both, with its 95 % interval.",
    grain="plant, line, point, analyte and method beside the preferred one",
    key=("plant", "line", "point", "analyte", "other_method"),
    step="compute",
    source="paired comparison, textbook form, from memory",
    columns=(
        *_SERIES,
        _UNIT,
        Column("preferred_method", "text", "-", "method whose results count"),
        Column("other_method", "text", "-", "method beside it"),
        Column("pairs", "int", "-", "samples run by both"),
        Column("mean_difference", "double", _MEAN, "mean of other less preferred"),
        Column("sd_difference", "double", _MEAN, "standard deviation of the differences; null for one pair"),
        Column("low_95", "double", _MEAN, "lower end of the 95 % interval of the mean difference"),
        Column("high_95", "double", _MEAN, "upper end of the 95 % interval of the mean difference"),
        Column("is_biased", "bool", "-", "true when the interval leaves out zero: do not mix the methods"),
    ),
)
LAB_REPEATS = Table(
    name="lab_repeats",
    description="Runs of four or more equal results, typed in or truly so; they stay in use.",
    grain="plant, line, point, analyte and run of equal results",
    key=("plant", "line", "point", "analyte", "first_day"),
    step="compute",
    columns=(
        *_SERIES,
        Column("value", "double", _MEAN, "the result, to two decimals"),
        _UNIT,
        Column("times", "int", "-", "how often it stands in a row"),
        Column("first_day", "date", "-", "operating day of the first"),
        Column("last_day", "date", "-", "operating day of the last"),
    ),
)
LAB_VIEWS: tuple[Table, ...] = (LAB_NONDETECTS, CAPTURE_NONDETECTS, LAB_METHOD_BIAS, LAB_REPEATS)
