"""The index of a plant's weekly pages and the page of all plants, from the trails beside the pages."""

from __future__ import annotations

import json
import re
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

from pipelines.report import html
from pipelines.report.language import Language

# <plant>_2026-W14
_OF_A_WEEK = re.compile(r"_\d{4}-W\d\d$")
_REPLACED = re.compile(r"_rev\d+$")


def trails(folder: Path) -> list[dict[str, Any]]:
    """Return the trails of a plant's pages, newest week first; revisions that were replaced are left out."""
    found = [json.loads(p.read_bytes()) for p in weekly_files(folder)]
    return sorted((x for x in found if "fingerprint" in x), key=lambda x: x["week_start_day"], reverse=True)


def weekly_files(folder: Path) -> list[Path]:
    """Return the trails of weekly pages in a folder of reports: no statement, no revision that was replaced."""
    return sorted(p for p in folder.glob("*.json") if _OF_A_WEEK.search(p.stem))


def index(folder: Path, name: str, t: Language) -> str:
    """Return the index of a plant: its weeks, newest first, with standing and what they said first, and its other pages."""
    rows = "".join(
        f'<tr><th scope="row"><a href="{stem(x)}.html">{escape(x["iso_week"])}</a></th><td>{x["revision"]}</td><td>{escape(state(x, t))}</td>'
        f'<td>{escape(" ".join(x["sentences"][:2]) or x["withheld"] or "")}</td><td><a href="{stem(x)}.pdf" aria-label="PDF {escape(x["iso_week"])}">PDF</a></td></tr>'
        for x in trails(folder)
    )
    heads = (t("fleet.week"), t("fleet.revision"), t("fleet.standing"), t("fleet.said"), "PDF")
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in heads)
    title = t("fleet.index", plant=name)
    return html.document(
        t.code,
        title,
        f"<main><h1>{escape(title)}</h1><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>{_others(folder, t)}</main>",
    )


def _others(folder: Path, t: Language) -> str:
    """Return links to the plant's pages that are of no week: statements, trial plans, the pump condition review."""
    names = [p.name for p in sorted(folder.glob("*.pdf")) if not _OF_A_WEEK.search(p.stem) and not _REPLACED.search(p.stem)]
    links = "".join(f'<li><a href="{quote(name)}">{escape(name)}</a></li>' for name in names)
    return f"<h2>{escape(t('fleet.others'))}</h2><ul>{links}</ul>" if links else ""


def all_plants(reports: Path, t: Language) -> str:
    """Return the page of all plants: one row a plant with its newest week, worst first, with what needs a person."""
    newest = [found for folder in sorted(reports.iterdir()) if folder.is_dir() and (found := _newest(folder)) is not None]
    latest = max((x["iso_week"] for x in newest), default="")
    rows = "".join(
        f'<tr><th scope="row"><a href="{x["plant"]}/index.html">{escape(x.get("name", x["plant"]))}</a></th>'
        f'<td><a href="{x["plant"]}/{stem(x)}.html">{escape(x["iso_week"])}</a></td><td>{escape(state(x, t))}</td><td>{escape(needs(x, latest, t))}</td></tr>'
        for x in sorted(newest, key=lambda x: _order(x, latest))
    )
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in (t("fleet.plant"), t("fleet.week"), t("fleet.standing"), t("fleet.needs")))
    body = f"<main><h1>{escape(t('fleet.title'))}</h1><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></main>"
    return html.document(t.code, t("fleet.title"), body)


def _newest(folder: Path) -> dict[str, Any] | None:
    """Return the trail of a plant's newest week; file names sort by week."""
    names = weekly_files(folder)
    found: dict[str, Any] | None = json.loads(max(names).read_bytes()) if names else None
    return found if found is not None and "fingerprint" in found else None


def stem(trail: dict[str, Any]) -> str:
    """Return the name of a week's files without their ending."""
    return f"{trail['plant']}_{trail['iso_week']}"


def state(trail: dict[str, Any], t: Language) -> str:
    """Return withheld, provisional or final."""
    if trail["withheld"]:
        return t("fleet.withheld")
    return t("standing.provisional") if any(line["provisional"] for line in trail["lines"]) else t("standing.final")


def needs(trail: dict[str, Any], latest: str, t: Language) -> str:
    """Return what needs a person: a page that is missing beside those of other plants (`latest` ISO week), why it is withheld, doubted meters, open items."""
    parts = [t("fleet.late", week=latest)] if trail["iso_week"] < latest else []
    if trail["withheld"]:
        return "; ".join([*parts, str(trail["withheld"])])
    doubted = [t.word("role", d["role"]) for line in trail["lines"] for d in line["doubted"]]
    parts += [t("fleet.doubted", roles=t.joined(doubted))] if doubted else []
    return "; ".join([*parts, *trail["items"]]) or t("fleet.none")


def _order(trail: dict[str, Any], latest: str) -> tuple[bool, bool, int, int, str]:
    """Return the place of a plant: without the latest page first, then withheld, then most doubted meters, then most open items."""
    lines = trail["lines"]
    return (
        trail["iso_week"] >= latest,
        not trail["withheld"],
        -sum(len(x["doubted"]) for x in lines),
        -sum(len(x["open_items"]) for x in lines),
        trail["plant"],
    )
