"""Minutes, hours, starts and arrangement of a period."""

from __future__ import annotations

from schemas.kpis.model import Kpi, count, ratio, total, word

TIME = (
    word("period_start_utc", "instant", "start of the period", nullable=False),
    word("period_end_utc", "instant", "end of the period (exclusive)", nullable=False),
    word("arrangement", "text", "arrangement of the processing minutes (without any: of all minutes); null: none declared, or several"),
    word("arrangement_note", "text", "mixed: and the arrangements, in transition, or partly in transition; null: one arrangement, or none declared"),
    count("minutes_seen", "min", "minutes of the period that exist in the data", nullable=False, ge=0),
    count("unknown_minutes", "min", "minutes whose running state is unknown", nullable=False, ge=0),
    count("processing_minutes", "min", "minutes in state processing", nullable=False, ge=0),
    count("lost_minutes", "min", "minutes in which the pump ran and a missing meter hides the running state", nullable=False, ge=0),
    count("valid_minutes", "min", "processing minutes valid for the dose", nullable=False, ge=0),
    count("dosed_minutes", "min", "valid minutes with known feed TS and polymer strength: those of dry_solids_t", nullable=False, ge=0),
    count("unsplit_minutes", "min", "processing minutes lost because the polymer meter is shared and not split", nullable=False, ge=0),
    total("run_h", "h", "feed pump run hours: integral of the run state",
        ge=0, kpi=Kpi(45, "run hours and processing hours", "", "integral of state")),
    total("running_h", "h", "hours in state idle running, start-up or processing",
        ge=0, kpi=Kpi(46, "idle-running share", "", "idle running / running")),
    total("processing_h", "h", "hours in state processing", ge=0, kpi=45),
    total("idle_h", "h", "hours in state idle running", ge=0, kpi=46),
    ratio("idle_share", "-", "idle running share of running time: idle_h / running_h", ge=0, le=1, kpi=46),
    ratio("utilisation_calendar_share", "-", "processing share of calendar time: processing_minutes / minutes_seen",
        ge=0, le=1, kpi=Kpi(49, "utilisation", "", "processing / calendar time")),
    count("starts", "-", "starts of the feed pump (off to on) in the period",
        ge=0, kpi=Kpi(47, "starts, starts per run hour, short runs", "", "count of off to on; / run hours; runs under 10 min")),
    count("stops", "-", "stops of the feed pump (on to off) in the period", ge=0, kpi=Kpi(50, "mean run length", "", "run hours / stops")),
    count("short_runs", "-", "runs of the feed pump shorter than 10 minutes that ended in the period", ge=0, kpi=47),
    ratio("starts_per_run_hour", "1/h", "starts per pump run hour: starts / run_h", ge=0, kpi=47),
    ratio("mean_run_h", "h", "mean run length: run_h / stops; a run across the period's edge counts with its part inside", ge=0, kpi=50),
    total("planned_h", "h", "planned time of the plant file in the period with a known state",
        ge=0, kpi=Kpi(48, "availability", "", "(planned - down) / planned time", gate="availability_reason", note="down: planned and not running, whatever the cause")),
    total("down_h", "h", "planned time in which the line was stopped or shutting down", ge=0, kpi=48),
    ratio("availability_share", "-", "(planned_h - down_h) / planned_h", ge=0, le=1, kpi=48),
    word("availability_reason", "text", "why no availability is reported; null when it is"),
    count("dry_run_minutes", "min", "minutes with the pump on and sludge flow below cut-off or suction pressure below its minimum",
        ge=0, kpi=Kpi(52, "dry-run exposure", "", "minutes on with Q_f below cut-off or P_s below its minimum", gate="exposure_reason")),
    count("deadhead_minutes", "min", "minutes with discharge pressure above its maximum and sludge flow below cut-off",
        ge=0, kpi=Kpi(53, "deadhead exposure", "", "minutes with P_d above its maximum and Q_f below cut-off", gate="exposure_reason")),
    word("exposure_reason", "text", "why dry-run or deadhead minutes are not given; null when both are"),
)  # fmt: skip
