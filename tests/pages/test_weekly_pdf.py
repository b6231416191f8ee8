"""The weekly PDF as a reader gets it: text, fonts, pages, tags, same bytes; and the page that withholds."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest

from pipelines import report
from pipelines.base.errors import DataMissingError
from pipelines.base.home import Home
from pipelines.plant import loader
from pipelines.report import cautions, words
from pipelines.report.weekly import events, figures, page, read
from pipelines.report.words import Limits
from pipelines.store import connect

ROOT = Path(__file__).resolve().parents[2]
Change = Callable[[str, str], None]


@pytest.fixture(scope="session")
def pages(weekly_made: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The page of each plant, written once into a copy that has no stores."""
    home = Home(Path(shutil.copytree(weekly_made, tmp_path_factory.mktemp("pages") / "home")))
    shutil.rmtree(home.root / "store")  # the published file alone must do
    shutil.rmtree(home.parquet)
    return {plant: report.run(home, plant) for plant in ("alder-fork", "brenholm")}


def text_of(path: Path) -> list[str]:
    return [" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(path).pages]


def everything(node: Any, seen: set[int]) -> Iterator[Any]:
    """Every dictionary below a PDF object, each once."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if id(node) in seen:
        return
    seen.add(id(node))
    if isinstance(node, dict):
        yield node
        for key, value in node.items():
            if key not in ("/P", "/Parent", "/Pg"):
                yield from everything(value, seen)
    elif isinstance(node, list):
        for value in node:
            yield from everything(value, seen)


def test_names_and_places(pages: dict[str, Path]) -> None:
    assert pages["alder-fork"].name == "alder-fork_2026-W14.pdf"
    assert pages["alder-fork"].parent.name == "alder-fork"
    assert sorted(p.name for p in pages["brenholm"].parent.iterdir()) == ["brenholm_2026-W14.json", "brenholm_2026-W14.pdf"]


def test_first_page_in_us_units(pages: dict[str, Path]) -> None:
    first = text_of(pages["alder-fork"])[0]
    # kpi_week of the fixture: 9.9 + 0.56 = 10.46 kg/t = 20.92 lb/dt; 81 t = 89.29 short tons; 31 kPa = 4.496 psi; 412/t = 373.8 per short ton.
    assert "polymer was 20.9 lb active per short dry ton (provisional)" in first
    assert "was fed 89 short dry tons" in first
    assert "Reporting week 2026-W14: Mon 30 Mar 2026 06:00 to Mon 6 Apr 2026 06:00, America/New_York." in first
    assert "Data known as at 2026-04-06 07:05; rows of the week set aside: 12." in first
    assert "Two things need a decision, the first: Polymer flow was 6 gpm" in first
    for needed in ("Belt press 1", "Belt press 2", "invented demonstration data", "provisional", "Mixing pressure drop at 400 gpm", "4.5", "370",
                   "in target; within usual range", "17 to 24", "at most 22", "Advisory only", "5 of 5 days", "page 1 of 3", "Open items. None."):  # fmt: skip
        assert needed in first, needed


def test_first_page_in_si_units(pages: dict[str, Path]) -> None:
    first = text_of(pages["brenholm"])[0]
    for needed in ("Brenholm Renseanlæg", "10.5 kg active per tonne dry solids", "81 tonnes dry solids", "31.0", "8.5 to 12", "EUR per tonne dry solids fed",
                   "sludge flow meter 97 % 7 of 2,400 1 min", "page 1 of 2"):  # fmt: skip
        assert needed in first, needed
    assert "lb" not in first.replace("calibration", "").split()


def test_events_of_a_line_are_those_of_its_shown_weeks(weekly_home: Home) -> None:
    toml = weekly_home.plant_file("alder-fork")
    toml.write_text(toml.read_text(encoding="utf-8") + '[[events]]\nline = "line-1"\nat = 2025-12-30\nwhat = "long ago"\n' +
                    '[[events]]\nline = "line-2"\nat = 2026-03-20\nwhat = "other line"\n', encoding="utf-8")  # fmt: skip
    found = events.of_line(read.week(weekly_home, "alder-fork", None), "line-1", loader.load(toml))
    # The service log has a new pump on the day of the event: one mark, with the words of the event.
    assert [(e.day, e.what[:9]) for e in found] == [(date(2026, 3, 3), "feed pump")]
    text = toml.read_text(encoding="utf-8").replace(
        '[[events]]\nline = "line-1"\nat = 2026-03-03', '[[events]]\nline = "line-1"\nat = 2026-03-02'
    )
    toml.write_text(text, encoding="utf-8")
    found = events.of_line(read.week(weekly_home, "alder-fork", None), "line-1", loader.load(toml))
    assert [(e.day, e.what[:16]) for e in found] == [(date(2026, 3, 2), "feed pump with i"), (date(2026, 3, 3), "new pump (P-110)")]


def test_second_page_has_charts_with_real_text_and_flags(pages: dict[str, Path]) -> None:
    second = text_of(pages["alder-fork"])[1]
    for needed in ("rolling 7 days", "operating day", "usual range", "sample", "idle running", "9 Feb", "30 Mar", "event 1",
                   "feed pump with injection at the pump in service", "check this week", "Tue 31 Mar 06:00", "disposition"):  # fmt: skip
        assert needed in second, needed


def test_cautions_stand_on_the_last_page(pages: dict[str, Path]) -> None:
    for path in pages.values():
        last = text_of(path)[-1]
        for sentence in cautions.CAUTIONS:
            assert " ".join(sentence.split()[:6]) in last


def test_page_counts(pages: dict[str, Path]) -> None:
    assert {plant: len(pypdf.PdfReader(p).pages) for plant, p in pages.items()} == {"alder-fork": 3, "brenholm": 2}
    sizes = {plant: tuple(round(float(x)) for x in pypdf.PdfReader(p).pages[0].mediabox[2:]) for plant, p in pages.items()}
    assert sizes == {"alder-fork": (612, 792), "brenholm": (595, 842)}  # US letter and A4 in points


def test_fonts_are_embedded_and_only_the_shipped_typeface(pages: dict[str, Path]) -> None:
    for path in pages.values():
        reader = pypdf.PdfReader(path)
        found = {
            str(d["/FontName"]): d
            for sheet in reader.pages
            for d in everything(sheet["/Resources"], set())
            if d.get("/Type") == "/FontDescriptor"
        }
        assert found
        for name, descriptor in found.items():
            assert "FiraSans" in name
            assert descriptor.keys() & {"/FontFile2", "/FontFile3"}


def test_no_glyph_is_missing(pages: dict[str, Path]) -> None:
    for path in pages.values():
        for text in text_of(path):
            assert not set(text) & {"\ufffd", "\x00", "\u25a1"}


def test_title_language_tags_and_alternative_texts(pages: dict[str, Path]) -> None:
    reader = pypdf.PdfReader(pages["alder-fork"])
    assert reader.metadata is not None
    assert reader.metadata.title == "Alder Fork Water Reclamation Facility: sludge dewatering, week 2026-W14"
    root = reader.trailer["/Root"]
    assert str(root["/Lang"]).startswith("en")
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid:part>1<" in root["/Metadata"].get_data()
    alts = [str(d["/Alt"]) for d in everything(root["/StructTreeRoot"], set()) if "/Alt" in d]
    assert len(alts) == 2 * (4 + 3)  # each line: four charts, three range bars
    assert any(a.startswith("Daily polymer dose with rolling 7-day line: ") for a in alts)
    assert reader.metadata.creation_date is not None
    assert reader.metadata.creation_date.isoformat().startswith("2026-04-06T11:05:00")  # when the data were known, not when it was made


def test_same_data_same_bytes_in_another_process_zone_and_hash_seed(pages: dict[str, Path], weekly_home: Home) -> None:
    code = "import sys; from pathlib import Path; from pipelines import report; from pipelines.base.home import Home; print(report.run(Home(Path(sys.argv[1])), 'alder-fork'))"
    surroundings = os.environ | {"TZ": "Asia/Tokyo", "PYTHONHASHSEED": "77", "LC_ALL": "C"}
    done = subprocess.run(
        [sys.executable, "-c", code, str(weekly_home.root)], cwd=ROOT, env=surroundings, capture_output=True, text=True, check=True
    )
    again = Path(done.stdout.strip())
    assert again.read_bytes() == pages["alder-fork"].read_bytes()
    assert again.with_suffix(".json").read_bytes() == pages["alder-fork"].with_suffix(".json").read_bytes()


def test_every_number_can_be_found_again(pages: dict[str, Path]) -> None:
    for plant, path in pages.items():
        trail = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        con = connect(path.parents[2] / "flocledger.duckdb", read_only=True)
        checked = 0
        for line in trail["lines"]:
            for number in line["numbers"]:
                where = " AND ".join(f"{k} = ${k}" for k in number["key"])
                stored = con.execute(f"SELECT {number['column']} FROM {number['table']} WHERE {where}", number["key"]).fetchall()
                assert stored == [(number["stored"],)], number
                checked += 1
        con.close()
        assert checked >= 60 * len(trail["lines"])
        assert trail["plant"] == plant
        assert trail["withheld"] is None


def test_week_is_the_one_that_holds_the_day(weekly_home: Home) -> None:
    assert report.run(weekly_home, "alder-fork", date(2026, 3, 25)).name == "alder-fork_2026-W13.pdf"
    assert report.run(weekly_home, "alder-fork", date(2026, 3, 29)).name == "alder-fork_2026-W13.pdf"


def test_default_is_the_last_whole_week(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("brenholm", "DELETE FROM kpi_day WHERE operating_day = DATE '2026-04-05'")  # the week's last day is not there yet
    assert report.run(weekly_home, "brenholm").name == "brenholm_2026-W13.pdf"


def test_withheld_page_says_why(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("brenholm", "UPDATE kpi_week SET unknown_minutes = 6000 WHERE week_start_day = DATE '2026-03-30'")
    path = report.run(weekly_home, "brenholm")
    pages = text_of(path)
    assert len(pages) == 1
    assert "Report withheld" in pages[0]
    assert "The numbers of this week are not reported: the running state is unknown for 60 % of the week." in pages[0]
    assert "10.5" not in pages[0]
    assert "Advisory only" in pages[0]
    trail = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert trail["withheld"] == "the running state is unknown for 60 % of the week"
    assert trail["lines"][0]["numbers"] == []


def test_heading_names_the_line_that_is_provisional(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("alder-fork", "UPDATE kpi_week SET is_provisional = FALSE WHERE line = 'line-1'")
    first = text_of(report.run(weekly_home, "alder-fork"))[0]
    assert "provisional: Belt press 2 invented" in first


def test_one_line_is_withheld_and_the_other_reported(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change(
        "alder-fork",
        "UPDATE data_quality SET missing_processing_minutes = processing_minutes WHERE line = 'line-2' AND role = 'sludge_flow'",
    )
    pages = text_of(report.run(weekly_home, "alder-fork"))
    assert len(pages) == 2
    assert "Numbers of this line are withheld: the sludge flow meter is missing in 100 % of the processing minutes." in pages[0]
    assert "20.9" in pages[0]


@pytest.mark.parametrize("day", [date(2030, 3, 4), date(2026, 4, 6), date(2020, 1, 6)])
def test_a_week_outside_the_data_or_not_yet_over_has_no_page(day: date, weekly_home: Home) -> None:
    with pytest.raises(DataMissingError, match=r"do not hold the whole reporting week .* they reach from 2026-02-02 to 2026-04-05"):
        report.run(weekly_home, "alder-fork", day)
    assert not weekly_home.reports("alder-fork").exists()


@pytest.mark.parametrize(
    "as_of, week",
    [
        (datetime(2026, 4, 6, 9, 30, tzinfo=UTC), "2026-W13"),  # 05:30 of Monday in plant time: the operating day of Sunday is not over
        (datetime(2026, 4, 6, 12, tzinfo=UTC), "2026-W14"),
        (datetime(2026, 4, 12, 12, tzinfo=UTC), "2026-W14"),
    ],
)
def test_without_a_week_the_page_is_of_the_one_that_has_ended(as_of: datetime, week: str, weekly_home: Home) -> None:
    assert report.run(weekly_home, "alder-fork", as_of=as_of).stem == f"alder-fork_{week}"


def test_a_missed_night_is_said_and_no_older_page_is_written_again(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("alder-fork", "DELETE FROM kpi_day WHERE operating_day = DATE '2026-04-05'")
    with pytest.raises(DataMissingError, match="2026-W14, 2026-03-30 to 2026-04-05: they reach from 2026-02-02 to 2026-04-04"):
        report.run(weekly_home, "alder-fork", as_of=datetime(2026, 4, 6, 12, tzinfo=UTC))
    assert not weekly_home.reports("alder-fork").exists()


def test_week_with_gaps_and_without_limits_still_draws(weekly_home: Home, weekly_change: Change) -> None:
    toml = weekly_home.plant_file("brenholm")
    toml.write_text(toml.read_text(encoding="utf-8").split("[[targets]]")[0], encoding="utf-8")
    weekly_change("brenholm", "UPDATE kpi_day SET mixing_dp_ref_kpa = NULL, capture_pct = NULL")
    pages = text_of(report.run(weekly_home, "brenholm"))
    assert "no target set" in pages[0]
    assert pages[1].count("no values in these weeks") == 2


def test_what_has_no_signal_has_no_chart(weekly_home: Home, weekly_change: Change) -> None:
    toml = weekly_home.plant_file("brenholm")
    blocks = toml.read_text(encoding="utf-8").split("\n\n")
    toml.write_text("\n\n".join(b for b in blocks if "mixing_upstream_pressure" not in b), encoding="utf-8")
    weekly_change("brenholm", "UPDATE kpi_day SET mixing_dp_ref_kpa = NULL")
    weekly_change("brenholm", "UPDATE kpi_week SET mixing_dp_ref_kpa = NULL")
    pages = text_of(report.run(weekly_home, "brenholm"))
    assert "not measured here" in pages[0]
    assert "Mixing pressure drop" not in pages[1]


def test_nothing_published(tmp_path: Path, weekly_home: Home) -> None:
    empty = Home(tmp_path / "empty")
    shutil.copytree(weekly_home.root / "plants", empty.root / "plants")
    with pytest.raises(DataMissingError):
        report.run(empty, "alder-fork")
    sorrel = weekly_home.plant_file("sorrel-draw")
    shutil.copyfile(ROOT / "sample_data" / "plants" / "sorrel-draw.toml", sorrel)
    with pytest.raises(DataMissingError, match="nothing is published for sorrel-draw"):
        report.run(weekly_home, "sorrel-draw")


MANY = """INSERT INTO flags SELECT f.* REPLACE (
  f.flag_id || '-' || l.line || '-' || k AS flag_id, l.line AS line, 'flag ' || k || ': ' || repeat('many words of what was seen ', 4) AS sentence,
  repeat('many words of what to look at ', 4) AS suggestion) FROM flags f, (VALUES ('line-1'), ('line-2')) l(line), range(9) r(k) WHERE f.severity = 'check today'"""


def test_a_week_full_of_flags_keeps_its_pages(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("alder-fork", MANY)
    pages = text_of(report.run(weekly_home, "alder-fork"))
    assert len(pages) == 4  # both blocks on the first, a page a line, then the rest
    assert "Cautions on the last page." in pages[0]
    assert "Belt press 2: the last 8 weeks" in pages[2]
    everywhere = " ".join(pages)
    assert all(f"flag {k}:" in everywhere for k in range(9))
    assert "More flags of the week" in pages[2] + pages[3]


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_cautions_never_stand_alone_on_a_page(count: int, weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("alder-fork", MANY.replace("range(9)", f"range({count})").replace("('line-1'), ", ""))
    pages = text_of(report.run(weekly_home, "alder-fork"))
    assert "Cautions Advisory only" in pages[-1]
    assert not pages[-1].startswith("Cautions")
    assert all(sum(f"flag {k}:" in text for text in pages[2:]) == 1 for k in range(count))


def test_flags_fit_by_the_length_of_their_texts() -> None:
    short, long = {"sentence": "x", "suggestion": "y"}, {"sentence": "x" * 400, "suggestion": "y"}
    # A short row takes 2.4 + 3.2 = 5.6 mm of 44: seven of them 39.2, eight 44.8; a long one takes 2.4 + 10 x 3.2 = 34.4.
    assert page.fitting((short,) * 20) == 7
    assert page.fitting((long, short, short)) == 2
    assert page.fitting((long, long)) == 1
    assert page.fitting(({"sentence": "x" * 4000, "suggestion": ""},)) == 1
    assert page.fitting(()) == 0
    assert page.fitting((short,) * 20, 30.0) == 5


def test_gap_is_drawn_as_a_gap() -> None:
    days = [date(2026, 3, 1 + k) for k in range(5)]
    printed = words.six("SI", {"reference_flow_m3_h": 18.0, "currency": "EUR"})[5]

    def moves(values: list[float | None], *marks: figures.Mark) -> int:
        svg = figures.mixing(days, values, printed, Limits(), 2, list(marks))
        line = next(p for p in svg.split("<path d=")[1:] if "stroke: #000000; stroke-width: 0.5" in p and "clip-path" in p)
        return line.split('"')[1].count("M")

    assert moves([1.0, 2.0, 3.0, 4.0, 5.0]) == 1
    assert moves([1.0, 2.0, None, 4.0, 5.0]) == 2
    assert moves([1.0, 2.0, 3.0, 4.0, 5.0], figures.Mark(days[3], 1)) == 2  # no line is drawn through an event


def test_range_bar_marks() -> None:
    printed = words.six("SI", {"reference_flow_m3_h": 18.0, "currency": "EUR"})[1]
    limits = Limits(at_least=21.0, usual=(20.0, 24.0))
    assert figures.range_bar(22.0, None, printed, Limits()) is None
    middle = figures.range_bar(22.0, 23.0, printed, limits)
    assert middle is not None
    # The scale runs from 16 to 28: 22 is its middle, x = 4 + 82 / 2 = 45; 23 lies at 4 + 82 x 7/12 = 51.83.
    assert '<polygon points="45.00,4.50 ' in middle
    assert 'cx="51.83"' in middle
    beyond = figures.range_bar(40.0, None, printed, limits)
    assert beyond is not None
    assert beyond.count("<circle") == 0
    assert '<polygon points="82.10,4.50 89.90,9.00 82.10,13.50"' in beyond
    assert "color" not in beyond


@pytest.mark.parametrize("value, top", [(1.0, 1.0), (1.01, 1.5), (4.6, 5.0), (34.0, 40.0), (100.0, 100.0), (101.0, 150.0)])
def test_axis_tops_are_round(value: float, top: float) -> None:
    assert figures._round_up(value) == pytest.approx(top)
