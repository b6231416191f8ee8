"""The views about trust: how well a week's dose is known, and which published numbers changed later."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables.kpi_day_history import TABLE as HISTORY
from schemas.tables.kpi_week import TABLE as WEEK

_WEEK = {c.name: c for c in WEEK.columns}
_KEPT = {c.name: c for c in HISTORY.columns}
DOSE_UNCERTAINTY_WEEK = Table(
    name="dose_uncertainty_week",
    description="Dose of each reporting week with its standard uncertainty (k = 1), random and systematic parts apart.",
    grain="plant, line and week",
    key=("plant", "line", "week_start_day"),
    step="compute",
    source="JCGM 100:2008; see the header of sql/views/dose_uncertainty_week.sql",
    columns=(
        *(_WEEK[n] for n in ("plant", "line", "week_start_day", "iso_week")),
        Column("dosed_days", "int", "day", "operating days with a dose and its uncertainty", nullable=False, ge=0),
        _WEEK["dose_active_kg_t"],
        Column("dose_active_kg_t_u", "double", "kg/t", "standard uncertainty of the week's dose"),
        Column("dose_active_kg_t_u_random", "double", "kg/t", "of it, what is drawn anew each day or shared by a held feed TS"),
        Column(
            "dose_active_kg_t_u_systematic",
            "double",
            "kg/t",
            "of it, what stays from day to day: meters, active fraction or strength, bias of the feed TS",
        ),
        _WEEK["dry_solids_all_t"],
        Column(
            "dry_solids_all_t_u",
            "double",
            "t",
            "standard uncertainty of dry_solids_all_t, errors of its days taken as shared; days without one as the others",
        ),
        _WEEK["mixing_dp_ref_kpa"],
        Column("mixing_dp_ref_kpa_u", "double", "kPa", "standard uncertainty of mixing_dp_ref_kpa, errors of its days taken as shared"),
        _WEEK["is_provisional"],
    ),
)
RESTATEMENTS = Table(
    name="restatements",
    description="Published KPIs of operating days that changed later: old, new, when and why.",
    grain="plant, line, operating day, version and KPI",
    key=("plant", "line", "operating_day", "version", "kpi"),
    step="publish",
    source="kpi_day_history, the ledger of published versions",
    columns=(
        *(_KEPT[n] for n in ("plant", "line", "operating_day", "version", "known_from_utc", "change", "cause", "files")),
        Column("kpi", "text", "-", "column of kpi_day that changed", nullable=False),
        Column("old_value", "double", "as the KPI", "value of the version before; null when it had none"),
        Column("new_value", "double", "as the KPI", "value of this version; null when it has none"),
        Column("difference", "double", "as the KPI", "new_value - old_value"),
        Column("relative_change", "double", "-", "difference / old_value"),
        _WEEK["week_start_day"],
        Column("week_dose_old_kg_t", "double", "kg/t", "dose of the reporting week before, over the days published by then; null before three days"),
        Column("week_dose_new_kg_t", "double", "kg/t", "dose of the same days of the week after"),
        Column("is_note_due", "bool", "-", "true when the dose of the published week moved by more than 2 %: the next report should say so", nullable=False),
    ),
)  # fmt: skip
METER_DOUBTS = Table(
    name="meter_doubts",
    description="Published numbers of a reporting week that rest on a doubted meter: to be widened or withheld.",
    grain="plant, line, week and KPI",
    key=("plant", "line", "week_start_day", "kpi"),
    step="watch",
    source="rule of this project; see the header of sql/views/meter_doubts.sql",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id", nullable=False),
        Column("week_start_day", "date", "-", "first operating day of the reporting week", nullable=False),
        Column("kpi", "text", "-", "column that rests on the meter: of kpi_week, kpi_day or pump_condition", nullable=False),
        Column("roles", "text", "-", "doubted roles it rests on", nullable=False),
        Column("deviation_pct", "double", "%", "largest deviation of these meters, signed: above 0 the meter reads high"),
        Column("treatment", "text", "-", "withheld when a deviation is beyond 20 %, else widened", nullable=False, isin=("widened", "withheld")),
        Column("half_width_pct", "double", "%", "half-width the number has at least; null when it is withheld"),
        Column("reason", "text", "-", "which witness disagrees and how", nullable=False),
    ),
)  # fmt: skip
USUAL_RANGES = Table(
    name="usual_ranges",
    description="Range in which a KPI lay on the baseline days of a line, by arrangement, with the days it rests on.",
    grain="plant, line, arrangement and KPI",
    key=("plant", "line", "arrangement", "kpi"),
    step="compute",
    source="quantiles of days; see the header of sql/views/usual_ranges.sql",
    columns=(
        *(_WEEK[n] for n in ("plant", "line", "arrangement")),
        Column("kpi", "text", "-", "column of kpi_day", nullable=False),
        Column("days", "int", "day", "final operating days with a value", nullable=False, ge=0),
        Column("first_day", "date", "-", "first of them", nullable=False),
        Column("last_day", "date", "-", "last of them", nullable=False),
        Column("low", "double", "as the KPI", "10 % of the days lie below; null under 10 days"),
        Column("middle", "double", "as the KPI", "median of the days; null under 10 days"),
        Column("high", "double", "as the KPI", "90 % of the days lie below; null under 10 days"),
        Column("range_reason", "text", "-", "why there is no range; null when there is one"),
    ),
)  # fmt: skip
