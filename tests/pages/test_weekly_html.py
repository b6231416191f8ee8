"""The HTML twin: same numbers as the PDF, whole in itself; in a real browser: no error, no request, keyboard, accessibility rules, print."""

from __future__ import annotations

import importlib.util
import io
import json
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pypdf
import pytest

from pipelines import report
from pipelines.base.home import Home
from pipelines.report import fleet, language
from tests.pages import browser

TAB, LEFT, HOME_KEY = "\ue004", "\ue012", "\ue011"
in_browser = pytest.mark.skipif(browser.MISSING is not None, reason=str(browser.MISSING))


@pytest.fixture(scope="module")
def twins(weekly_made: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    home = Home(Path(shutil.copytree(weekly_made, tmp_path_factory.mktemp("twins") / "home")))
    return {plant: report.run(home, plant).with_suffix(".html") for plant in ("alder-fork", "brenholm")}


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[browser.Browser]:
    made = browser.Browser(tmp_path_factory.mktemp("profile"))
    yield made
    made.close()


class Texts(HTMLParser):
    """The visible texts of a page, and every address in it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.said: list[str] = []
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self._hidden = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in ("style", "script")
        self.addresses += [v or "" for k, v in attrs if k in ("src", "href", "action", "data", "poster", "srcset")]
        self.ids += [v or "" for k, v in attrs if k == "id"]

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("style", "script")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.said.append(data)


def read(path: Path) -> Texts:
    return Texts(path.read_text(encoding="utf-8"))


def test_the_twin_says_what_the_pdf_says(twins: dict[str, Path]) -> None:
    """Every number of the PDF's text stands in the twin, and every number of the twin's six with its plus-minus in the PDF."""
    for path in twins.values():
        pdf = " ".join(" ".join(sheet.extract_text().split()) for sheet in pypdf.PdfReader(path.with_suffix(".pdf")).pages)
        trail = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        twin = " ".join(" ".join(read(path).said).split())
        for said in (*trail["sentences"], trail["data"], *trail["items"]):
            assert said in twin
            assert " ".join(said.split()) in pdf
        for line in trail["lines"]:
            for number in line["numbers"]:
                if number["table"] == "kpi_week" and number["key"]["week_start_day"] == trail["week_start_day"]:
                    assert re.search(rf"(?<![\d.,]){re.escape(number['text'])}(?![\d])", twin), number
                    assert re.search(rf"(?<![\d.,]){re.escape(number['text'])}(?![\d])", pdf), number


def test_the_twin_is_whole_in_itself_and_its_links_lead_somewhere(twins: dict[str, Path]) -> None:
    for path in twins.values():
        page = read(path)
        outside = [a for a in page.addresses if not a.startswith(("data:", "#"))]
        assert sorted(set(outside)) == sorted({"index.html", path.with_suffix(".pdf").name})
        assert all((path.parent / a).is_file() for a in outside)
        assert len(page.ids) == len(set(page.ids))
        inside = [a[1:] for a in page.addresses if a.startswith("#")]
        assert len(inside) >= 6
        assert set(inside) <= set(page.ids)
        assert path.stat().st_size < 3_000_000


def test_index_lists_weeks_newest_first_and_all_plants_stand_worst_first(
    weekly_home: Home, weekly_change: Callable[[str, str], None]
) -> None:
    weekly_change("alder-fork", "UPDATE flags SET disposition = 'expected'")
    report.run(weekly_home, "brenholm", date(2026, 3, 25))
    latest = report.run(weekly_home, "brenholm")
    report.run(weekly_home, "alder-fork")
    index = read(latest.with_name("index.html"))
    weeks = [a for a in index.addresses if a.endswith(".html")]
    assert weeks == ["brenholm_2026-W14.html", "brenholm_2026-W13.html"]
    assert all((latest.parent / a).is_file() for a in weeks)
    fleet = read(latest.parent.parent / "index.html")
    plants = [a for a in fleet.addresses if a.endswith("/index.html")]
    assert plants == ["brenholm/index.html", "alder-fork/index.html"]  # two open items before none
    assert "nothing" in " ".join(fleet.said)


def test_a_plant_without_the_latest_page_stands_first() -> None:
    def trail(plant: str, week: str, withheld: str | None, doubts: int) -> dict[str, Any]:
        doubted = [{"role": "sludge_flow"}] * doubts
        return {
            "plant": plant,
            "iso_week": week,
            "withheld": withheld,
            "items": ["look"],
            "lines": [{"doubted": doubted, "open_items": [], "provisional": False}],
        }

    t = language.of("en")
    found = [
        trail("a", "2026-W14", None, 0),
        trail("b", "2026-W14", None, 1),
        trail("c", "2026-W14", "no data", 0),
        trail("d", "2026-W13", None, 0),
    ]
    ordered = sorted(found, key=lambda x: fleet._order(x, "2026-W14"))
    assert [x["plant"] for x in ordered] == ["d", "c", "b", "a"]
    assert [fleet.needs(x, "2026-W14", t) for x in ordered] == [
        "no page of 2026-W14 yet; look",
        "no data",
        "doubted: sludge flow meter; look",
        "look",
    ]


def test_texts_of_strangers_stay_texts(weekly_home: Home, weekly_change: Callable[[str, str], None]) -> None:
    weekly_change("alder-fork", "UPDATE flags SET sentence = '<script>alert(1)</script>&\"'")
    page = report.run(weekly_home, "alder-fork").with_suffix(".html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&amp;&quot;" in page


@in_browser
def test_no_error_and_no_request(twins: dict[str, Path], chromium: browser.Browser) -> None:
    for path in (*twins.values(), *(p.with_name("index.html") for p in twins.values()), twins["brenholm"].parent.parent / "index.html"):
        chromium.log("browser")
        chromium.requests()
        chromium.open(path)
        assert chromium.log("browser") == []
        assert chromium.requests() == []
        assert chromium.run("return [...document.images].every(i => i.complete && i.naturalWidth > 0)")


@in_browser
def test_values_are_reached_by_keyboard_and_shown(twins: dict[str, Path], chromium: browser.Browser) -> None:
    chromium.open(twins["alder-fork"])
    focused = "return document.activeElement.closest('.points') ? document.activeElement.innerText : null"
    for _ in range(40):
        chromium.press(TAB)
        if chromium.run(focused) is not None:
            break
    newest = chromium.run(focused)
    assert newest.strip() == "Sun 5 Apr: -"  # the last day: no dose on a Sunday
    for _ in range(2):
        chromium.press(LEFT)
    friday = chromium.run(focused)
    assert re.fullmatch(r"Fri 3 Apr: \d+\.\d", friday.strip())
    assert chromium.run("return getComputedStyle(document.activeElement.firstElementChild).display") == "block"
    chromium.press(HOME_KEY)
    assert chromium.run(focused).strip().startswith("Mon 9 Feb: ")
    before = chromium.run("return document.activeElement.closest('.points').getAttribute('aria-label')")
    chromium.press(TAB)  # one stop a figure
    assert chromium.run("var p = document.activeElement.closest('.points'); return p && p.getAttribute('aria-label')") != before


@in_browser
def test_the_values_lie_over_their_days(twins: dict[str, Path], chromium: browser.Browser) -> None:
    """The axes begin 0.72 inch from the left of 7.3 and end 0.06 inch from the right."""
    chromium.open(twins["alder-fork"])
    left, right, width = chromium.run(
        "var f = document.querySelector('figure'), p = f.querySelector('.points').getBoundingClientRect(), b = f.getBoundingClientRect();"
        "return [p.left - b.left, b.right - p.right, b.width]"
    )
    assert left / width == pytest.approx(0.72 / 7.3, abs=0.002)
    assert right / width == pytest.approx(0.06 / 7.3, abs=0.002)


@in_browser
def test_rules_of_accessibility_hold(twins: dict[str, Path], chromium: browser.Browser) -> None:
    spec = importlib.util.find_spec("axe_core_python")
    if spec is None or spec.origin is None:
        pytest.skip("needs the package axe-core-python, which carries the rules")
    rules = (Path(spec.origin).parent / "axe.min.js").read_text(encoding="utf-8")
    for path in (*twins.values(), twins["brenholm"].with_name("index.html"), twins["brenholm"].parent.parent / "index.html"):
        chromium.open(path)
        chromium.run(rules + "; window.axe = axe;")
        found = chromium.run_async(
            "var done = arguments[0]; axe.run().then(r => done([r.violations.map(v => v.id + ': ' + v.nodes[0].html), r.passes.length]))"
        )
        assert found[0] == [], path
        assert found[1] > 10


@in_browser
def test_print_gives_the_same_texts(twins: dict[str, Path], chromium: browser.Browser) -> None:
    chromium.open(twins["brenholm"])
    printed = pypdf.PdfReader(io.BytesIO(chromium.pdf()))
    text = " ".join(" ".join(sheet.extract_text() for sheet in printed.pages).split())
    trail = json.loads(twins["brenholm"].with_suffix(".json").read_text(encoding="utf-8"))
    for said in trail["sentences"]:
        assert said in text
    assert len(printed.pages) >= len(pypdf.PdfReader(twins["brenholm"].with_suffix(".pdf")).pages)
