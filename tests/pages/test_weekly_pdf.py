"""The weekly PDF as a reader gets it: text, fonts, pages, tags, same bytes; and the page that withholds."""

from __future__ import annotations

import json
import os
import re
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
from pipelines.report import language
from pipelines.report.weekly import events, read
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


def words_on(path: Path) -> int:
    """Words of page 1 outside its figures: what begins with a letter and has two; numbers and signs are none."""
    content = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert content["withheld"] is None
    text = pypdf.PdfReader(path).pages[0].extract_text()
    months = {m[:3] for t in (language.of("en"), language.of("da")) for m in t.months}
    return len([w for w in re.findall(r"[^\W\d_][^\W\d_'-]+", text) if w not in months])


def test_names_and_places(pages: dict[str, Path]) -> None:
    assert pages["alder-fork"].name == "alder-fork_2026-W14.pdf"
    assert pages["alder-fork"].parent.name == "alder-fork"
    assert sorted(p.name for p in pages["brenholm"].parent.iterdir()) == [
        "brenholm_2026-W14.html", "brenholm_2026-W14.json", "brenholm_2026-W14.pdf", "index.html",
    ]  # fmt: skip


def test_first_page_in_us_units(pages: dict[str, Path]) -> None:
    first = text_of(pages["alder-fork"])[0]
    # kpi_week of the fixture: 9.9 + 0.56 = 10.46 kg/t = 20.92 lb/dt; 81 t = 89.29 short tons; 31 kPa = 4.496 psi; 412/t = 373.8 per short ton.
    assert "Belt press 1 used 20.9 lb of active polymer per dry ton" in first
    assert "Belt press 1 ran 40.0 hours on 5 days and dewatered 89 dry tons" in first
    assert "Mon 30 Mar to Sun 5 Apr 2026; report alder-fork-2026-W14, revision 0; data of 2026-04-06 07:05, America/New_York" in first
    assert "Two open items. First: Belt press 1" in first
    for needed in ("Belt press 1", "Belt press 2", "invented demonstration data", "provisional", "Mixing pressure psi at 400 gpm", "4.5", "370",
                   "at most 22: in target", "Advisory only", "12 rows set aside", "page 1 of 4", "baseline, 80 % of days", "target"):  # fmt: skip
        assert needed in first, needed


def test_first_page_in_danish_and_si_units(pages: dict[str, Path]) -> None:
    first = text_of(pages["brenholm"])[0]
    for needed in ("Brenholm Renseanlæg", "10,5 kg aktivt pr. ton TS", "81 ton TS", "31,0", "Slamafvanding, uge 2026-W14: foreløbig", "EUR pr. ton TS",
                   "man 30. mar til søn 5. apr 2026", "Åbne punkter", "side 1 af 3", "Kun vejledende"):  # fmt: skip
        assert needed in first, needed
    everywhere = " ".join(text_of(pages["brenholm"]))
    english = (
        "this week",
        "baseline",
        "target",
        "dose",
        "Open items",
        "processing",
        "weighted",
        "valid minutes",
        "Cautions",
        "capture",
        "dry",
        "and ",
    )
    assert [w for w in english if re.search(rf"\b{w.strip()}\b", everywhere)] == []
    appendix = " ".join(text_of(pages["brenholm"])[-1:])
    assert "og slamflowmåleren 97 % 7 af 2.400 1 min" in appendix


def test_page_1_is_read_in_a_minute(pages: dict[str, Path]) -> None:
    """220 words for one line; each further line of a plant brings its own numbers and figure."""
    assert words_on(pages["brenholm"]) <= 220
    assert words_on(pages["alder-fork"]) <= 220 + 110


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
    assert [(e.day, e.what[:16]) for e in found] == [(date(2026, 3, 2), "feed pump with i"), (date(2026, 3, 3), "new pump (P-111)")]


def test_later_pages_have_figures_with_real_text_and_flags(pages: dict[str, Path]) -> None:
    first, second, third, last = text_of(pages["alder-fork"])
    for needed in ("rolling 7 days", "operating day", "9 Feb", "30 Mar"):
        assert needed in first, needed
    for needed in ("baseline days (n = ", "this week (n = 5)", "sample", "idle running", "feed pump with injection at the pump in service",
                   "Mixing pressure against flow: 4.5 psi at 400 gpm", "check this week", "Tue 31 Mar 06:00", "disposition", "Flags of the week, by cause"):  # fmt: skip
        assert needed in second, needed
    assert "Belt press 2: figures of the last 8 weeks" in third
    assert "No flags." in third
    for needed in ("polymer over dry solids in valid minutes; 5 of 5 days", "Signals with gaps", "Rows set aside, by reason", "flocledger 0.1.0; plant file",
                   "Dry ton: 2,000 lb of dry solids", "holds for about 95 of 100 weeks if the errors"):  # fmt: skip
        assert needed in last, needed


def test_cautions_stand_on_the_last_page(pages: dict[str, Path]) -> None:
    for plant, path in pages.items():
        last = text_of(path)[-1]
        for sentence in language.of("da" if plant == "brenholm" else "en").cautions:
            assert " ".join(sentence.split()[:6]) in last


