"""Rules that leave days out, gates that refuse a number, and the plan that stands frozen."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.compare import differences, evidence, plan

TEXT = """
[plan]
plant = "p"
line = "line-1"
question = "q"
design = "before/after"
arm_from = "old"
arm_to = "new"
first_day = 2026-01-05
last_day = 2026-03-31
transition_days = 3
outcomes = ["fed-dose saving"]
"""


def days(old: int = 30, new: int = 30, **changed: Any) -> pl.DataFrame:
    n = old + new
    base: dict[str, Any] = {
        "line": ["line-1"] * n, "operating_day": [date(2026, 1, 5) + timedelta(days=k) for k in range(n)],
        "period_start_utc": [datetime(2026, 1, 5, 6, tzinfo=UTC) + timedelta(days=k) for k in range(n)],
        "dose_active_kg_t": [10.0 + 0.3 * (k % 3) for k in range(old)] + [8.0 + 0.3 * (k % 3) for k in range(new)], "dose_reason": [None] * n,
        "feed_ts_pct": [2.4 + 0.1 * (k % 4) for k in range(n)], "processing_minutes": [400] * n, "is_provisional": [False] * n,
        "arrangement": ["old"] * old + ["new"] * new, "is_in_transition": [False] * n, "is_mixed": [False] * n,
        "severities": [None] * n, "doubt": [None] * n,
    }  # fmt: skip
    types = {"dose_reason": pl.String, "severities": pl.List(pl.String), "doubt": pl.String}
    return pl.DataFrame(base | changed, schema_overrides=types)


def failed(p: plan.Plan, frame: pl.DataFrame) -> list[str]:
    return [name for name, passed, _ in evidence.gates(p, evidence.gather(p, frame, None)) if not passed]


def test_parts_are_different_types_and_transition_is_of_neither_arm() -> None:
    found = evidence.gather(plan.parse(TEXT, "t"), days(), None)
    assert (found.baseline.used.height, found.transition.frame.height, found.trial.used.height) == (30, 3, 27)
    assert isinstance(found.trial, evidence.Trial)
    assert not isinstance(found.trial, evidence.Baseline)


def test_each_rule_is_named_on_the_day_it_leaves_out() -> None:
    n = 60
    doubt = ["sludge_flow: gain"] + [None] * (n - 1)
    severities = [None, ["check today"]] + [None] * (n - 2)
    dose = days()["dose_active_kg_t"].to_list()
    dose[2] = None
    reasons = [None] * 2 + ["no processing"] + [None] * (n - 3)
    frame = days(doubt=doubt, severities=severities, dose_active_kg_t=dose, dose_reason=reasons, is_mixed=[k == 3 for k in range(n)])
    left = evidence.gather(plan.parse(TEXT, "t"), frame, None).baseline.frame["left_out"].to_list()
    assert left[:5] == [
        "meter in doubt: sludge_flow: gain", "flagged check today", "no dose: no processing", "two arrangements on one day", None,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("frame", "gate"),
    [
        (days(19, 40), "days of 'old'"),
        (days(40, 22), "days of 'new'"),
        (days(doubt=[None] * 30 + ["sludge_flow: gain"] * 30), "meters of 'new'"),
        (days(feed_ts_pct=[2.0 + 0.01 * k for k in range(30)] + [3.5 + 0.01 * k for k in range(30)]), "days of 'new'"),
    ],
    ids=["few before", "few after", "meter in doubt in one arm", "no overlap of feed TS"],
)
def test_a_gate_names_itself(frame: pl.DataFrame, gate: str) -> None:
    assert gate in failed(plan.parse(TEXT, "t"), frame)


def test_days_whose_feed_ts_only_one_arm_saw_are_left_out_before_after_only() -> None:
    # old 2.00 to 2.29, new after 3 days of transition 2.13 to 2.39: both saw 2.13 to 2.29, so 13 of the old and 10 of the new are left out
    frame = days(feed_ts_pct=[2.0 + 0.01 * k for k in range(30)] + [2.1 + 0.01 * k for k in range(30)])
    found = evidence.gather(plan.parse(TEXT, "t"), frame, None)
    assert found.baseline.frame["left_out"].to_list().count(evidence.OUTSIDE) == 13
    assert found.trial.frame["left_out"].to_list().count(evidence.OUTSIDE) == 10
    control = plan.parse(TEXT.replace('design = "before/after"', 'design = "control line"\ncontrol_line = "line-2"'), "t")
    assert evidence.OUTSIDE not in evidence.gather(control, frame, frame).baseline.frame["left_out"].to_list()


def test_whole_evidence_passes() -> None:
    assert failed(plan.parse(TEXT, "t"), days()) == []


def test_static_factor_and_verification_refuse() -> None:
    more = TEXT + (
        '[[static_factors]]\nname = "polymer product"\nin_arm_from = "A"\nin_arm_to = "B"\n'
        '[[static_factors]]\nname = "belts"\nin_arm_from = "new"\nin_arm_to = "new"\n'
    )
    text = 'required_verified = ["sludge_flow"]\n' + more
    assert failed(plan.parse(text, "t"), days()) == ["verification: sludge_flow", "static factor: polymer product"]
    verified = text + '[[verifications]]\nrole = "sludge_flow"\nat = 2026-01-02\nmethod = "tank drop"\nfound_error_pct = 1.0\n'
    assert failed(plan.parse(verified, "t"), days()) == ["static factor: polymer product"]


def test_before_after_without_calibration_is_capped() -> None:
    p = plan.parse(TEXT, "t")
    found = differences.of(p, evidence.gather(p, days(), None), "dose_active_kg_t", is_ln=True)
    assert found is not None
    assert found.caps == (differences.NOT_CALIBRATED,)
    assert found.estimate.low < -0.22 < found.estimate.high  # ln(8.3 / 10.3) = -0.216
    assert found.estimate.days_to == 27


def put(home: Home, text: str) -> None:
    path = plan.path_of(home, "t")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def test_a_frozen_plan_stands_until_it_is_amended(tmp_path: Path) -> None:
    home = Home(tmp_path)
    put(home, TEXT)
    assert plan.load(home, "t").shown_hash.startswith("draft-")
    frozen = plan.freeze(home, "t", datetime(2026, 1, 1, tzinfo=UTC))
    assert frozen.frozen_utc == datetime(2026, 1, 1, tzinfo=UTC)
    put(home, TEXT.replace("transition_days = 3", "transition_days  =  3"))  # spacing is no change
    assert plan.load(home, "t").shown_hash == frozen.frozen_hash
    changed = TEXT.replace("transition_days = 3", "transition_days = 5")
    put(home, changed)
    with pytest.raises(UsageError, match="changed since it was frozen"):
        plan.load(home, "t")
    amendment = f'[[amendments]]\nnumber = 1\nat = 2026-02-01\nby_role = "plant engineer"\nwhat = "longer transition"\nplan_hash = "{plan.body_hash(changed)}"\n'
    put(home, changed + amendment)
    found = plan.load(home, "t")
    assert found.shown_hash == frozen.frozen_hash
    assert found.amendments_text == "1. 2026-02-01 (plant engineer): longer transition"
    with pytest.raises(UsageError, match="was frozen"):
        plan.freeze(home, "t", datetime(2026, 1, 2, tzinfo=UTC))


def test_a_plan_names_what_is_wrong_with_it() -> None:
    with pytest.raises(UsageError, match="control_line"):
        plan.parse(TEXT + 'control_line = "line-2"\n', "t")
    with pytest.raises(UsageError, match="150 %"):
        plan.parse(TEXT + '[draw]\ndose_rule = "ladder"\nrungs_pct = [50, 75, 100, 120]\n', "t")
    with pytest.raises(UsageError, match="margns"):
        plan.parse(TEXT + "[margns]\ncake_pct = 0.5\n", "t")
    with pytest.raises(UsageError, match="no name of a plan"):
        plan.path_of(Home(Path("x")), "../t")


def test_templates_are_plans() -> None:
    folder = Path(plan.__file__).parent / "templates"
    designs = {plan.parse(p.read_text(encoding="utf-8"), p.name).plan.design for p in folder.glob("*.toml")}
    assert designs == {"within-day crossover", "paired days", "alternating blocks", "control line", "before/after"}
