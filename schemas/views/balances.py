"""Views of the pumps and of the balances of solids and polymer: their columns, described like those of tables."""

from __future__ import annotations

from schemas.model import Column, Table
from schemas.tables import pump_weeks
from schemas.vocabulary import PUMP_KINDS

_KEY = (
    Column("plant", "text", "-", "plant id", nullable=False),
    Column("line", "text", "-", "line id", nullable=False),
)
# Columns that the view takes over from pump_weeks as they are.
_OF_PUMP_WEEKS = pump_weeks.TABLE.columns_between("reference_day", "wire_to_water_pct")
PUMP_CONDITION = Table(
    name="pump_condition",
    description="Run hours since service, wear or slip against the commissioning reference, and system curve of each feed pump by reporting week.",
    grain="plant, line, pump and week",
    key=("plant", "line", "pump", "week_start_day"),
    step="publish",
    source="affinity laws and slip of displacement pumps, trade textbooks from memory; windows and the 5 h gate common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("pump", "text", "-", "pump id", nullable=False),
        Column("week_start_day", "date", "-", "first operating day of the reporting week", nullable=False),
        Column("line", "text", "-", "line the pump feeds", nullable=False),
        Column("pump_kind", "text", "-", "rotodynamic or displacement", nullable=False, isin=PUMP_KINDS),
        Column("run_h", "double", "h", "run hours of the week with this pump in service"),
        Column(
            "run_unknown_h",
            "double",
            "h",
            "hours of the week's days in which nothing tells whether the pump ran: the run hours are run_h to run_h + this",
        ),
        Column("starts", "int", "-", "starts of the week with this pump in service"),
        Column(
            "dry_run_minutes",
            "int",
            "min",
            "minutes with the pump on and the flow below cut-off or the suction below its minimum; null: not known",
        ),
        Column(
            "run_since_service_h", "double", "h", "run hours from the last entry of the service log to the end of the week; null: no entry"
        ),
        Column(
            "run_since_overhaul_h", "double", "h", "run hours from the last overhaul or new pump to the end of the week; null: no entry"
        ),
        Column(
            "run_since_service_unknown_h",
            "double",
            "h",
            "hours since the last service entry in which nothing tells whether the pump ran: the figure lies between run_since_service_h and that + this",
        ),
        Column("run_since_overhaul_unknown_h", "double", "h", "the same since the last overhaul or new pump"),
        Column(
            "service_counted_from_data",
            "bool",
            "-",
            "true when the entry is older than the data: run hours before the data are not in the figure",
        ),
        Column("overhaul_counted_from_data", "bool", "-", "the same of the overhaul"),
        Column("processing_minutes", "int", "min", "processing minutes of the week", nullable=False, ge=0),
        *_OF_PUMP_WEEKS,
        Column(
            "data_version", "text", "-", "hash of the inputs of the week; hours since service also rest on the weeks before", nullable=False
        ),
    ),
)
BALANCE_PARTS = Table(
    name="balance_parts",
    description="Parts of the solids balance of each line by week and month, before they are judged.",
    grain="plant, line, kind of period and period",
    key=("plant", "line", "kind", "period_start_day"),
    step="publish",
    columns=(
        *_KEY,
        Column("kind", "text", "-", "week or month", isin=("week", "month")),
        Column("period_start_day", "date", "-", "first operating day of the period"),
        Column("period_end_day", "date", "-", "last operating day of the period"),
        Column("is_whole", "bool", "-", "true when all days of the period are there and tickets have come up to its last feeding day"),
        Column("feeding_days", "int", "day", "operating days with sludge fed"),
        Column(
            "unmetered_days",
            "int",
            "day",
            "operating days with running minutes and no known flow, or without any and 120 minutes or more of unknown state",
        ),
        Column("tickets", "int", "-", "truck tickets"),
        Column("ticket_days", "int", "day", "operating days with a ticket"),
        Column("fed_m3", "double", "m3", "sludge fed, unmetered running minutes at the day's mean flow"),
        Column("known_m3", "double", "m3", "of that metered, on days with a feed TS"),
        Column("feed_solids_t", "double", "t", "dry solids fed; volume without a feed TS counts at the mean of the rest"),
        Column("cake_wet_t", "double", "t", "wet cake of the tickets"),
        Column("tested_wet_t", "double", "t", "of that on days with a cake TS"),
        Column("cake_solids_t", "double", "t", "dry solids hauled with the cake"),
        Column("filtrate_known_m3", "double", "m3", "sludge fed on days with filtrate TSS and dilution known"),
        Column("filtrate_volume_m3", "double", "m3", "filtrate by water balance: feed and dilution water less the cake"),
        Column("filtrate_solids_t", "double", "t", "dry solids lost with the filtrate"),
    ),
)
SOLIDS_BALANCE = Table(
    name="solids_balance",
    description="Solids fed against solids hauled with the cake and lost with the filtrate.",
    grain="plant, line (or all lines), kind of period and period",
    key=("plant", "line", "kind", "period_start_day"),
    step="publish",
    source="mass balance; limits and the coverage gate common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("line", "text", "-", "line id, or 'all lines'", nullable=False),
        Column("kind", "text", "-", "week or month", nullable=False, isin=("week", "month")),
        Column("period_start_day", "date", "-", "first operating day of the period", nullable=False),
        Column("period_end_day", "date", "-", "last operating day of the period", nullable=False),
        Column("is_whole", "bool", "-", "true when all days of the period are there and tickets have come up to its last feeding day", nullable=False),
        Column("feed_solids_t", "double", "t", "dry solids fed in all running minutes; volume without a feed TS counts at the mean of the rest"),
        Column("feed_coverage", "double", "-", "share of the feed volume that was metered and has a feed TS", ge=0, le=1),
        Column("tickets", "int", "-", "truck tickets", nullable=False, ge=0),
        Column("ticket_days", "int", "day", "operating days with a ticket", nullable=False, ge=0),
        Column("feeding_days", "int", "day", "operating days with sludge fed", nullable=False, ge=0),
        Column("cake_wet_t", "double", "t", "wet cake of the tickets"),
        Column("hauled_ts_pct", "double", "%", "cake TS weighted by the wet mass of the same day's tickets"),
        Column("cake_coverage", "double", "-", "share of the wet cake with a cake TS of the same day", ge=0, le=1),
        Column("cake_solids_t", "double", "t", "dry solids hauled with the cake"),
        Column("filtrate_volume_m3", "double", "m3", "filtrate by water balance: feed and dilution water less the cake"),
        Column("filtrate_coverage", "double", "-", "share of the feed volume with filtrate TSS and dilution known", ge=0, le=1),
        Column("filtrate_solids_t", "double", "t", "dry solids lost with the filtrate"),
        Column("solids_closure", "double", "-", "(cake + filtrate solids) / feed solids; null with a reason when a part is missing"),
        Column("limit_low", "double", "-", "lower limit of closure: 0.90 a week, 0.95 a month", nullable=False),
        Column("limit_high", "double", "-", "upper limit of closure: 1.10 a week, 1.05 a month", nullable=False),
        Column("verdict", "text", "-", "within limits, below limits or above limits; period not whole: shown, not judged; null when refused",
               isin=("within limits", "below limits", "above limits", "period not whole")),
        Column("closure_reason", "text", "-", "why closure is refused"),
    ),
)  # fmt: skip
POLYMER_INVENTORY = Table(
    name="polymer_inventory",
    description="Polymer as supplied that the meters saw, against deliveries less the change of stock, between the stock readings nearest to the month's ends.",
    grain="plant and month",
    key=("plant", "month_start_day"),
    step="publish",
    source="mass balance; limits 0.95-1.05 and the coverage gate common practice, no source",
    columns=(
        Column("plant", "text", "-", "plant id", nullable=False),
        Column("month_start_day", "date", "-", "first day of the month", nullable=False),
        Column("opening_day", "date", "-", "operating day of the stock reading nearest to the month's first day, within 3 days"),
        Column("closing_day", "date", "-", "operating day of the stock reading nearest to the next month's first day, within 3 days"),
        Column("opening_stock_kg", "double", "kg", "stock as supplied at the opening reading"),
        Column("closing_stock_kg", "double", "kg", "stock as supplied at the closing reading"),
        Column("deliveries", "int", "-", "deliveries from the opening day to the day before the closing day, without both readings those of the month; null: none known", ge=0),
        Column("delivered_kg", "double", "kg", "mass of these deliveries"),
        Column("lots", "text", "-", "lots delivered, as the sheet names them"),
        Column("used_by_stock_kg", "double", "kg", "deliveries less the change of stock"),
        Column("used_by_meter_kg", "double", "kg", "polymer as supplied by the meters of all lines over the same days"),
        Column("meter_coverage", "double", "-", "share of running minutes with a known polymer meter", ge=0, le=1),
        Column("inventory_closure", "double", "-", "metered use / (deliveries - change of stock); null with a reason when a part is missing"),
        Column("verdict", "text", "-", "within limits, below limits or above limits; null when refused",
               isin=("within limits", "below limits", "above limits")),
        Column("closure_reason", "text", "-", "why closure is refused"),
    ),
)  # fmt: skip
BALANCE_VIEWS = (PUMP_CONDITION, BALANCE_PARTS, SOLIDS_BALANCE, POLYMER_INVENTORY)
