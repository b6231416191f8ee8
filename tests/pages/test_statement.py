"""The savings statement and the page of a plan: what is printed, refused, drawn beside, and the way back from it."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest

from pipelines import order, trace_comparison
from pipelines.base.errors import DataMissingError, UsageError
from pipelines.base.home import Home
from pipelines.cli import tracing
from pipelines.compare import lengths
from pipelines.report.statement import page
from pipelines.report.statement.read import Statement

PLAN = "alder-fork-injection"
AS_OF = datetime(2026, 1, 27, 12, tzinfo=UTC)


def text_of(pdf: Path) -> str:
    return " ".join(" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(pdf).pages)


def test_a_statement_without_a_trial_refuses_and_is_traced(demo_home: Path) -> None:
    home = Home(demo_home)
    summary = order.compare(home, PLAN, as_of=AS_OF)
    pdf = Path(summary.outputs[0])
    said = text_of(pdf)
    assert "No number is given for the fed-dose saving" in said
    assert "0 operating days used, 20 needed" in said
    assert "invented demonstration data" in said
    first = pdf.read_bytes()
    order.compare(home, PLAN, as_of=AS_OF)
    assert pdf.read_bytes() == first
    outcomes = json.loads(pdf.with_suffix(".json").read_text(encoding="utf-8"))["outcomes"]
    assert {o["verdict"] for o in outcomes} == {"refused"}
    found = trace_comparison.run(home, "alder-fork", PLAN, "fed-dose saving")
    told = tracing.comparison_lines(found)
    assert told[0] == "fed-dose saving = no number, refused"
    assert sum(line.startswith("  2026-01-") for line in told) == len(found.days) > 5
    assert told[-1].endswith(f"--line {found.days[0]['line']} --day {found.days[0]['operating_day']}")
    with pytest.raises(UsageError, match="no outcome"):
        trace_comparison.run(home, "alder-fork", PLAN, "cheese")
    with pytest.raises(DataMissingError, match="no comparison of other"):
        trace_comparison.run(home, "alder-fork", "other", "cake")


def test_the_page_of_a_plan_has_order_verdicts_and_rules(demo_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def too_short(*_: Any) -> Any:
        raise DataMissingError("12 quiet days of line-1 with a dose, 15 needed", remedy="wait")

    monkeypatch.setattr(lengths, "of_line", too_short)
    pdf = order.trial_plan(Home(demo_home), "brenholm-injection")
    said = text_of(pdf)
    for words in (
        "Drawn by seed 1 from 256 possible orders",
        "2026-02-19",
        "cake not lower by more than 0.5 point",
        "12 quiet days of line-1",
    ):
        assert words in said
    first = pdf.read_bytes()
    assert order.trial_plan(Home(demo_home), "brenholm-injection").read_bytes() == first


def outcome(**changed: Any) -> dict[str, Any]:
    row = {
        "outcome": "fed-dose saving", "estimate": 28.4, "low": 20.1, "high": 36.0, "unit": "%", "level": 95.0, "method": "m", "verdict": "shown",
        "reason": "the whole interval speaks for the new arrangement", "days_from": 40, "days_to": 30,
    }  # fmt: skip
    return row | changed


def check(kind: str, name: str, estimate: float | None, unit: str = "%", **more: Any) -> dict[str, Any]:
    row = {
        "kind": kind,
        "check_name": name,
        "estimate": estimate,
        "low": None,
        "high": None,
        "unit": unit,
        "is_passed": None,
        "note": "n",
        "outcome": None,
    }
    return row | more


def statement(*checks: dict[str, Any], **changed: Any) -> Statement:
    plan = {
        "plant": "p", "plan": "t", "plan_hash": "abc", "line": "l", "question": "q?", "design": "paired days", "arm_from": "old", "arm_to": "new",
        "first_day": date(2026, 1, 5), "last_day": date(2026, 3, 1), "is_frozen": True, "frozen_utc": AS_OF, "amendments": None, "units": "US",
        "method_text": "m", "not_claimed": "x", "plan_text": '[plan]\noutcomes = ["fed-dose saving"]\n', "data_version": "v", "as_of_utc": AS_OF,
    }  # fmt: skip
    return Statement(plan, {"plant_name": "P", "line_name": "L"}, (outcome(**changed),), (), checks, invented=True)


def test_raw_figures_stand_beside_the_estimate_and_carry_no_interval() -> None:
    raw = check("raw", "ratio of totals of all days", 15.0)
    told = page.content(statement(raw, check("choice", "weekdays only", None, note="no step on a weekend")))
    assert told["not_to_say"]["svg"].startswith("<?xml")
    assert told["not_tried"] == ["weekdays only (no step on a weekend)"]
    assert page.content(statement())["not_to_say"] is None
    assert page.content(statement(raw, estimate=None, low=None, high=None, verdict="refused"))["not_to_say"] is None


def test_units_of_the_plant_and_a_worse_verdict_in_the_first_sentence() -> None:
    told = page.content(
        statement(outcome="mixing pressure drop", estimate=6.894757, low=3.4473785, high=10.3421355, unit="kPa", verdict="worse")
    )
    assert told["headline"].startswith("Mixing pressure drop of “new” against “old”: 1.0 psi (95 % interval 0.5 to 1.5). Verdict: worse.")
