"""Views of data quality, clarity, dose ladders and starts: their columns, described like those of tables."""

from __future__ import annotations

from schemas.model import Column, Table

_KEY = (
    Column("plant", "text", "-", "plant id", nullable=False),
    Column("line", "text", "-", "line id", nullable=False),
)
_DAY = (*_KEY, Column("operating_day", "date", "-", "plant-local day from the configured hour", nullable=False))
DATA_QUALITY_SCORE = Table(
    name="data_quality_score",
    description="Data-quality score of each line and day: 100 times the smallest of its parts, each beside it.",
    grain="plant, line and operating day",
    key=("plant", "line", "operating_day"),
    step="publish",
    columns=(
        *_DAY,
        Column("processing_minutes", "int", "min", "minutes in state processing"),
        Column("completeness", "double", "-", "valid / processing minutes"),
        Column("lab_coverage", "double", "-", "share of the feed volume whose feed TS comes from a sample within 24 h"),
        Column("validity", "double", "-", "1 - values set aside / values read in the loads that speak of the day"),
        Column("solids_closure", "double", "-", "closure of the solids balance of the week, else the month, that holds the day"),
        Column("closure_of", "text", "-", "which balance that is: kind of period and line"),
        Column("closure_part", "double", "-", "1 - min(1, |ln closure| / 0.20)"),
        Column(
            "timeliness",
            "double",
            "-",
            "share of the data layouts in within one delivery and 24 h; null for days before the first file came and for days filled in later",
        ),
        Column("parts_known", "int", "-", "how many of the five parts are known; the others do not weigh"),
        Column("quality_score", "double", "-", "100 x the smallest known part; null without processing"),
        Column("weakest", "text", "-", "the part that is smallest"),
    ),
)
CLARITY_INDEX = Table(
    name="clarity_index",
    description="Filtrate TSS of each day against the line's baseline interval at like feed TS.",
    grain="plant, line and operating day",
    key=("plant", "line", "operating_day"),
    step="publish",
    columns=(
        *_DAY,
        Column("feed_ts_pct", "double", "%", "feed TS of the day"),
        Column("filtrate_tss_mg_l", "double", "mg/L", "filtrate TSS of the day"),
        Column("baseline_days", "int", "day", "baseline days with feed TS within 0.25 points"),
        Column("baseline_tss_mg_l", "double", "mg/L", "their median filtrate TSS; null under five days"),
        Column("clarity_index", "double", "-", "filtrate TSS / that median; above 1 is dirtier"),
        Column("clarity_reason", "text", "-", "why the index is null"),
    ),
)
DOSE_CURVES = Table(
    name="dose_curves",
    description="What each dose ladder says by a plain rule: lowest dose near the plateau, overfeed margin, apparent activity.",
    grain="plant, line and ladder",
    key=("plant", "line", "ladder"),
    step="publish",
    columns=(
        *_KEY,
        Column("ladder", "text", "-", "name of the ladder", nullable=False),
        Column("first_day", "date", "-", "operating day of the first step"),
        Column("last_day", "date", "-", "operating day of the last step"),
        Column("steps", "int", "-", "steps with dose, cake and capture"),
        Column("lowest_dose_kg_t", "double", "kg/t", "lowest dose of these steps"),
        Column("highest_dose_kg_t", "double", "kg/t", "highest dose of these steps"),
        Column("plateau_cake_pct", "double", "%", "best cake of the ladder"),
        Column("plateau_capture_pct", "double", "%", "best capture of the ladder"),
        Column("feed_ts_pct", "double", "%", "mean feed TS of the steps"),
        Column("optimum_dose_kg_t", "double", "kg/t", "lowest step dose with cake within 0.5 and capture within 1 point of the best"),
        Column("optimum_note", "text", "-", "warns when the optimum lies at an end of the ladder"),
        Column("optimum_reason", "text", "-", "why there is no optimum"),
        Column(
            "usual_dose_kg_t",
            "double",
            "kg/t",
            "dose of the last 7 days with a dose, of the 28 before the ladder, that lie in no ladder; ratio of totals",
        ),
        Column("overfeed_margin_pct", "double", "%", "100 (usual / optimum - 1); null where the optimum lies at an end of the ladder"),
        Column("reference_ladder", "text", "-", "the line's first ladder with an optimum below its highest step"),
        Column("reference_cake_pct", "double", "%", "cake at the optimum of the reference ladder"),
        Column("dose_at_reference_cake_kg_t", "double", "kg/t", "dose of this ladder at that cake, on straight lines between steps"),
        Column("activity_index", "double", "-", "optimum dose of the reference ladder / dose of this ladder at equal cake"),
        Column(
            "activity_index_u",
            "double",
            "-",
            "standard uncertainty of the activity index from the scatter of cake grabs; null for the reference ladder",
        ),
        Column("activity_reason", "text", "-", "why the activity index is null"),
    ),
)
STARTUP_LOSS = Table(
    name="startup_loss",
    description="Minutes from the first feed-on of a day to cake in band, where timed samples allow it.",
    grain="plant, line and operating day",
    key=("plant", "line", "operating_day"),
    step="publish",
    columns=(
        *_DAY,
        Column("feed_on_utc", "instant", "-", "first minute of the day's first start-up seen"),
        Column(
            "startup_to_band_min",
            "double",
            "min",
            "from feed-on to the first timed cake sample in band; at most so long, since samples are grabs",
        ),
        Column("startup_reason", "text", "-", "why the start-up loss is null"),
    ),
)
LOG_VIEWS = (DATA_QUALITY_SCORE, CLARITY_INDEX, DOSE_CURVES, STARTUP_LOSS)
