"""Saved questions: SQL files with a header that names the question and its parameters with defaults.

Header lines: `-- question: ...`, `-- explains: ...`, `-- caution: ...` where acting on the answer can hurt someone or break
something, and `-- param NAME TYPE = DEFAULT: meaning` (TYPE one of date, text, number; DEFAULT may be empty for null).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipelines.base import resources
from pipelines.base.errors import UsageError

_PARAM = re.compile(r"^-- param (\w+) (date|text|number) =\s*(.*?)\s*: (.+)$")


@dataclass(frozen=True)
class Parameter:
    """One named parameter of a saved question."""

    name: str
    kind: str
    default: str
    meaning: str

    def value(self, given: str | None) -> Any:
        """Return the typed value of what was given, else of the default; null when both are empty."""
        text = self.default if given is None else given
        if text == "":
            return None
        try:
            return date.fromisoformat(text) if self.kind == "date" else float(text) if self.kind == "number" else text
        except ValueError:
            raise UsageError(f"{self.name} = {text!r} is not a {self.kind}", remedy=f"{self.name} is {self.meaning}") from None


@dataclass(frozen=True)
class Question:
    """A saved question."""

    name: str
    question: str
    explains: str
    parameters: tuple[Parameter, ...]
    sql: str
    caution: str = ""

    def bind(self, given: dict[str, str]) -> dict[str, Any]:
        """Return all parameters with their values; UsageError on a name the question does not have."""
        known = {p.name for p in self.parameters}
        for name in given:
            if name not in known:
                raise UsageError(f"{self.name} has no parameter {name}", remedy=f"it has: {', '.join(sorted(known)) or 'none'}")
        return {p.name: p.value(given.get(p.name)) for p in self.parameters}


def parse(path: Path) -> Question:
    """Read one question file."""
    sql = path.read_text(encoding="utf-8")
    head = {key: " ".join(re.findall(rf"^-- {key}: (.+)$", sql, re.MULTILINE)) for key in ("question", "explains", "caution")}
    found = (_PARAM.match(line) for line in sql.splitlines())
    parameters = tuple(Parameter(*m.groups()) for m in found if m)
    return Question(path.stem, head["question"], head["explains"], parameters, sql, head["caution"])


def saved() -> dict[str, Question]:
    """Return all saved questions by name."""
    return {path.stem: parse(path) for path in resources.sql_files("questions")}


def shared_out(words: Sequence[str], given: dict[str, str]) -> list[dict[str, str]]:
    """Return the parameters of each of several questions: those it has, of the ones given. One question alone gets all.

    UsageError when no question has a parameter.
    """
    if len(words) == 1:
        return [given]
    known = saved()
    each = [{name: text for name, text in given.items() if _takes(one, name, known)} for one in words]
    for name in given:
        if not any(name in its for its in each):
            raise UsageError(f"none of the questions has a parameter {name}", remedy="`flocledger ask --list` shows their parameters")
    return each


def _takes(words: str, name: str, known: dict[str, Question]) -> bool:
    """Whether a question has a parameter: by its header, or by `$name` in SQL text. A file of SQL is taken to have all."""
    if words in known:
        return name in {p.name for p in known[words].parameters}
    return words.lower().endswith(".sql") or re.search(rf"\${re.escape(name)}\b", words) is not None


def caution_of(words: str) -> str:
    """Return the caution of a saved question by its name; empty for any other text."""
    path = resources.folder("sql") / "questions" / f"{words}.sql"
    return parse(path).caution if re.fullmatch(r"\w+", words) and path.is_file() else ""
