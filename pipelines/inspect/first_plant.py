"""A first plant file from a folder of exports: it runs as it is, each guess rated by its evidence, each open question marked."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipelines.base import units
from pipelines.files.original import FileRefusedError
from pipelines.inspect import Inspection, blocks, run
from pipelines.inspect.survey import TagSurvey
from schemas.roles import ROLES

_DEVICES = {  # words of tags, file names, titles and columns -> device; the first that is met counts
    "centrifuge": re.compile("centrifug|zentrifug|centrat|zentrat|decanter|dekanter|wirowk|bowl"),
    "screw press": re.compile("screw|schnecken|vis "),
    "rotary press": re.compile("rotary"),
    "belt press": re.compile(
        r"belt|siebband|presse|prensa|prasa|(?<!charge )(?<!suction )(?<!inlet )(?<!outlet )(?<!disch )(?<!suct )\bpress(es)?\b"
    ),
}
_CUTOFF_SHARE = 0.05  # of the largest flow seen: below it nothing counts as fed (rule of this project)


@dataclass
class _Found:
    """What the files of a folder say: one inspection a shape of file, tags with the words of all files, trouble."""

    inspections: dict[str, Inspection] = field(default_factory=dict)
    tags: dict[str, TagSurvey] = field(default_factory=dict)
    troubled: list[str] = field(default_factory=list)


def new_plant(files: Sequence[Path], *, plant_id: str, time_zone: str) -> str:
    """Return the text of a plant file for a folder of exports and lab sheets."""
    found = _inspected(files, time_zone)
    lines = _lines(found)
    live = _live(found, lines)
    signals = [blocks.signal_block(tag, f"line-{lines[name]}", is_live=name in live) for name, tag in found.tags.items()]
    if not live:
        signals.insert(
            0, f"{blocks.QUESTION} no file tells the role of any tag: take the # away from at least one block below and complete it\n"
        )
    layouts = [i.layout_toml for i in found.inspections.values()]
    layouts += [said for i in found.inspections.values() if (said := blocks.lab_words(i.proposal))]
    of_lines = [_line(n, [t for name, t in found.tags.items() if lines[name] == n and name in live], found) for n in _numbers(found, lines)]
    head = _HEAD.format(plant_id=blocks.text(plant_id), time_zone=blocks.text(time_zone), q=blocks.QUESTION)
    return "\n".join(
        [
            head + "\n".join(of_lines),
            *signals,
            *layouts,
            _TAIL.format(q=blocks.QUESTION, lines=blocks.text([f"line-{n}" for n in _numbers(found, lines)])),
            *found.troubled,
        ]
    )


def _inspected(files: Sequence[Path], time_zone: str) -> _Found:
    """Look at every file; the first of a shape gives the layout, the others more words, tags and larger ranges."""
    named, found = blocks.names_for(sorted(files)), _Found()
    for path in sorted(files):
        one = named[path]
        try:
            seen = run(path, time_zone=time_zone, named=one)
        except FileRefusedError as refused:
            if one.layout_id not in found.inspections:
                found.troubled.append(f"{blocks.QUESTION} {path.name} could not be read: {refused.detail}\n")
            continue
        found.inspections.setdefault(one.layout_id, seen)
        for tag in seen.survey.tags:
            found.tags[tag.tag] = _together(found.tags[tag.tag], tag) if tag.tag in found.tags else tag
    return found


def _together(a: TagSurvey, b: TagSurvey) -> TagSurvey:
    """Return what two files say of one tag."""
    low = min((x for x in (a.low, b.low) if x is not None), default=None)
    high = max((x for x in (a.high, b.high) if x is not None), default=None)
    gap = max((x for x in (a.longest_gap_s, b.longest_gap_s) if x is not None), default=None)
    running = max((x for x in (a.running_gap_s, b.running_gap_s) if x is not None), default=None)
    return replace(
        a, low=low, high=high, longest_gap_s=gap, running_gap_s=running, text_words=tuple(sorted({*a.text_words, *b.text_words}))
    )


def _lines(found: _Found) -> dict[str, int]:
    """Return the number of the line of each tag: by its entity, else the second tag of a role is of the second line."""
    entities = {w: n for i in found.inspections.values() for n, w in enumerate(i.proposal.entity_words, 1)}
    columns = {c for i in found.inspections.values() for c in i.proposal.columns}
    roles: Counter[str] = Counter()
    of_tag: dict[str, int] = {}
    for name, tag in found.tags.items():
        word = next((w for w in entities if name.startswith(f"{w} ") and name[len(w) + 1 :] in columns), None)
        roles[tag.role or ""] += tag.is_live
        of_tag[name] = entities[word] if word is not None else max(roles[tag.role or ""], 1)
    return of_tag


def _numbers(found: _Found, lines: dict[str, int]) -> list[int]:
    """Return the numbers of all lines: of tags, and of the words of lab sheets."""
    most = max([1, *lines.values(), *(len(i.proposal.line_words) for i in found.inspections.values())])
    return list(range(1, most + 1))


def _live(found: _Found, lines: dict[str, int]) -> set[str]:
    """Return the tags whose blocks stand uncommented: those told by a word, each role of a line once; else one told by its letters."""
    live: dict[tuple[int, str], str] = {}
    for name, tag in found.tags.items():
        if tag.is_live and tag.role:
            live.setdefault((lines[name], tag.role), name)
    if not live:
        return set([name for name, tag in found.tags.items() if tag.role and _fits(tag)][:1])
    return set(live.values())


def _fits(tag: TagSurvey) -> bool:
    """Return whether the unit of a tag is one of its role."""
    try:
        return tag.unit == "state" or (tag.unit is not None and units.unit(tag.unit).dimension == ROLES[tag.role or ""].dimension)
    except KeyError:
        return False


def _line(number: int, tags: Sequence[TagSurvey], found: _Found) -> str:
    """Return the [[lines]] block: device by the words of tags and files, sizes by what the flows reached."""
    device, word = _device(tags, found)
    by_role = {t.role: t for t in tags}
    feed = _size(by_role.get("sludge_flow")) or _rate(by_role.get("sludge_total"), "m3/h") or (50.0, "m3/h")
    metered = by_role.get("polymer_neat_flow") or by_role.get("polymer_solution_flow")
    polymer = _size(metered) or _rate(by_role.get("polymer_total"), "L/h") or (100.0, "L/h")
    meter = "neat" if "polymer_neat_flow" in by_role else "solution"
    return _LINE.format(
        n=number, q=blocks.QUESTION, device=device, why=f"the word {word!r}" if word else "nothing: it is a guess",
        feed_cutoff=_amount(feed, _CUTOFF_SHARE), polymer_cutoff=_amount(polymer, _CUTOFF_SHARE), reference=_amount(feed, 1.0), meter=meter,
        dilution="none" if meter == "neat" else "polymer",
    )  # fmt: skip


def _device(tags: Sequence[TagSurvey], found: _Found) -> tuple[str, str | None]:
    """Return (device, the word that tells it): by the line's tags and the file names, else by titles and columns of all files."""
    own = " ".join([t.tag for t in tags] + [i.path.name for i in found.inspections.values()])
    others = " ".join(" ".join(i.proposal.columns) + " " + _titles(i) for i in found.inspections.values())
    for text in (own, others):
        told = re.sub(r"[\s_/.-]+", " ", text.lower())
        for device, said in _DEVICES.items():
            if (met := said.search(told)) is not None:
                return device, met[0].strip()
    return "belt press", None


