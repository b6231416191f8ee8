"""trace on hours, shifts, weeks and windows, on lab results and rows; corrections and decisions shown on the way."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from click.testing import CliRunner

from pipelines import trace
from pipelines.base.errors import DataMissingError, UsageError
from pipelines.cli.app import app
from pipelines.decisions import decide
from pipelines.decisions.decide import RowFilter, Verdict

DAY = date(2026, 1, 5)


@pytest.fixture(scope="module")
def traced(shared_small: Any) -> Any:
    """Two days; 02:00 of the first set aside and corrected by a decision, 03:00 dropped by the register, feed TS scaled."""
    small = shared_small
    small.export(0, {12: {"FT": "125"}, 18: {"FT": "119"}})
    small.export(1)
    small.lab("2026-01-05,14,25")
    small.register(
        'id = "spike"\ntag = "FT"\nat = 2026-01-05T03:00:00\naction = "drop"\nexpect = "= 119"',
        'id = "slip"\nline = "line-1"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "scale"\nfactor = 0.1',
    )
    small.nightly()
    decide.decide_rows(small.home, "p", RowFilter(line_no=14), Verdict("corrected to", "operator", "log sheet", "61 m3/h"))
    small.apply_decisions()
    return small


def test_every_kpi_table_a_result_and_a_row(traced: Any) -> None:
    home, dose = traced.home, "dose_active_kg_t"
    hour_of_spike = datetime(2026, 1, 5, 3, tzinfo=UTC)
    for table, part in (("kpi_day", None), ("kpi_hour", hour_of_spike), ("kpi_week", None), ("kpi_rolling", "24 h")):
        found = trace.run(home, "p", "line-1", DAY, dose, table=table, part=part)
        if table in ("kpi_day", "kpi_rolling"):  # ten minutes without a flow fail the hour's gate, two days the week's
            assert found.value == pytest.approx(found.row["polymer_active_kg"] / found.row["dry_solids_t"])
        assert "spike" in found.corrections["correction_id"].to_list()
        assert found.lab["raw_text"].to_list() == ["2026-01-05,14,25", "2026-01-05,14,25"]
    hour = trace.run(home, "p", "line-1", DAY, dose, table="kpi_hour", part=datetime(2026, 1, 5, 2, tzinfo=UTC))
    (reading,) = (r for r in hour.readings if r.tag == "FT" and r.time_utc.hour == 2)
    assert (reading.value, reading.line_no, reading.raw_text) == (None, 14, "2026-01-05 02:00,125,50,1")
    assert reading.correction is not None
    assert (reading.correction["corrected_value"], reading.correction["raw_text"], reading.correction["who"]) == (61.0, "125", "operator")
    assert hour.minute["sludge_flow_m3_h"] == 61.0

    row = trace.of_row(home, "p", "export_0.csv", 14)
    assert (row.raw_text, row.set_aside["reason"]) == ("2026-01-05 02:00,125,50,1", "value outside transmitter range")
    assert row.decisions["disposition"].to_list() == ["corrected to"]
    assert row.corrections["corrected_value"].to_list() == [61.0]
    assert trace.of_row(home, "p", "export_0.csv", 15).set_aside is None

    result = trace.of_result(home, "p", "line-1/feed/2026-01-05", "ts")
    assert (result.result["value"], result.versions["value"].to_list(), result.versions["raw_text"].to_list()) == (
        pytest.approx(1.4),
        [14.0],
        ["2026-01-05,14,25"],
    )
    assert result.corrections["correction_id"].to_list() == ["slip"]

    cake = trace.run(home, "p", "line-1", DAY, "cake_ts_pct")
    assert (cake.value, cake.readings) == (25.0, ())


def test_what_is_not_there_is_said(traced: Any) -> None:
    cases: list[tuple[type[Exception], str, Callable[[], object]]] = [
        (
            UsageError,
            "there is no KPI table kpi_year",
            lambda: trace.run(traced.home, "p", "line-1", DAY, "dose_active_kg_t", table="kpi_year"),
        ),
        (
            UsageError,
            "kpi_hour has 24 rows of line-1 on 2026-01-05",
            lambda: trace.run(traced.home, "p", "line-1", DAY, "starts", table="kpi_hour"),
        ),
        (DataMissingError, "no file x.csv was taken in", lambda: trace.of_row(traced.home, "p", "x.csv", 1)),
        (DataMissingError, "no result vs of sample s", lambda: trace.of_result(traced.home, "p", "s", "vs")),
    ]
    for kind, message, ask in cases:
        with pytest.raises(kind) as error:
            ask()
        assert error.value.args[0] == message


def test_the_command_shows_corrections_and_decisions(traced: Any) -> None:
    def told(*given: str) -> list[str]:
        output: list[str] = CliRunner().invoke(app, ["--home", str(traced.home.root), "trace", "--plant", "p", *given]).output.splitlines()
        return output

    number = told("dose_active_kg_t", "--line", "line-1", "--day", "2026-01-05", "--table", "kpi_hour", "--hour", "2026-01-05T03:00Z")
    spike = "  FT at 2026-01-05T03:00:00Z: drop by plant file spike: 119 -> nothing m3/h; instrument technician, 2026-01-20: transmitter was wrong"
    assert spike in number
    sample = told("--analyte", "ts", "--sample", "line-1/feed/2026-01-05")

    assert any(line.startswith("  2026-01-05 feed ts = 14 %, revision 1") for line in sample)
    assert any("scale by plant file slip: 14 -> 1.4 %" in line for line in sample)
    row = told("--file", "export_0.csv", "--row", "14")
    assert "  disposition: corrected to" in row
    assert any(" operator: corrected to 61 m3/h (FT), log sheet [" in line for line in row)


def test_a_feed_sample_held_for_days_is_part_of_the_evidence(make_small: Callable[[str], Any]) -> None:
    """A plant that samples seldom states a longer hold limit; trace goes as far back as the value does."""
    small = make_small("held")
    path = small.home.plant_file("p")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('feed_cutoff = "5 m3/h"', 'feed_cutoff = "5 m3/h"\nsolids_hold_limit = "336 h"'), encoding="utf-8")
    for day in range(9):
        small.export(day)
    small.lab("2026-01-05,2.0,20", "2026-01-06,,21")
    small.nightly(publish_now=True)
    found = trace.run(small.home, "p", "line-1", date(2026, 1, 13), "dose_active_kg_t")
    assert found.row["feed_ts_pct"] == pytest.approx(2.0)
    assert found.row["dry_solids_held_t"] == found.row["dry_solids_t"]
    assert found.lab.select("operating_day", "point").rows() == [(DAY, "feed")]  # not the cake of another day
