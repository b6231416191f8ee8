"""The facts of a line's week: its six numbers with interval, baseline and target, what is doubted, what is withheld. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

from pipelines.report import numbers
from pipelines.report.language import Language
from pipelines.report.numbers import Limits, Printed
from pipelines.report.weekly import doubt, events, items, judge, uncertainty, work
from pipelines.report.weekly.doubt import Doubt
from pipelines.report.weekly.events import Event
from pipelines.report.weekly.items import Item
from pipelines.report.weekly.judge import Baseline
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import SHOWN_WEEKS, LineData, WeekData
from pipelines.report.weekly.standing import Standing, standing

# A line's numbers are withheld when more than this share of its evidence, or of its numbers, is missing (common practice, no source).
WITHHELD_SHARE = 0.5
NAMES = ("dose", "cake", "capture", "cost", "solids", "mixing")  # of the six, in order


@dataclass(frozen=True)
class KpiRow:
    """One of the six. `half_width` is the expanded uncertainty (k = 2) with what a doubt adds, in the stored unit; `why` says why there is no number;
    `is_least`: a total of a week in which hours ran, or may have, that no meter told of: there were at least so many.
    """

    name: str
    printed: Printed
    stored: float | None
    half_width: float | None
    baseline: Baseline | None
    change_pct: float | None
    verdict: str | None
    limits: Limits
    doubts: tuple[Doubt, ...]
    basis: str
    why: str | None
    trend: tuple[float | None, ...]
    is_least: bool = False

    @property
    def is_reported(self) -> bool:
        return self.stored is not None and self.why is None

    def value(self, t: Language) -> str:
        """Return "27.4 ± 3.1" in the signs of the language; "-" when there is none."""
        text = self.printed.text(self.stored)
        if text is None or not self.is_reported:
            return "-"
        if self.half_width is None:
            return t.numeral(text)
        return f"{t.numeral(text)} ± {t.numeral(numbers.plus_minus(text, self.half_width * self.printed.factor))}"

    def bounded(self, t: Language) -> str:
        """Return the value, "at least 61.7 ± 8.2" where the week's total is a lower bound."""
        return t("target.at_least", low=self.value(t)) if self.is_least and self.is_reported else self.value(t)


