"""The three sentences of a weekly page, and its line on the data. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.report.language import Language, sentence
from pipelines.report.numbers import one_decimal
from pipelines.report.weekly import judge, work
from pipelines.report.weekly.facts import KpiRow, LineFacts, floor_pct
from pipelines.report.weekly.queries import Row
from pipelines.report.weekly.rows import WeekData

# Share of processing minutes without every meter the dose needs that is worth a word (the gate of a day is the same).
MISSED_WORTH_A_WORD = 0.10
LOST_WORTH_A_WORD_H = 0.5  # hours that ran without a meter that could judge them
_JUDGED = ("dose", "cake", "capture")
ALL_LINES = "all lines"  # as sql/views/solids_balance.sql names them together
_FEED_METERS = ("sludge_flow", "feed_solids")


def three(lines: Sequence[LineFacts], t: Language) -> list[str]:
    """Return what happened, how it compares, and what needs a decision: of all reported lines together."""
    reported = [line for line in lines if line.withheld is None]
    several = len(lines) > 1
    return [
        " ".join(sentence(happened(line, t)) for line in reported),
        " ".join(compared(line, t) for line in reported if _worked(line)) or sentence(t("sentence.nothing_compared")),
        sentence(decision(lines, t, several)),
    ]


def _worked(line: LineFacts) -> bool:
    return bool((line.data.this or {}).get("processing_minutes"))


def happened(line: LineFacts, t: Language) -> str:
    """Return hours, days and tons of a line; as ranges where hours ran, or may have, that no meter could judge."""
    this, solids = line.data.this or {}, line.row("solids")
    hours, days = work.hours(this), work.days(line.in_week)
    if not hours.most and not days.most:
        return t("sentence.not_run", line=line.data.name)
    given = {"line": line.data.name, "hours": work.hours_text(hours, t), "days": work.days_text(days, t)}
    if not hours.least and not days.least:
        return t("sentence.not_known", **given)
    if not solids.is_reported:
        return t("sentence.ran_no_solids", **given)
    given |= {"tons": solids.value(t), "unit": solids.printed.unit}
    return t("sentence.ran_unknown" if solids.is_least else "sentence.ran", **given)


def compared(line: LineFacts, t: Language) -> str:
    """Return the dose of a line against its baseline, then in a sentence of its own dose, cake and capture against their targets."""
    return " ".join(sentence(x) for x in (_dose(line, t), _targets(line, t)) if x)


def _dose(line: LineFacts, t: Language) -> str:
    dose = line.row("dose")
    if dose.is_reported:
        unit = t(f"sentence.dose_unit_{line.data.settings['units'].lower()}")
        return t("sentence.dose", line=line.data.name, dose=dose.value(t), unit=unit, versus=_versus(dose, line.mixed, t))
    reason = (line.data.this or {}).get("dose_reason") or dose.why or t("sentence.reason_unknown")
    return t("sentence.no_dose", line=line.data.name, reason=t.why(reason))


def _targets(line: LineFacts, t: Language) -> str:
    parts = []
    for verdict in (judge.OUT, judge.IN, judge.OPEN):
        names = [t(f"short.{r.name}") for r in line.rows if r.name in _JUDGED and r.verdict == verdict]
        if names:
            parts.append(t(f"sentence.{verdict}_{'one' if len(names) == 1 else 'many'}", names=t.joined(names)))
    return "; ".join(parts)


def _versus(row: KpiRow, mixed: str | None, t: Language) -> str:
    if mixed is not None:
        return t("sentence.versus_mixed", what=mixed)
    if row.baseline is None:
        return t("sentence.versus_none")
    return change(row.change_pct, t, "sentence") or t("sentence.versus_same")


def change(percent: float | None, t: Language, kind: str = "versus") -> str | None:
    """Return "18 % below baseline" in the words of a table ("versus") or of a sentence ("sentence"); None for none."""
    if percent is None:
        return None
    return t(f"{kind}.below" if percent < 0 else f"{kind}.above", percent=f"{abs(percent):.0f}")


def decision(lines: Sequence[LineFacts], t: Language, several: bool) -> str:
    """Return what needs a decision: open items, doubted meters, unusable minutes, a missing dose, missed targets, in this order."""
    found = [(line, item) for line in lines for item in line.items]
    if found:
        line, first = min(found, key=lambda x: x[1].by)
        text = t("item.of_line", line=line.data.name, item=first.text) if several else first.text
        return (
            t("sentence.decide_one", first=text)
            if len(found) == 1
            else t("sentence.decide_many", n=t.word("number", str(len(found))), first=text)
        )
    for line in lines:
        for doubted in line.doubts:
            text = t("sentence.decide_doubt", role=t.word("role", doubted.role), reason=doubted.words(t))
            return t("item.of_line", line=line.data.name, item=f"{text[:1].lower()}{text[1:]}") if several else text
    for line in lines:
        if line.withheld is not None:
            return t("withheld_line", line=line.data.name, reason=line.withheld)
    for line in lines:
        missed = (line.data.this or {}).get("missed_share")
        if missed is not None and missed > MISSED_WORTH_A_WORD:
            return t("sentence.decide_missed", percent=f"{missed * 100:.0f}")
    if any(_worked(line) and line.rows and not line.row("dose").is_reported for line in lines):
        return t("sentence.decide_data")
    missing = {r.name: t(f"short.{r.name}") for line in lines for r in line.rows if r.verdict == judge.OUT}
    if missing:
        return t("sentence.decide_target", names=t.joined(list(missing.values())))
    return t("sentence.decide_nothing")


def data_line(week: WeekData, lines: Sequence[LineFacts], t: Language) -> str:
    """Return the line that says how far the numbers can be trusted: the least of the lines."""
    missed = [m for line in lines if (m := (line.data.this or {}).get("missed_share")) is not None]
    in_week = [d for line in lines for d in line.in_week]
    sampled = sum(1 for d in in_week if work.is_worked(d) and d["feed_samples"])
    parts = [
        t("dataline.usable", percent=floor_pct(1 - max(missed))) if missed else t("dataline.no_minutes"),
        t("dataline.sampled", sampled=sampled, days=work.days_text(work.days(in_week), t)),
        t.count("dataline.set_aside", week.rows_set_aside),
    ]
    unknown = sum((line.data.this or {}).get("unknown_minutes") or 0 for line in lines) / 60.0
    if unknown >= LOST_WORTH_A_WORD_H:
        parts.append(t("dataline.unknown", hours=t.numeral(one_decimal(unknown))))
    lost = sum((line.data.this or {}).get("lost_minutes") or 0 for line in lines) / 60.0
    if lost >= LOST_WORTH_A_WORD_H:
        parts.append(t("dataline.lost", hours=t.numeral(one_decimal(lost))))
    parts += [t("dataline.doubted", role=t.word("role", d.role), reason=d.words(t)) for line in lines for d in line.doubts]
    parts += _balances(lines, t)
    return sentence("; ".join(parts))


def _balances(lines: Sequence[LineFacts], t: Language) -> list[str]:
    """Return what each solids balance of the week that does not close says, once; none where a flag says it already.

    A balance of all lines stands with each line that has none of its own; a flag on any of these lines stands for it.
    """
    own: dict[str, list[LineFacts]] = {}
    for line in lines:
        if (line.data.balance or {}).get("verdict") in ("below limits", "above limits"):
            own.setdefault((line.data.balance or {})["line"], []).append(line)
    told = []
    for name, of in own.items():
        if any(_says_balance(flag) for line in (lines if name == ALL_LINES else of) for flag in line.data.flags):
            continue
        text = _balance(of[0].data.balance or {}, t)
        told.append(text if name == ALL_LINES or len(lines) == 1 else t("item.of_line", line=of[0].data.name, item=text))
    return told


def _says_balance(flag: Row) -> bool:
    """Return whether a flag tells of an open balance: by itself, or as a doubt of a meter that the balance rests on."""
    return flag["detector"] == "solids balance open" or (flag["detector"] == "meter doubted" and flag["role"] in _FEED_METERS)


def _balance(row: Row, t: Language) -> str:
    closure, low, high = (f"{100.0 * row[c]:.0f}" for c in ("solids_closure", "limit_low", "limit_high"))
    return t("dataline.balance", percent=closure, low=low, high=high)