def _titles(seen: Inspection) -> str:
    """Return the texts above the header of a file."""
    return " ".join(cell for line, fields in seen.look.records[:20] if line < seen.proposal.header_line for cell in fields)


def _size(tag: TagSurvey | None) -> tuple[float, str] | None:
    """Return the largest flow seen, with its unit."""
    return (tag.high, tag.unit) if tag is not None and tag.high and tag.unit else None


def _rate(tag: TagSurvey | None, unit: str) -> tuple[float, str] | None:
    """Return the usual rate of a volume register while it counts."""
    if tag is None or tag.unit is None or not tag.rate_per_h:
        return None
    return units.from_si(units.to_si(tag.rate_per_h, tag.unit), unit), unit


def _amount(size: tuple[float, str], share: float) -> str:
    return f"{size[0] * share:.3g} {size[1]}"


_HEAD = """# First plant file, made from exports. It runs as it is; each guess says how sure it is and by what.
# Answer the questions (`grep QUESTION`), then run `flocledger check-plant`, a first `nightly` and `verify-plant`.

[plant]
id = {plant_id}
{q} what is the plant's name?
name = {plant_id}
time_zone = {time_zone}
{q} at which hour does the operating day begin?
operating_day_start = 00:00:00
{q} US or SI units on the pages?
units = "SI"

"""

_LINE = """[[lines]]
id = "line-{n}"
# likely by {why}: {device}
{q} line {n}: what is it called, and which dewatering machine is it?
name = "Line {n}"
device = "{device}"
{q} line {n}: how long does it run after a start before its cake counts? By machine: belt press 15 min, centrifuge 20 min, screw press 60 min
# startup = "20 min"
{q} line {n}: does the polymer meter measure the neat product or the made-up solution, and which water reaches the filtrate sample?
polymer_meter = "{meter}"
dilution_counted = "{dilution}"
# by the largest flows seen; below the cut-offs nothing counts as fed
feed_cutoff = "{feed_cutoff}"
polymer_cutoff = "{polymer_cutoff}"
reference_flow = "{reference}"

[lines.pump]
id = "P-{n}"
{q} line {n}: is the feed pump a displacement (progressing cavity, lobe) or a rotodynamic (centrifugal) one?
kind = "displacement"
"""

_TAIL = """{q} which polymer, at what density, active fraction (by whose number?), strength and price? Without it there is no dose.
# [[polymers]]
# lines = {lines}
# product = "cationic emulsion"
# form = "emulsion"
# density = "1.03 kg/L"
# active_fraction = 0.40
# solution_strength_pct = 0.30
# price_neat = "1.50 per kg"
# since = 2026-01-01

{q} which prices for disposal, power and water?
# [[prices]]
# since = 2026-01-01
# disposal_wet = "70 per t"
# power = "0.12 per kWh"
"""
