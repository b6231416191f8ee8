"""Every printed number, and every drawn one, read back and compared with the published tables in the units that the tables themselves have."""

from __future__ import annotations

import re
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.report import language
from pipelines.report.weekly import charts, events, facts, page, read, targets
from pipelines.report.weekly.facts import LineFacts
from pipelines.report.weekly.rows import WeekData
from pipelines.store import connect
from tests.pages import readback

PSI_KPA, SHORT_TON_T = 6.894757293, 0.90718474  # NIST SP 811, from memory
MONDAY = date(2026, 3, 30)
# column of the page -> column of the published table in the plant's units, which SQL made
US = {"dose_active_kg_t": "dose_lb_active_per_dry_ton", "cake_ts_pct": "cake_ts_pct", "capture_pct": "capture_pct",
      "cost_total_per_t": "cost_total_per_dry_ton", "mixing_dp_ref_kpa": "mixing_dp_ref_psi"}  # fmt: skip


@pytest.fixture(scope="module")
def home(weekly_made: Path, tmp_path_factory: pytest.TempPathFactory) -> Home:
    return Home(Path(shutil.copytree(weekly_made, tmp_path_factory.mktemp("readback") / "home")))


@pytest.fixture(scope="module", params=["alder-fork", "brenholm"])
def told(request: pytest.FixtureRequest, home: Home) -> tuple[WeekData, tuple[LineFacts, ...], language.Language, dict[str, Any], Home]:
    plant_file = loader.of_plant(home, request.param)
    week, t = read.week(home, request.param, None), language.of(plant_file.plant.language)
    lines = tuple(
        facts.of_line(week, d, targets.limits(plant_file, d.line), t, events.of_line(week, d.line, plant_file), targets.unmeasured(plant_file, d.line))
        for d in week.lines
    )  # fmt: skip
    return week, lines, t, page.content(week, lines, plant_file, t, 0, []), home


def number(text: str, t: language.Language) -> tuple[float, float]:
    """Return a printed number and half a unit of its last digit; whole numbers may be rounded to two digits."""
    bare = text.replace(t.thousands, "").replace(t.decimal, ".")
    decimals = len(bare.partition(".")[2])
    return float(bare), 0.5 * 10**-decimals if decimals else 0.5 * 10 ** max(0, len(bare) - 2)


def stored(home: Home, sql: str, *given: Any) -> list[tuple[Any, ...]]:
    con = connect(home.database, read_only=True)
    try:
        return con.execute(sql, list(given)).fetchall()
    finally:
        con.close()


def of_week(home: Home, line: LineFacts, column: str) -> list[tuple[Any, ...]]:
    """Return the weeks' values of a column as published in the plant's units, oldest first."""
    us = line.data.settings["units"] == "US"
    table, name = ("kpi_week_us", US[column]) if us else ("kpi_week", column)
    return stored(home, f"SELECT {name} FROM {table} WHERE plant = ? AND line = ? AND week_start_day BETWEEN ? AND ? ORDER BY week_start_day",
                  line.data.settings["plant"], line.data.line, MONDAY - timedelta(days=49), MONDAY)  # fmt: skip


def test_the_six_numbers_their_trends_and_baselines(told: Any) -> None:
    _, lines, t, content, home = told
    checked = 0
    for line, group in zip(lines, content["groups"], strict=True):
        for row in group["rows"]:
            if row["kpi"] not in US:
                continue
            values = [v for (v,) in of_week(home, line, row["kpi"])]
            shown, half = number(row["value"].split(" ±")[0], t)
            assert abs(shown - values[-1]) <= half * 1.0001, row
            trend = row["trend_alt"].rpartition(": ")[2].split("; ")
            assert len(trend) == len(values)
            for text, value in zip(trend, values, strict=True):
                point, half = number(text, t)
                assert abs(point - value) <= half * 1.0001, row
                checked += 1
            percent = re.search(r"(\d+) %", row["baseline"])
            if percent:
                assert int(percent[1]) == round(abs(values[-1] / middle(home, line, row["kpi"]) - 1.0) * 100.0)
                checked += 1
    assert checked >= 40 * len(lines)


def middle(home: Home, line: LineFacts, column: str) -> float:
    """Return the median of the baseline's days, by the engine's own quantile, in the printed unit."""
    us = line.data.settings["units"] == "US"
    table, name = ("kpi_day_us", US[column]) if us else ("kpi_day", column)
    days = [d["operating_day"] for d in line.data.baseline]
    found = stored(home, f"SELECT quantile_cont({name}, 0.5) FROM {table} WHERE plant = ? AND line = ? AND list_contains(?, operating_day)",
                   line.data.settings["plant"], line.data.line, days)  # fmt: skip
    return float(found[0][0])


