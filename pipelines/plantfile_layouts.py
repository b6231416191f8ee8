"""The blocks of the plant file that say how exports and lab sheets are written."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from pipelines.plantfile_blocks import Block, Duration, Since


class QualityWords(Block):
    """Words (or numbers as text) of the quality column and what they mean; any other word sets the row aside."""

    good: tuple[str, ...] = ()
    uncertain: tuple[str, ...] = ()
    bad: tuple[str, ...] = ()


class LabColumn(Block):
    """A column of a wide lab sheet."""

    column: str
    line: str
    point: Literal["feed", "cake", "filtrate", "polymer solution"]
    analyte: Literal["ts", "vs", "tss", "strength", "moisture"]
    unit: str = Field(description="%, mg/L, g/kg, '% of TS'")
    since: Since | None = None
    until: Since | None = None


class Layout(Block):
    """How one kind of file is written. Columns are named, never counted."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$")
    kind: Literal["long", "wide", "lab long", "lab wide"]
    files: str = Field(description="glob on the file name, case-insensitive, e.g. 'AF_*.csv'")
    encoding: str = "utf-8"
    delimiter: str = Field(default=",", min_length=1, max_length=1)
    quote: str | None = Field(default='"', min_length=1, max_length=1)
    escape: str | None = Field(default=None, min_length=1, max_length=1, description="escape character inside quotes; null: doubled quote")
    decimal: Literal[".", ","] = "."
    thousands: str | None = Field(default=None, min_length=1, max_length=1)
    time_column: str | None = None
    date_column: str | None = Field(default=None, description="when date and time stand in two columns: the date")
    time_format: str = Field(
        default="%Y-%m-%d %H:%M:%S",
        description="strptime format of the stamp (of 'date time' joined by a blank when in two columns); 'iso8601', 'epoch s', 'epoch ms' or 'serial day'",
    )
    time_zone: str = Field(default="plant", description="plant, UTC, an IANA zone, or an offset such as +01:00")
    stamp: Literal["instant", "interval start", "interval end"] = "instant"
    interval: Duration | None = Field(default=None, description="length of the interval for interval data [h]")
    tag_column: str | None = None
    value_column: str | None = None
    quality_column: str | None = None
    quality_words: QualityWords = QualityWords()
    unit_row: int | None = Field(
        default=None, ge=1, description="rows below the header at which units stand (1: directly below); null: none"
    )
    footer_words: tuple[str, ...] = Field(default=(), description="first words of rows to drop: averages, totals, end of report")
    ignore_columns: tuple[str, ...] = Field(default=(), description="columns that are not signals")
    fill_values: tuple[str, ...] = Field(default=(), description="texts that mean no value")
    late_rows: bool = Field(default=False, description="the source is known to write rows late: rows out of order are no clock error")
    minimum_parse_rate: float = Field(default=0.99, ge=0, le=1)
    # lab sheets
    point_column: str | None = None
    analyte_column: str | None = None
    result_column: str | None = None
    unit_column: str | None = None
    qualifier_column: str | None = None
    sample_column: str | None = None
    reported_column: str | None = None
    method_column: str | None = None
    crew_column: str | None = None
    results: tuple[LabColumn, ...] = Field(default=(), description="lab wide: which column holds which point and analyte")

    @model_validator(mode="after")
    def _has_columns(self) -> Self:
        if self.time_column is None:
            raise ValueError("time_column is missing")
        needed = {"long": ("tag_column", "value_column"), "lab long": ("point_column", "analyte_column", "result_column")}
        for key in needed.get(self.kind, ()):
            if getattr(self, key) is None:
                raise ValueError(f"a {self.kind} layout needs {key}")
        if self.kind == "lab wide" and not self.results:
            raise ValueError("a lab wide layout needs [[layouts.results]] blocks")
        if self.stamp != "instant" and self.interval is None:
            raise ValueError("interval data need interval, e.g. '15 min'")
        return self

    @property
    def is_lab(self) -> bool:
        return self.kind.startswith("lab")


class SamplePoint(Block):
    """Free words of a lab sheet tied to a line and point."""

    names: tuple[str, ...]
    line: str
    point: Literal["feed", "cake", "filtrate", "polymer solution"]


class AnalyteName(Block):
    """Free words of a lab sheet tied to an analyte and the unit they mean."""

    names: tuple[str, ...]
    analyte: Literal["ts", "vs", "tss", "strength", "moisture"]
    unit: str | None = None


class Lab(Block):
    """How the lab's words map to points and analytes, and how well the lab repeats itself."""

    sample_points: tuple[SamplePoint, ...] = ()
    analytes: tuple[AnalyteName, ...] = ()
    duplicate_limit_pct: dict[Literal["ts", "cake", "tss"], float] = Field(
        default={"ts": 10.0, "cake": 5.0, "tss": 20.0},
        description="largest relative difference of duplicates [%]; common practice, no source",
    )
    time_is_stated: bool = Field(
        default=True, description="false when the sheet has dates only: the sample is spread over the operating day"
    )
