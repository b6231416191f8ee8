"""The pump condition review: what it says of wear and what it never says, its facts against the published tables, and the page as a reader gets it."""

from __future__ import annotations

import json
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pypdf
import pytest

from pipelines import publish
from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.plant.logs import Baseline
from pipelines.report import language, review
from pipelines.report.review import figures, page
from pipelines.store import Store, connect
from tests.pages import readback
from tests.pages.conftest import MONDAY, append, row

T, DA = language.of("en"), language.of("da")
WEAR: dict[str, Any] = {
    "refusal": None, "loss_pct_year": 1.24, "loss_pct_year_low": -0.6, "loss_pct_year_high": 3.08, "threshold_index": 0.9, "years_to_threshold_low": 3.27, "years_to_threshold_high": None,
    "weeks": 40, "weeks_left_out": 1,
}  # fmt: skip


@pytest.mark.parametrize(
    "wear, said, threshold",
    [
        (None, "No statement on wear is computed yet.", ""),
        ({"refusal": "8 weeks with an index, 12 needed"}, "No statement on wear: 8 weeks with an index, 12 needed.", ""),
        ({}, "No loss is resolved. A loss above 3.1 % a year can be excluded (95 % interval −0.6 to 3.1); this is no proof of no wear.",
         "At such a loss the threshold index of 0.90 is met in 3.3 years at the earliest."),
        ({"loss_pct_year_low": 0.4, "years_to_threshold_high": 25.2}, "A loss of 1.2 % a year is measured (95 % interval 0.4 to 3.1).",
         "At such a loss the threshold index of 0.90 is met in 3.3 to 25 years."),
        ({"loss_pct_year_low": 0.4, "years_to_threshold_low": 0.0, "years_to_threshold_high": 0.0}, "A loss of 1.2 % a year is measured (95 % interval 0.4 to 3.1).",
         "The index has met the threshold of 0.90."),
        ({"loss_pct_year": -4.0, "loss_pct_year_low": -6.0, "loss_pct_year_high": -2.0, "years_to_threshold_low": None},
         "The index moves away from wear by −4.0 % a year (95 % interval −6.0 to −2.0): look at the meters and the sludge first.",
         "The threshold index of 0.90 is not met at any loss inside the interval."),
    ],
)  # fmt: skip
def test_what_is_said_of_wear(wear: dict[str, Any] | None, said: str, threshold: str) -> None:
    row = None if wear is None else WEAR | wear
    assert page.statement(row, T) == said
    assert page.time_to_threshold(row, T) == threshold


def test_wear_in_danish() -> None:
    assert (
        page.statement(WEAR | {"refusal": "8 weeks with an index, 12 needed"}, DA) == "Intet udsagn om slid: 8 uger med indeks, 12 kræves."
    )
    assert "over 3,1 % om året kan udelukkes (95 % interval −0,6 til 3,1)" in page.statement(WEAR, DA)


def test_an_interval_too_wide_to_say_anything_is_no_trend() -> None:
    wide = WEAR | {"loss_pct_year": 89.0, "loss_pct_year_low": -87.0, "loss_pct_year_high": 265.0}
    assert page.statement(wide, T) == "No trend of the index can be told (95 % interval of the loss −87 to 265 % a year)."
    assert page.time_to_threshold(wide, T) == ""
    # A loss whose interval does not hold zero is measured, however wide.
    assert page.statement(wide | {"loss_pct_year_low": 3.0}, T).startswith("A loss of 89.0 % a year is measured")


def test_test_points_are_printed_as_the_plant_file_gives_them() -> None:
    curve = Baseline.model_validate(
        {"pump": "P", "at": date(2026, 1, 5), "flow_unit": "gpm", "head_unit": "ft", "reference_speed": "1180 rpm",
         "curve": [(0, 120), (400, 94.4), (700, 41.6)]}
    )  # fmt: skip
    assert page.points(curve, T) == ["3 points at 1,180 rpm (flow, head): 0 gpm, 120 ft; 400 gpm, 94.4 ft; 700 gpm, 41.6 ft"]
    slip = Baseline.model_validate(
        {"pump": "P", "at": date(2026, 1, 5), "flow_unit": "m3/h", "pressure_unit": "bar", "displacement": "2 L", "slip": [(0.5, 0.175)]}
    )
    assert page.points(slip, DA) == ["2 L pr. omdrejning uden tryk; 1 punkt (tryk, slip): 0,5 bar, 0,175 m3/h"]