def test_the_numbers_of_the_sentences_and_of_the_data_line(told: Any) -> None:
    _, lines, t, content, home = told
    plant = lines[0].data.settings["plant"]
    first, second, _ = content["sentences"]
    numbers = re.findall(r"(?<![\w.,])\d[\d.,]*(?=[ .])", re.sub("|".join(re.escape(line.data.name) for line in lines), "", first))
    expected: list[float] = []
    for line in lines:
        found = stored(
            home,
            "SELECT processing_h, dry_solids_t FROM kpi_week WHERE plant = ? AND line = ? AND week_start_day = ?",
            plant,
            line.data.line,
            MONDAY,
        )
        worked = stored(home, "SELECT count(*) FROM kpi_day WHERE plant = ? AND line = ? AND operating_day BETWEEN ? AND ? AND processing_minutes > 0",
                        plant, line.data.line, MONDAY, MONDAY + timedelta(days=6))  # fmt: skip
        tons = found[0][1] / (SHORT_TON_T if line.data.settings["units"] == "US" else 1.0)
        expected += [found[0][0], worked[0][0], tons]
    assert len(numbers) == len(expected)
    for text, value in zip(numbers, expected, strict=True):
        shown, half = number(text.rstrip(".,"), t)
        assert abs(shown - value) <= min(half, 0.5) * 1.0001, (text, value)
    for line in lines:
        assert f"{line.data.name} {'brugte' if t.code == 'da' else 'used'} {line.row('dose').value(t)} " in second
    seen, sampled, aside = [*re.findall(r"\d+", content["data_line"])[0:2], re.findall(r"(\d+) (?:rows|rækker)", content["data_line"])[0]]
    missed = stored(home, "SELECT max(missed_share) FROM kpi_week WHERE plant = ? AND week_start_day = ?", plant, MONDAY)[0][0]
    assert int(seen) == int((1 - missed) * 100 + 1e-9)
    days = stored(home, "SELECT count(*) FROM kpi_day WHERE plant = ? AND operating_day BETWEEN ? AND ? AND processing_minutes > 0 AND feed_samples > 0",
                  plant, MONDAY, MONDAY + timedelta(days=6))  # fmt: skip
    assert int(sampled) == days[0][0]
    assert int(aside) == stored(home, "SELECT count(*) FROM set_aside WHERE plant = ?", plant)[0][0]


def by_day(home: Home, line: LineFacts, column: str, factor: float) -> dict[date, float]:
    found = stored(home, f"SELECT operating_day, {column} FROM kpi_day WHERE plant = ? AND line = ? AND {column} IS NOT NULL",
                   line.data.settings["plant"], line.data.line)  # fmt: skip
    return {day: value * factor for day, value in found}


def drawn(axes: Any, week: WeekData, t: language.Language, group: str) -> dict[date, float]:
    """Return the value of each day as the figure shows it."""
    labels = {t.day(d, "tick"): float(k) for k, d in enumerate(facts.charted_days(week))}
    x, y = readback.scale(axes, "x", labels), readback.scale(axes, "y")
    return {week.first_charted_day + timedelta(days=round(x.of(px))): y.of(py) for px, py in readback.markers(axes, group)}


def test_the_days_of_dose_and_capture_are_drawn_where_they_belong(told: Any) -> None:
    week, lines, t, _, home = told
    for line in lines:
        us = line.data.settings["units"] == "US"
        axes = readback.all_axes(charts.dose(week, line, t).svg)[0]
        shown = {d: v for d, v in by_day(home, line, "dose_active_kg_t", 2.0 if us else 1.0).items() if d >= week.first_charted_day}
        assert drawn(axes, week, t, "values") == pytest.approx(shown, abs=0.005)
        assert len(shown) == 39
        product = next(c for c in charts.rest(week, line, t) if c.points)
        below = readback.all_axes(product.svg)[1]
        labels_above = readback.all_axes(product.svg)[0]
        captured = {d: v for d, v in by_day(home, line, "capture_pct", 1.0).items() if d >= week.first_charted_day}
        assert drawn(below, week, t, "others") == pytest.approx(captured, abs=0.02)
        samples = stored(home, "SELECT count(*), min(value), max(value) FROM lab_results WHERE plant = ? AND line = ? AND point = 'cake' AND operating_day >= ?",
                         line.data.settings["plant"], line.data.line, week.first_charted_day)[0]  # fmt: skip
        y = readback.scale(labels_above, "y")
        cake = [y.of(py) for _, py in readback.markers(labels_above, "values")]
        assert (len(cake), min(cake), max(cake)) == pytest.approx(samples, abs=0.02)


def test_the_cloud_of_dose_and_cake_holds_the_days_of_week_and_baseline(told: Any) -> None:
    week, lines, t, _, home = told
    for line in lines:
        factor = 2.0 if line.data.settings["units"] == "US" else 1.0
        cloud = next(c for c in charts.rest(week, line, t) if c.is_half)
        axes = readback.all_axes(cloud.svg)[0]
        x, y = readback.scale(axes, "x"), readback.scale(axes, "y")
        dose, cake = by_day(home, line, "dose_active_kg_t", factor), by_day(home, line, "cake_ts_pct", 1.0)
        both = {d: (dose[d], cake[d]) for d in dose.keys() & cake.keys()}
        for group, days in (
            ("values", [d for d in both if d >= MONDAY]),
            ("others", [d["operating_day"] for d in line.data.baseline if d["operating_day"] in both]),
        ):
            found = sorted((x.of(px), y.of(py)) for px, py in readback.markers(axes, group))
            wanted = sorted(both[d] for d in days)
            assert len(found) == len(wanted) > 0
            for a, b in zip(found, wanted, strict=True):
                assert a == pytest.approx(b, abs=0.02)