def test_page_counts(pages: dict[str, Path]) -> None:
    assert {plant: len(pypdf.PdfReader(p).pages) for plant, p in pages.items()} == {"alder-fork": 4, "brenholm": 3}
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
    assert b"pdfaid:part>2<" in root["/Metadata"].get_data()
    assert b"pdfaid:conformance>A<" in root["/Metadata"].get_data()
    alts = [str(d["/Alt"]) for d in everything(root["/StructTreeRoot"], set()) if "/Alt" in d]
    assert len(alts) == 2 * (5 + 6)  # each line: dose, product, two clouds and the strip; six trends
    assert any(a.startswith("Polymer dose: 39 values, from ") for a in alts)
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
        assert checked >= 50 * len(trail["lines"])
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
    assert "Rapporten tilbageholdes" in pages[0]
    assert "Ugens tal rapporteres ikke: driftstilstanden er ukendt i 60 % af ugen." in pages[0]
    assert "10,5" not in pages[0]
    assert "Kun vejledende" in pages[0]
    trail = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert trail["withheld"] == "Ugens tal rapporteres ikke: driftstilstanden er ukendt i 60 % af ugen."
    assert trail["lines"][0]["numbers"] == []


def test_one_line_is_withheld_and_the_other_reported(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change(
        "alder-fork",
        "UPDATE data_quality SET missing_processing_minutes = processing_minutes WHERE line = 'line-2' AND role = 'sludge_flow'",
    )
    pages = text_of(report.run(weekly_home, "alder-fork"))
    assert len(pages) == 3
    assert "Numbers of Belt press 2 are withheld: the sludge flow meter is missing in 100 % of the processing minutes." in pages[0]
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
    blocks = toml.read_text(encoding="utf-8").split("\n\n")
    toml.write_text("\n\n".join(b for b in blocks if "[[targets]]" not in b), encoding="utf-8")
    weekly_change("brenholm", "UPDATE kpi_day SET mixing_dp_ref_kpa = NULL, capture_pct = NULL")
    pages = text_of(report.run(weekly_home, "brenholm"))
    assert "i mål" not in pages[0]
    assert "ingen værdier i disse uger" in pages[1]


def test_what_has_no_signal_has_no_row_and_no_figure(weekly_home: Home, weekly_change: Change) -> None:
    toml = weekly_home.plant_file("brenholm")
    blocks = toml.read_text(encoding="utf-8").split("\n\n")
    toml.write_text("\n\n".join(b for b in blocks if "mixing_upstream_pressure" not in b), encoding="utf-8")
    weekly_change("brenholm", "UPDATE kpi_day SET mixing_dp_ref_kpa = NULL")
    weekly_change("brenholm", "UPDATE kpi_week SET mixing_dp_ref_kpa = NULL")
    pages = text_of(report.run(weekly_home, "brenholm"))
    assert "Blandetryk" not in pages[0] + pages[1]
    assert "intet signal til det i anlægsfilen" in pages[-1]


def test_another_paper(weekly_home: Home) -> None:
    toml = weekly_home.plant_file("brenholm")
    toml.write_text(toml.read_text(encoding="utf-8").replace('units = "SI"', 'units = "SI"\npaper = "us-letter"'), encoding="utf-8")
    sheet = pypdf.PdfReader(report.run(weekly_home, "brenholm")).pages[0]
    assert [round(float(x)) for x in sheet.mediabox[2:]] == [612, 792]


def test_a_page_that_says_something_else_is_a_revision_and_the_earlier_one_is_kept(weekly_home: Home, weekly_change: Change) -> None:
    path = report.run(weekly_home, "alder-fork")
    before = path.read_bytes()
    assert report.run(weekly_home, "alder-fork").read_bytes() == before  # the same data: the same page, no revision
    assert [p.name for p in path.parent.glob("*_rev*")] == []
    weekly_change(
        "alder-fork",
        "UPDATE kpi_week SET dose_active_kg_t = 9.0, polymer_active_kg = 9.0 * dry_solids_t WHERE week_start_day = DATE '2026-03-30' AND line = 'line-1'",
    )
    pages = text_of(report.run(weekly_home, "alder-fork"))
    assert "revision 1" in pages[0]
    assert "What changed since revision 0" in pages[-1]
    assert "Belt press 1, Polymer dose, this week: 20.9 to 18.0" in pages[-1]
    assert path.with_name("alder-fork_2026-W14_rev0.pdf").read_bytes() == before
    again = path.read_bytes()
    assert report.run(weekly_home, "alder-fork").read_bytes() == again


def test_poppler_has_nothing_to_say(pages: dict[str, Path]) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("needs pdftotext of poppler-utils")
    for path in pages.values():
        done = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, text=True, check=True)
        assert done.stderr == ""
        assert path.stat().st_size < 1_000_000


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
  f.flag_id || '-' || l.line || '-' || k AS flag_id, f.flag_id || '-' || l.line || '-' || k AS cause_id, l.line AS line, 'flag ' || k || ': ' || repeat('many words of what was seen ', 4) AS sentence,
  repeat('many words of what to look at ', 4) AS suggestion) FROM flags f, (VALUES ('line-1'), ('line-2')) l(line), range(30) r(k) WHERE f.severity = 'check today'"""


def test_a_week_full_of_flags_keeps_its_first_page(weekly_home: Home, weekly_change: Change) -> None:
    weekly_change("alder-fork", MANY)
    pages = text_of(report.run(weekly_home, "alder-fork"))
    assert "page 1 of" in pages[0]
    assert "and 59 more in the table of flags" in pages[0]
    everywhere = " ".join(pages)
    assert "9 more flags are in the table flags." in everywhere  # 30 + 2 + a note, 24 shown: of the first line 33 - 24 = 9
    assert "Cautions Advisory only" not in pages[-1] or not pages[-1].startswith("Cautions")
