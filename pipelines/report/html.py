"""The HTML twin of a weekly page: one self-contained file, the same texts and numbers as the PDF, figures whose values can be pointed at."""

from __future__ import annotations

import base64
from html import escape
from typing import Any

from pipelines.base import resources
from pipelines.report import style
from pipelines.report.language import Language

_LEFT, _RIGHT = 100.0 * style.LEFT_IN / style.WIDTH_IN, 100.0 * style.RIGHT_IN / style.WIDTH_IN
_FALLBACK = "'Fira Sans', 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"  # inside a picture a page's own typeface is not known


def document(language: str, title: str, body: str, *, with_script: bool = False) -> str:
    """Return a whole HTML file with the shared style; nothing in it asks for another file."""
    web = resources.folder("pipelines.report") / "web"
    css = (web / "page.css").read_text(encoding="utf-8")
    script = f"<script>{(web / 'page.js').read_text(encoding='utf-8')}</script>" if with_script else ""
    return (
        f'<!DOCTYPE html>\n<html lang="{language}"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">'
        f"<style>{css}</style></head><body>\n{body}\n{script}</body></html>\n"
    )


def week(page: dict[str, Any], trail: dict[str, Any], pdf_name: str, t: Language) -> str:
    """Return the twin of a week: `page` is what the PDF prints, `trail` its numbers with their places."""
    head = (
        f'<nav class="screen"><a href="index.html">{escape(t("fleet.index", plant=page["heading"]))}</a> · <a href="{escape(pdf_name)}">PDF</a></nav>'
        f"<h1>{escape(page['heading'])}</h1><p><strong>{escape(': '.join(x for x in (page['subheading'], page['standing']) if x))}</strong><br>"
        f'<span class="meta">{escape(page["meta"])}</span></p>'
    )
    main = _withheld(page) if page["withheld"] else _first(page, t)
    rest = "" if page["withheld"] else "".join(_line(p, page["words"]) for p in page["pages"]) + _appendix(page, trail, t)
    cautions = f"<section><h2>{escape(page['words']['cautions'])}</h2>{_list(page['cautions'])}</section>"
    return document(page["language"], page["title"], f"<main>{head}{main}{rest}{cautions}</main>", with_script=True)


def _withheld(page: dict[str, Any]) -> str:
    w = page["words"]
    missing = f"<h3>{escape(w['missing_title'])}</h3>{_list(page['reasons'])}" if page["reasons"] else ""
    return (
        f'<h2>{escape(w["withheld_title"])}</h2><p class="framed">{escape(page["withheld"])}</p><p>{escape(w["withheld_why"])}</p>{missing}'
        f"<h3>{escape(w['remedy_title'])}</h3>{_list(page['remedies'])}"
    )


def _first(page: dict[str, Any], t: Language) -> str:
    w = page["words"]
    said = "".join(f"<p>{escape(s)}</p>" for s in page["sentences"])
    items = "".join(f"<li>{escape(i)}.</li>" for i in page["items"])
    more = f"<p>{escape(page['more_items'])}.</p>" if page["more_items"] else ""
    open_items = f"<ol>{items}</ol>{more}" if items else f"<p>{escape(w['no_items'])}</p>"
    money = f"<p><strong>{escape(w['money'])}:</strong> {escape(page['money'])}.</p>" if page["money"] else ""
    return (
        f'<div class="said">{said}</div>{_six(page, t)}{"".join(_figure(c, 2) for c in page["charts"])}{money}<h2>{escape(w["open_items"])}</h2>{open_items}'
        f'<p><strong>{escape(w["data"])}.</strong> {escape(page["data_line"])}</p><p class="meta">{escape(page["legend"])}</p>'
    )


def _six(page: dict[str, Any], t: Language) -> str:
    w = page["words"]
    rows = []
    for k, group in enumerate(page["groups"]):
        if group["name"]:
            rows.append(f'<tr><th colspan="5" scope="colgroup">{escape(group["name"])}</th></tr>')
        if group["withheld"]:
            rows.append(f'<tr><td colspan="5">{escape(group["withheld"])}</td></tr>')
        for r in group["rows"]:
            trend = f'<img src="{_data(r["trend"])}" alt="{escape(r["trend_alt"])}" width="120">' if r["trend"] else ""
            value = escape(r["value"]) if r["value"] == "-" else f'<a href="#{place(k, r["kpi"])}">{escape(r["value"])}</a>'
            rows.append(
                f'<tr><th scope="row">{escape(r["label"])}<span class="small">{escape(r["unit"])}</span></th><td class="number">{value}</td><td>{trend}</td>'
                f"<td>{escape(r['baseline'])}</td><td>{escape(r['target'])}</td></tr>"
            )
    titles = (t("number_head"), w["this_week"], w["trend"], w["against_baseline"], w["against_target"])
    head = "".join(f'<th scope="col">{escape(x)}</th>' for x in titles)
    return f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(t("six"))}"><table><thead><tr>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table></div>'


