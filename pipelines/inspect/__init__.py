"""Dry run of an unseen export: what it looks like and a layout block that works as it is. Writes nothing."""

from __future__ import annotations

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
    """Findings about one file."""

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
        return "\n".join(blocks.signal_block(tag, line, is_live=tag.is_live) for tag in self.survey.tags)


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
