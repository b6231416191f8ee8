"""What the weekly page takes from other steps' published rows: usual ranges of the baseline, and results of comparisons."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pipelines.base.home import Home
from pipelines.report import language
from pipelines.report.weekly import facts, judge, read
from pipelines.report.weekly.rows import LineData

Change = Callable[[str, str], None]


def test_the_baseline_is_the_published_usual_range_where_it_lies_within(weekly_home: Home, weekly_change: Change) -> None:
    def of_line_1() -> LineData:
        return read.week(weekly_home, "alder-fork", None).lines[0]

    def cake_of(data: LineData) -> judge.Baseline | None:
        return facts.of_line(read.week(weekly_home, "alder-fork", None), data, {}, language.of("en")).row("cake").baseline

    data = of_line_1()
    published = next(u for u in data.usual if u["kpi"] == "cake_ts_pct")
    found = cake_of(data)
    assert found is not None
    assert (found.low, found.middle, found.high, found.days) == tuple(published[c] for c in ("low", "middle", "high", "days"))
    own = judge.baseline([d["cake_ts_pct"] for d in data.baseline])  # all its days are final: both rules agree
    assert own is not None
    assert (found.low, found.middle, found.high, found.noise) == pytest.approx((own.low, own.middle, own.high, own.noise))
    # Provisional days count in the page's own range, not in the published one; fewer than ten final days publish none.
    weekly_change("alder-fork", "UPDATE kpi_day SET is_provisional = TRUE, cake_ts_pct = 50.0 WHERE line = 'line-1' AND cake_ts_pct IS NOT NULL AND operating_day "
                  "IN (SELECT operating_day FROM kpi_day WHERE line = 'line-1' AND cake_ts_pct IS NOT NULL ORDER BY operating_day LIMIT 8)")  # fmt: skip
    after = cake_of(of_line_1())
    assert after is not None
    assert after.high < 25.0
    assert after.days == found.days - 8
    weekly_change("alder-fork", "UPDATE kpi_day SET is_provisional = TRUE WHERE operating_day < DATE '2026-03-30'")
    data = of_line_1()
    assert data.usual == ()
    fallen = cake_of(data)
    assert fallen is not None
    assert fallen.high == 50.0
