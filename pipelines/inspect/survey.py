"""Count a file's values by tag with the reader of the nightly run."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.inspect import units_in_names
from pipelines.inspect.roles import RoleGuess, guess_role
from pipelines.inspect.span import whole_file
from pipelines.plant.model import Layout, Plant, PlantFile

if TYPE_CHECKING:
    import polars as pl


MOST_VALUES = 100_000  # looked at: a day of one-minute rows of seventy signals
_PIECE_BYTES = 256 * 2**10


@dataclass(frozen=True)
class TagSurvey:
    """One tag: counts, range, gaps, words, and the guessed role."""

    tag: str
    count: int
    numbers: int
    low: float | None
    high: float | None
    first: datetime | None
    last: datetime | None
    median_step_s: float | None
    longest_gap_s: float | None
    text_words: tuple[str, ...]
    quality_words: tuple[str, ...]
    unit: str | None
    role: str | None
    has_word: bool  # a word of the tag speaks for the role
    question: str
    evidence: str = ""
    running_gap_s: float | None = None  # longest gap after a value above 5 % of the largest
    rate_per_h: float | None = None  # of a value that only grows, while it does

    @property
    def is_state(self) -> bool:
        return self.numbers == 0 and bool(self.text_words)

    @property
    def is_live(self) -> bool:
        """Return whether its block can stand in a plant file as it is: a word spoke for the role, and the unit is known and of the role."""
        return self.has_word and self.unit is not None and self.unit != "Hz"


@dataclass(frozen=True)
class Survey:
    """The file as read with the proposed layout."""

    rows_read: int
    rows_dropped: int
    refused: dict[str, int]
    unreadable_times: int
    reader: str
    tags: tuple[TagSurvey, ...]
    is_whole: bool = True  # false: only the beginning of a large file was looked at
    clues: tuple[str, ...] = ()  # what the stamps of the whole file say


def survey(path: Path, layout: Layout, time_zone: str, units: dict[str, str]) -> Survey:
    """Read the file with the proposed layout and count, up to `MOST_VALUES` values; nothing is written."""
    import polars as pl

    from pipelines import receive

    received = receive.open_file(path, path.name, _only(layout, time_zone, units))
    received.piece_bytes = _PIECE_BYTES
    frames: list[pl.DataFrame] = []
    is_whole, seen = True, 0
    rows, dropped, refused = 0, 0, dict[str, int]()
    for chunk in received.chunks():
        rows, dropped = rows + chunk.rows_read, dropped + chunk.rows_dropped
        for reason, count in chunk.refused.group_by("reason").len().iter_rows():
            refused[reason] = refused.get(reason, 0) + count
        frames.append(chunk.values)
        seen += chunk.values.height
        if seen >= MOST_VALUES:
            is_whole = False
            break
    values = pl.concat(frames) if frames else None
    if values is None:
        return Survey(rows, dropped, refused, 0, received.reader, ())
    stamps = values.select("line_no", "time_utc").unique("line_no").sort("line_no")["time_utc"]
    clues = (*whole_file(stamps, layout), *([received.clock_note] if received.clock_note else []))
    if layout.is_lab:
        return Survey(rows, dropped, refused, 0, received.reader, (), is_whole, clues)
    bad_times = values.filter(pl.col("time_utc").is_null()).select(pl.col("line_no").n_unique()).item()
    found = _with_numbers(values, layout).partition_by("tag", maintain_order=True, as_dict=True)
    tags = tuple(_tag(name, frame, units.get(str(name))) for (name,), frame in found.items())
    return Survey(rows, dropped, refused, bad_times, received.reader, tags, is_whole, clues)


def _only(layout: Layout, time_zone: str, units: dict[str, str]) -> PlantFile:
    """Return a plant file of one layout, enough for the reader; its unit words agree with the file by construction."""
    del units
    plant = Plant(id="unseen", name="unseen", time_zone=time_zone, units="SI")
    return PlantFile.model_construct(plant=plant, lines=(), signals=(), layouts=(layout,))


def _with_numbers(values: pl.DataFrame, layout: Layout) -> pl.DataFrame:
    """Return the values with their numbers (null where the text is none), by tag and time."""
    import polars as pl

    text = pl.col("text")
    if layout.thousands:
        text = text.str.replace_all("[ \u00a0\u202f]" if layout.thousands == " " else re.escape(layout.thousands), "")
    if layout.decimal == ",":
        text = text.str.replace(",", ".", literal=True)
    return values.with_columns(number=text.cast(pl.Float64, strict=False))


def _tag(name: object, seen: pl.DataFrame, unit: str | None) -> TagSurvey:
    import numpy as np

    numbers = seen["number"].drop_nulls().to_numpy()
    words = seen.filter(seen["number"].is_null())["text"].unique().sort().head(12).to_list() if len(numbers) < seen.height else []
    times = seen["time_utc"].drop_nulls().sort()
    steps = np.sort(np.diff(times.to_physical().to_numpy())) / 1e6
    grows = len(numbers) > 20 and bool(np.mean(np.diff(numbers) >= 0) > 0.98 and np.mean(np.diff(numbers) > 0) > 0.3)
    unit = unit or units_in_names.unit_of(str(name))
    is_binary = (
        unit is None and len(numbers) == seen.height and bool(np.isin(numbers, (0.0, 1.0)).all()) and units_in_names.is_state(str(name))
    )
    state = is_binary or (not len(numbers) and bool(words))
    guess = guess_role(str(name), unit, is_text=state, only_grows=grows)
    qualities = seen["quality_text"]
    return TagSurvey(
        tag=str(name),
        count=seen.height,
        numbers=0 if is_binary else len(numbers),
        low=float(numbers.min()) if len(numbers) else None,
        high=float(numbers.max()) if len(numbers) else None,
        first=times[0] if len(times) else None,
        last=times[-1] if len(times) else None,
        median_step_s=float(steps[len(steps) // 2]) if len(steps) else None,
        longest_gap_s=float(steps[-1]) if len(steps) else None,
        text_words=("0", "1") if is_binary else tuple(words),
        quality_words=tuple(qualities.drop_nulls().unique().sort().to_list()) if qualities.null_count() < seen.height else (),
        unit="state" if state else unit,
        role=guess.role if guess else None,
        has_word=guess is not None and guess.has_word,
        question=_question(guess, unit, state=state),
        evidence=_evidence(guess, unit, state=state),
        running_gap_s=_running_gap(seen),
        rate_per_h=_rate(seen) if grows else None,
    )


def _running_gap(seen: pl.DataFrame) -> float | None:
    """Return the longest time [s] from a value above 5 % of the largest to the next one; None without such a value."""
    import numpy as np

    known = seen.select("number", "time_utc").drop_nulls().sort("time_utc")
    numbers, gaps = known["number"].to_numpy(), np.diff(known["time_utc"].to_physical().to_numpy()) / 1e6
    after = gaps[numbers[:-1] > 0.05 * numbers.max()] if len(numbers) > 1 else gaps
    return float(after.max()) if len(after) else None


def _rate(seen: pl.DataFrame) -> float | None:
    """Return the middle one of the rates [unit/h] at which a register grew; None where it did not."""
    import numpy as np

    known = seen.drop_nulls(["number", "time_utc"]).sort("time_utc")
    hours = np.diff(known["time_utc"].to_physical().to_numpy()) / 3.6e9
    grown = np.diff(known["number"].to_numpy())
    rates = grown[(grown > 0) & (hours > 0)] / hours[(grown > 0) & (hours > 0)]
    return float(np.median(rates)) if len(rates) else None


def _evidence(guess: RoleGuess | None, unit: str | None, *, state: bool) -> str:
    """Return how sure a guessed role is, and by what."""
    if guess is None:
        return "unknown"
    by_unit = "its words of state" if state else f"its unit {unit}" if unit else ""
    if guess.has_word:
        return f"likely: a word of the tag{' and ' + by_unit if by_unit else ', its unit is not known'}"
    return f"weak: its letters and {by_unit or 'nothing else'}"


def _question(guess: RoleGuess | None, unit: str | None, *, state: bool) -> str:
    if guess is None:
        return "which role has this tag? (none could be guessed)"
    if not guess.has_word:
        return f"is this {guess.role}? Only its letters and its unit speak for it: confirm or change, then take the # away"
    if unit is None and not state:
        return f"is this really {guess.role}, and in which unit and transmitter range is it?"
    return f"is this really {guess.role}? check line and transmitter range"
