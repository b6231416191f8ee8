"""Dry run of an unseen export: what it looks like and a layout block that works as it is. Writes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines import receive
from pipelines.files.original import FileRefusedError
from pipelines.inspect import blocks
from pipelines.inspect.layout import Proposal, propose
from pipelines.inspect.stamps import ZONE_QUESTION
from pipelines.inspect.survey import Survey, survey
from pipelines.inspect.text import Look, look
from pipelines.plant.model import Layout

_MOST_SHEETS = 20


@dataclass(frozen=True)
class Inspection:
    """All that could be told of one file."""

    path: Path
    look: Look
    proposal: Proposal
    layout_toml: str
    layout: Layout
    survey: Survey
    sheets: tuple[str, ...] = ()  # visible ones, of a workbook
    readable_sheets: tuple[str, ...] = ()

    @property
    def clues(self) -> tuple[str, ...]:
        """Return what the way of writing and the stamps of the whole file say."""
        return (*self.proposal.time.nature, *self.survey.clues)

    def signals_toml(self, line: str = "line-1") -> str:
        """Return [[signals]] blocks for all tags, guesses marked as open questions."""
        return "\n".join(blocks.signal_block(tag, line) for tag in self.survey.tags)


def run(
    path: Path, *, time_zone: str | None = None, member: str | None = None, sheet: str | None = None, named: blocks.Named | None = None
) -> Inspection:
    """Inspect a file; `time_zone` is used where the stamps carry none (None: UTC, which is asked). FileRefusedError when nothing can be proposed.

    Of a ZIP archive the named or first `member` is inspected, of a workbook the named `sheet` or the first visible one that reads.
    """
    import tomllib

    path = _inside(path, member)
    source = receive.content(path)
    sheets = source.visible_sheets()[:_MOST_SHEETS] if isinstance(source, receive.Workbook) else ()
    seen, proposal, reads = _sheet_that_reads(path, sheets) if len(sheets) > 1 and sheet is None else _one_sheet(path, sheet)
    if time_zone is not None:
        proposal.open_questions = [q for q in proposal.open_questions if q != ZONE_QUESTION]
    zone = time_zone or "UTC"
    toml = blocks.layout_block(named or blocks.names_for([path])[path], seen, proposal, zone)
    layout = Layout.model_validate(tomllib.loads(toml)["layouts"][0])
    return Inspection(path, seen, proposal, toml, layout, survey(path, layout, zone, proposal.units), sheets, reads)


def _one_sheet(path: Path, sheet: str | None) -> tuple[Look, Proposal, tuple[str, ...]]:
    seen = look(path, sheet)
    return seen, propose(seen), (sheet,) if sheet else ()


def _sheet_that_reads(path: Path, sheets: Sequence[str]) -> tuple[Look, Proposal, tuple[str, ...]]:
    """Return look and proposal of the first sheet that reads, and the names of all that do; FileRefusedError when none does."""
    found: dict[str, tuple[Look, Proposal]] = {}
    why: dict[str, str] = {}
    for name in sheets:
        try:
            seen = look(path, None if name == sheets[0] else name)
            found[name] = seen, propose(seen)
        except FileRefusedError as refused:
            why[name] = refused.detail
    if not found:
        raise FileRefusedError("unknown layout", "; ".join(f"sheet {name!r}: {detail}" for name, detail in why.items()))
    first, proposal = found[next(iter(found))]
    if others := list(found)[1:]:
        told = ", ".join(map(repr, others))
        proposal.open_questions.append(f"is it this sheet? {told} can be read too (inspect --sheet NAME); a layout reads one sheet")
    return first, proposal, tuple(found)


def _inside(path: Path, member: str | None) -> Path:
    """Return the path of an archive's member; of another file its own."""
    members = receive.members(path, path.name)
    if members is None:
        return path
    names = [m.name for m in members]
    if member is not None and member not in names:
        raise FileRefusedError("unknown layout", f"the archive has no member {member!r}; it has {', '.join(names[:20])}")
    return path / (member or names[0])


def new_plant(files: Sequence[Path], *, plant_id: str, time_zone: str) -> str:
    """Return a first plant file from a folder of exports: one layout a shape of file, every guess marked."""
    named = blocks.names_for(sorted(files))
    done: dict[str, Inspection] = {}
    troubled: list[str] = []
    for path in sorted(files):
        one = named[path]
        if one.layout_id in done:
            continue
        try:
            done[one.layout_id] = run(path, time_zone=time_zone, named=one)
        except FileRefusedError as refused:
            troubled.append(f"{blocks.QUESTION} {path.name} could not be read: {refused.detail}\n")
    head = _HEAD.format(plant_id=blocks.text(plant_id), time_zone=blocks.text(time_zone), q=blocks.QUESTION)
    tags = {tag.tag: tag for inspection in reversed(done.values()) for tag in inspection.survey.tags}
    order = dict.fromkeys(tag.tag for inspection in done.values() for tag in inspection.survey.tags)
    roles: Counter[str] = Counter()
    signals = []
    for tag in (tags[name] for name in order):
        roles[tag.role or ""] += tag.is_live
        number = max(roles[tag.role or ""], 1)  # a second tag of one role is taken to be of a second line
        signals.append(blocks.signal_block(tag, f"line-{number}"))
    lines = [_LINE.format(n=n) for n in range(1, max([1, *roles.values()]) + 1)]
    return "\n".join(
        [head + "\n".join(lines), *signals, *(i.layout_toml for i in done.values()), _TAIL.format(q=blocks.QUESTION), *troubled]
    )


_HEAD = """# First plant file, made from exports. Answer the open questions, then run `flocledger check-plant`.

[plant]
id = {plant_id}
{q} what is the plant's name?
name = {plant_id}
time_zone = {time_zone}
{q} at which hour does the operating day begin?
operating_day_start = 00:00:00
{q} US or SI units on the pages?
units = "SI"

{q} which lines are there, with which device, pump and sizes? Cut-offs: flows below which nothing counts as fed.
"""

_LINE = """[[lines]]
id = "line-{n}"
name = "Line {n}"
device = "belt press"
feed_cutoff = "2 m3/h"
polymer_cutoff = "5 L/h"
polymer_meter = "solution"
reference_flow = "50 m3/h"
dilution_counted = "polymer"

[lines.pump]
id = "P-{n}"
kind = "displacement"
"""

_TAIL = """{q} which polymer, at what density, active fraction (by whose number?), strength and price?
# [[polymers]]
# lines = ["line-1"]
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
