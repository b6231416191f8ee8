"""Questions to the published file: free SQL or a saved question, to a table, CSV, JSON, Parquet or a chart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.errors import UsageError
from pipelines.home import Home

if TYPE_CHECKING:
    import polars as pl


def run(home: Home, words: str, given: dict[str, str] | None = None, *, seconds: float = 30.0) -> pl.DataFrame:
    """Return the answer to SQL text, to a file of SQL, or to a saved question by name.

    `given` are parameters of a saved question. UsageError when the words are none of the three.
    """
    from pipelines.ask import questions, sandbox

    saved = questions.saved()
    if words in saved:
        question = saved[words]
        return sandbox.run(home.database, question.sql, question.bind(given or {}), seconds=seconds)
    if words.lower().endswith(".sql"):
        path = Path(words)
        if not path.is_file():
            raise UsageError(f"there is no file {words}", remedy="give SQL text, a file, or a name from `flocledger ask --list`")
        try:
            words = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise UsageError(f"{words} cannot be read as text: {error}", remedy="save it as UTF-8") from None
    elif " " not in words.strip():
        raise UsageError(f"no saved question is named {words}", remedy="`flocledger ask --list` names them")
    return sandbox.run(home.database, words, dict(given or {}), seconds=seconds)