def place(line: int, kpi: str) -> str:
    """Return the anchor of what a number rests on."""
    return f"n-{line}-{kpi}"


def _figure(chart: dict[str, Any], level: int) -> str:
    title = f"<h{level}>{escape(chart['title'])}</h{level}>"
    picture = f'<figure><img src="{_data(chart["svg"])}" alt="{escape(chart["alt"])}">{_points(chart)}</figure>'
    note = f'<p class="meta">{escape(chart["note"])}</p>' if chart["note"] else ""
    return f"<div>{title}{picture}{note}</div>"


def _points(chart: dict[str, Any]) -> str:
    """Return the values of a figure of days, each under its day: shown when pointed at or reached by the arrow keys."""
    if not chart["points"]:
        return ""
    last = len(chart["points"]) - 1
    items = "".join(
        f'<li tabindex="{0 if k == last else -1}"><span>{escape(day)}: {escape(value)}</span></li>'
        for k, (day, value) in enumerate(chart["points"])
    )
    return f'<ul class="points" aria-label="{escape(chart["title"])}" style="left:{_LEFT:.2f}%;right:{_RIGHT:.2f}%">{items}</ul>'


def _data(svg: str) -> str:
    text = svg.replace("'Fira Sans'", _FALLBACK)
    return f"data:image/svg+xml;base64,{base64.b64encode(text.encode()).decode()}"


def _line(p: dict[str, Any], w: dict[str, str]) -> str:
    large = "".join(_figure(c, 3) for c in p["charts"] if not c["half"])
    small = "".join(_figure(c, 3) for c in p["charts"] if c["half"])
    note = f'<p class="meta">{escape(p["note"])}</p>' if p["note"] else ""
    more = f"<p>{escape(p['more_flags'])}</p>" if p["more_flags"] else ""
    flags = f"<p>{escape(w['no_flags'])}</p>" if not p["flags"] else _flags(p["flags"], w)
    return f'<section><h2>{escape(p["heading"])}</h2>{large}<div class="small-figures">{small}</div>{note}<h3>{escape(w["flags_title"])}</h3>{flags}{more}</section>'


def _flags(flags: list[dict[str, str]], w: dict[str, str]) -> str:
    columns = ("cause", "when", "lasted", "severity", "seen", "look", "disposition")
    head = "".join(f'<th scope="col">{escape(w[f"flags.{c}"])}</th>' for c in columns)
    rows = "".join("<tr>" + "".join(f"<td>{escape(f[c])}</td>" for c in columns) + "</tr>" for f in flags)
    return _table(w["flags_title"], head, rows)


def _table(name: str, head: str, rows: str) -> str:
    return f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(name)}"><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'


def _appendix(page: dict[str, Any], trail: dict[str, Any], t: Language) -> str:
    a = page["appendix"]
    head = "".join(f'<th scope="col">{escape(x)}</th>' for x in a["quality_head"])
    rows = "".join("<tr>" + "".join(f"<td>{escape(x)}</td>" for x in row) + "</tr>" for row in a["quality"])
    quality = _table(a["quality_title"], head, rows) if rows else f"<p>{escape(a['whole'])}</p>"
    texts = "".join(f"<h3>{escape(b['title'])}</h3>{_list(b['items'])}" for b in a["texts"])
    return f"<section><h2>{escape(a['heading'])}</h2><h3>{escape(a['quality_title'])}</h3>{quality}{texts}{_trace(trail, t)}</section>"


def _trace(trail: dict[str, Any], t: Language) -> str:
    """Return where each number of the week comes from, with the command that traces it to the raw lines."""
    rows = []
    for k, line in enumerate(trail["lines"]):
        for n in line["numbers"]:
            if n["table"] != "kpi_week" or n["key"]["week_start_day"] != trail["week_start_day"]:
                continue
            command = f"flocledger trace {n['column']} --plant {trail['plant']} --line {line['line']} --table kpi_week --day {trail['week_start_day']}"
            stored = "-" if n["stored"] is None else f"{n['stored']:.10g}"
            rows.append(
                f'<tr id="{place(k, n["column"])}"><td>{escape(n["name"])}</td><td>{escape(n["text"])} {escape(n["unit"])}</td><td>{stored}</td><td><code>{escape(command)}</code></td></tr>'
            )
    head = "".join(f'<th scope="col">{escape(t(x))}</th>' for x in ("number_head", "this_week", "stored_head", "trace_head"))
    return f"<h3>{escape(t('trace_title'))}</h3>{_table(t('trace_title'), head, ''.join(rows))}"


def _list(items: list[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(i)}</li>' for i in items)}</ul>"
