"""Questions to the published file: free SQL or a saved question, to a table, CSV, JSON, Parquet, an Excel workbook or a chart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.base.errors import UsageError
from pipelines.base.home import Home

if TYPE_CHECKING:
    import polars as pl


def run(home: Home, words: str, given: dict[str, str] | None = None, *, seconds: float = 30.0) -> pl.DataFrame:
    """Return the answer to SQL text, to a file of SQL, or to a saved question by name.

    `given` are parameters. SQL of others is answered in a process of its own, which is ended after `seconds`. UsageError when the words are none of the three, or the plant asked for is not published.
    """
    from pipelines.ask import child, questions, sandbox

    saved = questions.saved()
    if words in saved:
        question = saved[words]
        bound = question.bind(given or {})
        if bound.get("plant") is not None:
            bound["plant"] = plant_meant(bound["plant"], _published(home, seconds), is_given="plant" in (given or {}))
            own = home.published_plant(bound["plant"])
            if own.exists():  # all that such a question asks for, without the files of other plants
                return sandbox.run(own, question.sql, bound, seconds=seconds)
        return sandbox.run(home.database, question.sql, bound, seconds=seconds, parquet=home.parquet)
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
    return child.run(home.database, words, dict(given or {}), seconds=seconds, parquet=home.parquet)


def _published(home: Home, seconds: float) -> list[str]:
    """Return the plants that are published, sorted."""
    from pipelines.ask import sandbox

    sql = "SELECT DISTINCT plant FROM line_settings ORDER BY plant"
    found: list[str] = sandbox.run(home.database, sql, seconds=seconds, parquet=home.parquet)["plant"].to_list()
    return found


def plant_meant(named: str, here: list[str], *, is_given: bool) -> str:
    """Return the plant a saved question is about: the one named, or the only one here when none was given."""
    if not is_given and len(here) == 1:
        return here[0]
    if named in here or not here:
        return named
    raise UsageError(f"no plant {named} here; plants are {', '.join(here)}", remedy=f"add -p plant={here[0]}")