@dataclass(frozen=True)
class LineFacts:
    """What the page knows about one line; `withheld` is the reason when it says no number of it; `mixed` what forbids a comparison."""

    data: LineData
    withheld: str | None
    rows: tuple[KpiRow, ...] = ()
    items: tuple[Item, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    standing: Standing | None = None
    logged: tuple[Event, ...] = ()
    mixed: str | None = None
    in_week: tuple[Row, ...] = ()

    @property
    def untested(self) -> tuple[str, ...]:
        """Return the roles of the line's meters that no witness could test in the week."""
        return tuple(r["role"] for r in self.data.integrity if r["verdict"] == "not testable")

    def row(self, name: str) -> KpiRow:
        return self.rows[NAMES.index(name)]


def of_line(
    week: WeekData,
    data: LineData,
    limits: dict[str, Limits],
    t: Language,
    logged: tuple[Event, ...] = (),
    unmeasured: frozenset[str] = frozenset(),
) -> LineFacts:
    """Return the facts of one line; `limits` by KPI column, in stored units; `logged` its events of the shown weeks, `unmeasured` KPIs without signals."""
    reason = withheld(data, t)
    if reason is not None or data.this is None:
        return LineFacts(data, reason, items=items.of_line(week, data, t))
    in_week = tuple(d for d in data.days if d["operating_day"] >= week.week_start_day)
    doubts = doubt.of_line(data.integrity)
    mixed = _mixed(week, data, logged, t)
    has_all = data.this.get("dry_solids_all_t") is not None
    six = numbers.six(data.settings["units"], data.settings, t, has_all)
    rows = tuple(
        _row(week, name, p, data, in_week, limits.get(p.kpi, Limits()), doubts, mixed, unmeasured, t)
        for name, p in zip(NAMES, six, strict=True)
    )
    state = standing(week, data, in_week)
    missing = _mostly_missing(data.this, rows, state, doubts, t)
    if missing is not None:
        return LineFacts(data, missing, items=items.of_line(week, data, t), doubts=doubts, standing=state, in_week=in_week, logged=logged)
    return LineFacts(data, None, rows, items.of_line(week, data, t), doubts, state, logged, mixed, in_week)


def withheld(data: LineData, t: Language) -> str | None:
    """Return why a line's numbers are not reported at all; None when they are."""
    this = data.this
    if this is None or not this["minutes_seen"]:
        return t("withheld.no_data")
    unknown = this["unknown_minutes"] / this["minutes_seen"]
    if unknown > WITHHELD_SHARE:
        return t("withheld.unknown_state", percent=f"{unknown * 100:.0f}")
    meter = f"polymer_{data.settings['polymer_meter']}_flow"
    for role in data.quality:
        if role["role"] in ("sludge_flow", meter) and role["processing_minutes"]:
            missing = role["missing_processing_minutes"] / role["processing_minutes"]
            if missing > WITHHELD_SHARE:
                return t("withheld.meter", role=t.word("role", role["role"]), percent=f"{missing * 100:.0f}")
    return None


def _mostly_missing(this: Row, rows: tuple[KpiRow, ...], state: Standing, doubts: tuple[Doubt, ...], t: Language) -> str | None:
    """Return the reason to withhold a line that worked but lacks most of the numbers it can have."""
    can = [r for r in rows if r.why not in (t("not_measured"), t("not_priced"))]
    missing = [r for r in can if not r.is_reported]
    if not this["processing_minutes"] or len(missing) <= WITHHELD_SHARE * len(can):
        return None
    reason = t.why(this["dose_reason"] or t("sentence.reason_unknown"))
    if doubt.is_withheld(doubts):
        reason = t("dataline.doubted", role=t.word("role", doubts[0].role), reason=doubts[0].words(t))
    elif state.open_days:
        reason = t("withheld.awaits_lab", open=state.open_days, days=t.count("days", state.of_days))
    return t(
        "withheld.most_missing", missing=len(missing), all=len(can), names=t.joined([t(f"short.{r.name}") for r in missing]), reason=reason
    )


def _mixed(week: WeekData, data: LineData, logged: tuple[Event, ...], t: Language) -> str | None:
    """Return what forbids comparing the week: several arrangements, or without declared arrangements a logged change."""
    if ((data.this or {}).get("arrangement_note") or "").startswith("mixed"):
        return t("sentence.mixed")
    if data.arrangements:
        return None
    found = events.within(week, logged)
    return t("sentence.event", day=t.day(found[0].day, "long")) if found else None


def _row(
    week: WeekData, name: str, printed: Printed, data: LineData, in_week: tuple[Row, ...], limits: Limits, doubts: tuple[Doubt, ...],
    mixed: str | None, unmeasured: frozenset[str], t: Language,
) -> KpiRow:  # fmt: skip
    kpi = printed.kpi
    this = (data.this or {})[kpi]
    printed = printed.beside(this, (data.last or {}).get(kpi))
    own = uncertainty.of_week(kpi, data, in_week)
    touching = doubt.touching(kpi, doubts)
    why = _why(week, name, data, this, touching, kpi in unmeasured, t)
    half_width = None if this is None else doubt.widened(this, None if own is None else numbers.COVERAGE * own, touching)
    usual = next((u for u in data.usual if u["kpi"] == kpi), None)
    base = None if name == "solids" else judge.baseline([d.get(kpi) for d in data.baseline], usual)
    noise = judge.week_noise((data.this_known or {}).get(f"{kpi}_u_random"), [d.get(kpi) for d in in_week])
    compares = this is not None and why is None and base is not None and mixed is None and not touching
    by_start = {w["week_start_day"]: w.get(kpi) for w in data.weeks}
    return KpiRow(
        name, printed, this, half_width, base,
        judge.change_pct(this, noise, base) if compares and this is not None and base is not None else None,
        judge.target(printed, this, half_width, limits) if this is not None and why is None else None,
        limits, touching, basis(name, week, in_week, data.this or {}, kpi, t), why,
        tuple(by_start.get(day) for day in shown_weeks(week)), name == "solids" and work.is_open(data.this or {}, in_week),
    )  # fmt: skip


def _why(
    week: WeekData, name: str, data: LineData, this: float | None, touching: tuple[Doubt, ...], is_unmeasured: bool, t: Language
) -> str | None:
    """Return why a number is not printed; None when it is."""
    if this is not None:
        return t("versus.withheld") if doubt.is_withheld(touching) else None
    if is_unmeasured:
        return t("not_measured")
    if name == "cost" and (week.prices_since is None or (data.this or {}).get("dose_active_kg_t") is not None):
        return t("not_priced")
    return t("not_enough")


def basis(name: str, week: WeekData, in_week: tuple[Row, ...], this: Row, kpi: str, t: Language) -> str:
    """Return what a number rests on, with the number of valid days."""
    worked = work.days_text(work.days(in_week), t)
    valid = sum(1 for d in in_week if d.get(kpi) is not None)
    if name == "cake":
        return t("basis.cake", samples=t.count("basis.samples", this["cake_samples"]), days=t.count("days", valid))
    if name == "capture":
        ratio = this.get("dilution_ratio")
        known = {"ratio": t.numeral(f"{ratio:.2f}")} if ratio else {}
        return t("basis.capture" if ratio else "basis.capture_undiluted", valid=valid, days=worked, **known)
    if name == "cost":
        since = week.prices_since
        if since is None:
            return t("basis.cost_open", valid=valid, days=worked)
        return t("basis.cost", since=t.day(since.astimezone(week.zone).date(), "year"), valid=valid, days=worked)
    if name == "mixing":
        method = this.get("mixing_dp_ref_method") or "none"
        return t(f"basis.mixing_{method if method in ('fit', 'scaled') else 'none'}", valid=valid, days=worked)
    return t("basis.solids_all" if kpi == "dry_solids_all_t" else f"basis.{name}", valid=valid, days=worked)


def floor_pct(share: float) -> int:
    """Return whole percent rounded down, so that 100 means all; a hair is added for what doubles cannot say."""
    return math.floor(share * 100.0 + 1e-9)


def shown_weeks(week: WeekData) -> list[date]:
    """Return the first days of the shown weeks, oldest first."""
    return [week.first_shown_day + timedelta(days=7 * k) for k in range(SHOWN_WEEKS)]


def charted_days(week: WeekData) -> list[date]:
    """Return the operating days of the charts, oldest first."""
    first = week.first_charted_day
    return [first + timedelta(days=k) for k in range((week.week_start_day - first).days + 7)]
