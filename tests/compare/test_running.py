"""The running figure: rows by set, when there is none, and why; the wear statement beside it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipelines.compare import running, wear
from pipelines.compare.plan import Loaded, parse

HEAD = """
[plan]
plant = "p"
line = "line-1"
question = "q"
design = "paired days"
arm_from = "old"
arm_to = "new"
first_day = 2026-01-05
last_day = 2026-01-28
outcomes = ["fed-dose saving", "cake"]
"""


def loaded(draw: str, pairs: int = 12) -> Loaded:
    """Return a plan of pairs of days, the new arm first in every other."""
    text = HEAD + draw
    for k in range(pairs):
        first = date(2026, 1, 5) + timedelta(days=2 * k)
        arms = ("new", "old") if k % 2 else ("old", "new")
        blocks = ", ".join(
            f'{{ arm = "{a}", first = {first + timedelta(days=i)}, last = {first + timedelta(days=i)} }}' for i, a in enumerate(arms)
        )
        text += f"[[sets]]\nblocks = [{blocks}]\n"
    return Loaded("t", parse(text, "t"), text, "abc", "abc", datetime(2026, 1, 1, tzinfo=UTC))


def days(pairs: int, **changed: Any) -> pl.DataFrame:
    """Return days of such pairs: the new arm needs 20 % less dose, with a little scatter."""
    n, rng = 2 * pairs, np.random.default_rng(7)
    arms = [arm for k in range(pairs) for arm in (("new", "old") if k % 2 else ("old", "new"))]
    dose = [(8.0 if a == "new" else 10.0) * float(np.exp(0.03 * rng.standard_normal())) for a in arms]
    known = {
        "operating_day": [date(2026, 1, 5) + timedelta(days=k) for k in range(n)], "arrangement": arms, "dose_active_kg_t": dose, "cake_ts_pct": [22.0] * n,
        "feed_ts_pct": [2.4] * n, "processing_minutes": [400] * n, "is_in_transition": [False] * n, "is_mixed": [False] * n, "severities": [None] * n,
        "doubt": [None] * n, "dose_reason": [None] * n, "is_provisional": [False] * n, "data_version": ["v"] * n,
    }  # fmt: skip
    return pl.DataFrame(known | changed, schema_overrides={"severities": pl.List(pl.String), "doubt": pl.String, "dose_reason": pl.String})


@pytest.fixture
def figures(monkeypatch: pytest.MonkeyPatch) -> Any:
    def of(draw: str, frame: pl.DataFrame) -> list[dict[str, Any]]:
        monkeypatch.setattr(running.read, "days", lambda *_: frame)
        store = type("NoStore", (), {"plant": "p"})()
        return running._of_plan(store, loaded(draw))

    return of


FIXED = '[draw]\nis_drawn = true\ndose_rule = "fixed rule"\n'


def test_a_row_after_each_set_once_six_are_whole(figures: Any) -> None:
    rows = [r for r in figures(FIXED, days(12)) if r["outcome"] == "fed-dose saving"]
    assert [r["sets"] for r in rows] == list(range(6, 13))
    assert rows[0]["through_day"] == date(2026, 1, 16)
    last = rows[-1]
    assert last["low"] < 20.0 < last["high"]
    assert last["high"] - last["low"] < 12.0
    assert all(r["reason"] is None for r in rows[2:])


def test_an_incomplete_set_waits_for_its_other_day(figures: Any) -> None:
    rows = figures(FIXED, days(12).head(15))
    assert {r["sets"] for r in rows if r["outcome"] == "fed-dose saving"} == {6, 7}


def test_before_six_sets_the_row_says_what_is_missing(figures: Any) -> None:
    (row,) = [r for r in figures(FIXED, days(5)) if r["outcome"] == "fed-dose saving"]
    assert (row["sets"], row["reason"]) == (5, "5 sets with both arms, 6 needed before the first interval")
    assert "estimate" not in row


@pytest.mark.parametrize(
    ("draw", "outcome", "word"),
    [
        ('[draw]\nis_drawn = false\ndose_rule = "fixed rule"\n', "cake", "order of arms was not drawn"),
        ('[draw]\nis_drawn = true\ndose_rule = "ladder"\n', "fed-dose saving", "the ladder sets the dose"),
        ('[draw]\nis_drawn = true\ndose_rule = "operators"\n', "fed-dose saving", "the operators trim"),
    ],
)
def test_what_has_no_interval_at_all_times_is_said_after_the_last_day(figures: Any, draw: str, outcome: str, word: str) -> None:
    (row,) = [r for r in figures(draw, days(12)) if r["outcome"] == outcome]
    assert row["reason"].startswith("said after the plan's last day 2026-01-28")
    assert word in row["reason"]


def test_a_meter_in_doubt_in_an_arm_gives_no_running_figure(figures: Any) -> None:
    doubt = ["sludge_flow: gain" if k % 3 == 0 else None for k in range(24)]
    (row,) = [r for r in figures(FIXED, days(12, doubt=doubt)) if r["outcome"] == "fed-dose saving"]
    assert "meter in doubt" in row["reason"]


def test_wear_statement_of_whole_weeks_only() -> None:
    weeks = pl.DataFrame(
        {
            "line": "line-1", "pump": "P-1", "week_start_day": [date(2025, 1, 6) + timedelta(weeks=k) for k in range(60)], "reference_day": date(2025, 1, 6),
            "wear_index": [1.0 - 0.05 * k * 7 / 365.25 + 0.004 * (-1) ** k for k in range(60)], "slip_index": None, "slip_fraction": None,
            "data_version": "v", "last_day": date(2025, 1, 6) + timedelta(weeks=59, days=3),
        },
        schema_overrides={"slip_index": pl.Float64, "slip_fraction": pl.Float64},
    )  # fmt: skip
    (row,) = wear.of_plant("p", weeks, "v").to_dicts()
    assert (row["weeks"], row["last_week"], row["index_kind"]) == (59, date(2026, 2, 16), "head index")
    assert row["loss_pct_year_low"] < 5.0 < row["loss_pct_year_high"]
    # index now about 0.945: room 4.5 % of head at 5 % a year and a bit: about a year
    assert row["years_to_threshold_low"] < 0.9 < row["years_to_threshold_high"]
    far = weeks.with_columns(wear_index=pl.when(pl.int_range(60) == 30).then(0.5).otherwise("wear_index"))
    assert wear.of_plant("p", far, "v").to_dicts()[0]["weeks_left_out"] == 1