@pytest.fixture(scope="module")
def reviewed(weekly_made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = Home(Path(shutil.copytree(weekly_made, tmp_path_factory.mktemp("review") / "home")))
    with Store(home.store("alder-fork"), "alder-fork") as store:
        append(store, "pump_wear", [row("pump_wear", plant="alder-fork", line="line-2", pump="P-210", index_kind="head index", **WEAR)])
        store.mark_days("publish", [MONDAY])
        publish.run(home, store)
    return review.run(home, "alder-fork")


def test_the_page_says_what_the_tables_say(reviewed: Path) -> None:
    sheets = [" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(reviewed).pages]
    trail = json.loads(reviewed.with_suffix(".json").read_text(encoding="utf-8"))
    con = connect(reviewed.parents[2] / "flocledger.duckdb", read_only=True)
    found = con.execute(
        "SELECT line, pump, sum(run_h) FILTER (run_h > 0), sum(starts) FILTER (run_h > 0) FROM pump_condition WHERE plant = 'alder-fork' GROUP BY ALL ORDER BY ALL"
    ).fetchall()
    flags = dict(con.execute("SELECT detector, count(*) FROM flags WHERE plant = 'alder-fork' GROUP BY 1").fetchall())
    con.close()
    assert [(p["line"], p["pump"]) for p in trail["pumps"]] == [(line, pump) for line, pump, _, _ in found]
    assert len(sheets) == len(found) + 1
    for sheet, told, (_, pump, hours, starts) in zip(sheets, trail["pumps"], found, strict=False):
        assert f"Pump {pump} on Belt press" in sheet
        facts = dict(told["facts"])
        if hours:
            assert facts["run hours in the data"] == f"{hours:,.0f}"
            assert facts["starts in the data"] == f"{starts or 0:,.0f}"
            assert f"run hours in the data {hours:,.0f}" in sheet
        assert {name: int(n) for name, n, _, _ in told["events"]} == {name: flags.get(name, 0) for name in page.WATCHED}
    measured = next(told for told in trail["pumps"] if told["pump"] == "P-210")
    assert measured["said"] == page.statement(WEAR, T)
    assert dict(measured["facts"])["weeks behind the statement"] == "40 weeks; 1 week far off left out"
    assert "No statement on wear is computed yet." in sheets[0]  # of a pump without a row
    for needed in ("no proof of no wear", "Seen by both sides", "Cautions", "Never run a pump dry"):
        assert needed in sheets[-1]


def test_the_index_is_drawn_where_it_belongs() -> None:
    weeks = [MONDAY + timedelta(days=7 * k) for k in range(6)]
    values = [1.01, 0.97, None, 0.8, 1.2, 1.0]
    axes = readback.all_axes(figures.index(weeks, values, [0.02] * 6, 0.9, [MONDAY + timedelta(days=14)], T))[0]
    x, y = readback.scale(axes, "x", {T.day(d, "tick"): float(k) for k, d in enumerate(weeks)}), readback.scale(axes, "y")
    drawn = {round(x.of(px)): y.of(py) for px, py in readback.markers(axes, "values")}
    assert drawn == pytest.approx({k: v for k, v in enumerate(values) if v is not None}, abs=0.001)


def test_the_index_of_the_plant_links_to_the_review(reviewed: Path) -> None:
    assert f'<a href="{reviewed.name}">' in reviewed.with_name("index.html").read_text(encoding="utf-8")


def test_same_data_same_bytes(reviewed: Path) -> None:
    before = reviewed.read_bytes()
    assert review.run(Home(reviewed.parents[3]), "alder-fork").read_bytes() == before
    metadata = pypdf.PdfReader(reviewed).trailer["/Root"]["/Metadata"].get_data()
    assert b"pdfuaid:part>1<" in metadata


def test_without_published_pumps_there_is_no_page(weekly_made: Path, tmp_path: Path) -> None:
    home = Home(tmp_path / "home")
    shutil.copytree(weekly_made / "plants", home.root / "plants")
    shutil.copytree(weekly_made / "published", home.root / "published")
    shutil.copyfile(Path(__file__).parents[2] / "sample_data" / "plants" / "sorrel-draw.toml", home.plant_file("sorrel-draw"))
    with pytest.raises(DataMissingError, match="no pump of sorrel-draw is published"):
        review.run(home, "sorrel-draw")
    assert not home.reports("sorrel-draw").exists()
