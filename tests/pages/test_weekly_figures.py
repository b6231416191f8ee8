"""The figures of the weekly page at their edges: gaps, arms, axes, where points lie, trends."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from matplotlib.figure import Figure

from pipelines.report import language
from pipelines.report.weekly import charts, facts, figures
from pipelines.report.weekly.figures import Arm, Backdrop
from pipelines.report.weekly.rows import LineData, WeekData

T = language.of("en")
DAYS = [date(2026, 1, 12) + timedelta(days=k) for k in range(56)]
START = datetime(2026, 1, 12, tzinfo=UTC)
WEEK = WeekData(
    "p",
    "P",
    ZoneInfo("UTC"),
    date(2026, 3, 2),
    "2026-W10",
    START + timedelta(days=49),
    START + timedelta(days=56),
    START,
    START.date(),
    "-",
    None,
    (),
    (),
)


def pieces(behind: Backdrop) -> int:
    """How many pieces the rolling line is drawn in."""
    svg = figures.dose(behind, [10.0] * 56, [10.0] * 20 + [None] + [10.0] * 35, "x", T)
    line = next(p for p in svg.split("<path d=")[1:] if "stroke: #666666; stroke-width: 1.5" in p and "clip-path" in p)
    return line.split('"')[1].count("M")


def test_no_line_is_drawn_through_a_gap_an_event_or_a_change_of_arm() -> None:
    assert pieces(Backdrop(DAYS)) == 2
    assert pieces(Backdrop(DAYS, events=(DAYS[10],))) == 3
    assert pieces(Backdrop(DAYS, arms=(Arm(0, 29, "old", False), Arm(30, 55, "new", True)))) == 3


def test_arms_are_named_where_there_is_room_and_cut_to_it() -> None:
    svg = figures.dose(
        Backdrop(
            DAYS,
            arms=(
                Arm(0, 2, "tiny", True),
                Arm(3, 12, "an arrangement with a long name", False),
                Arm(13, 20, "old pump, weighted valve", True),
            ),
        ),
        [1.0] * 56,
        [1.0] * 56,
        "x",
        T,
    )
    assert "tiny" not in svg
    assert "an arrangement with…" in svg
    assert ">old pump<" in svg


def test_spells_of_one_arrangement_are_shaded_alike() -> None:
    def row(k: int, name: str | None, share: float = 1.0) -> dict[str, object]:
        return {"operating_day": DAYS[k], "arrangement": name, "processing_share": share}

    rows = [row(0, "old"), row(1, "old"), row(2, "old", 0.3), row(2, "new", 0.7), row(3, "new"), row(5, "old"), row(6, None)]
    found = charts.arms(WEEK, rows)
    assert [(a.first, a.last, a.name, a.is_shaded) for a in found] == [(0, 1, "old", False), (2, 3, "new", True), (5, 5, "old", False)]


@pytest.mark.parametrize(
    "values, levels, low, high",
    [
        ([93.0, 97.0], (), 82.815, 100.0),  # 93 and 97 widened by 9.7 and 0.05 x 9.7: the top of 107.2 is capped
        ([20.0, 22.0], (), 17.69, 24.31),  # widened by 2.2 and 0.11
        ([90.0], (92.0,), 82.34, 100.0),  # the target's own width of 9.2: 92 - 9.2 - 0.46
    ],
)
def test_axes_of_percentages_are_local_and_end_at_100(values: list[float], levels: tuple[float, ...], low: float, high: float) -> None:
    axes = Figure().subplots()
    figures._scale(axes, values, Backdrop(DAYS, levels=levels, most=100.0), T)
    assert axes.get_ylim() == pytest.approx((low, high))


def test_axes_never_begin_below_zero_for_what_cannot_be_negative() -> None:
    axes = Figure().subplots()
    figures._scale(axes, [3.0], Backdrop(DAYS, levels=(2.0, 30.0)), T)
    assert axes.get_ylim()[0] == 0.0


def test_numbers_at_axes_are_in_the_signs_of_the_language() -> None:
    svg = figures.dose(Backdrop(DAYS, levels=(0.25, 0.75)), [0.5] * 56, [0.5] * 56, "x", language.of("da"))
    texts = re.findall(r">([^<>]+)</text>", svg)
    assert any(re.fullmatch(r"\d+,\d+", x) for x in texts)
    assert not any(re.fullmatch(r"\d+\.\d+", x) for x in texts)
    assert "2. mar" in texts


def test_empty_figures_say_so() -> None:
    assert "no values in these weeks" in figures.dose(Backdrop(DAYS), [None] * 56, [None] * 56, "x", T)
    assert "no values in these weeks" in figures.cloud([], [], ("x", "y"), ("a", "b"), T)
    assert "no values in these weeks" in figures.pump(["1 Mar"], [None], [None], "y", T)


def test_the_pump_axis_is_the_same_for_every_week_and_only_an_index_outside_widens_it() -> None:
    for values, ends in (([1.01, 0.97], (0.8, 1.2)), ([0.7, 1.0], (0.65, 1.2)), ([1.3], (0.8, 1.35)), ([], (0.8, 1.2))):
        axes = Figure().subplots()
        figures._pump_scale(axes, values)
        assert axes.get_ylim() == pytest.approx(ends)


def test_the_charts_begin_with_the_data_and_hold_four_weeks_at_least() -> None:
    def first(days: int) -> date:
        rows = tuple({"operating_day": DAYS[-1] - timedelta(days=k)} for k in range(days))
        return replace(WEEK, lines=(LineData("l", "L", {}, None, None, days=rows),)).first_charted_day

    assert WEEK.first_charted_day == DAYS[0]
    assert first(56) == DAYS[0]
    assert first(40) == DAYS[14]  # 39 days before Sunday 8 March is Wednesday 28 January, of the week that begins on the 26th
    assert first(10) == DAYS[28]
    assert facts.charted_days(WEEK) == DAYS


def test_value_axes_have_round_ticks() -> None:
    svg = figures.dose(Backdrop(DAYS, levels=(8.9,)), [7.6 + 0.2 * (k % 7) for k in range(56)], [None] * 56, "x", T)
    ticks = [x for x in re.findall(r">([^<>]+)</text>", svg) if re.fullmatch(r"[\d.]+", x)]
    assert ticks
    assert all(float(x) % 0.5 == 0 for x in ticks)


def test_clouds_say_how_many_points_they_show() -> None:
    svg = figures.cloud([(1.0, 2.0)], [(1.0, 2.0)] * 3, ("x", "y"), ("now", "then"), T)
    assert "now (n = 1)" in svg
    assert "then (n = 3)" in svg


def test_an_untimed_sample_lies_at_the_middle_of_its_day() -> None:
    assert figures.position(START + timedelta(hours=12), START) == 0.0
    assert figures.position(START + timedelta(hours=6), START) == -0.25


def test_trend_leaves_gaps_and_fills_only_this_week() -> None:
    svg = figures.trend([1.0, 2.0, None, 4.0, 5.0, None, None, 3.0], (2.0, 4.0))
    assert svg is not None
    assert svg.count("<line") == 2  # 1-2 and 4-5
    assert svg.count("<circle") == 5
    assert svg.count('r="2.6"') == 1
    assert svg.count("<rect") == 1
    unfinished = figures.trend([1.0, 2.0, None], None)
    assert unfinished is not None
    assert 'r="2.6"' not in unfinished
    assert figures.trend([None, 1.0, None], None) is None


def test_the_same_values_give_the_same_bytes() -> None:
    drawn = {figures.cloud([(1.0, 2.0)], [], ("x", "y"), ("a", "b"), T) for _ in range(2)}
    assert len(drawn) == 1
