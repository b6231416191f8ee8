"""The blocks of the plant file that say how exports and lab sheets are written."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from pipelines.plant import layout_checks
from pipelines.plant.input_kinds import KINDS, InputKind, KindName
from pipelines.plant.quantities import Block, Duration, Since
from pipelines.plant.uncertainty import LabUncertainty
from schemas.vocabulary import ANALYTES_OF_POINT

Point = Literal["feed", "cake", "filtrate", "polymer solution", "cake haul", "polymer store"]
Analyte = Literal["ts", "vs", "tss", "strength", "moisture", "cst", "wet_mass", "delivered_mass", "stock_mass"]


class QualityWords(Block):
    """Words (or numbers as text) of the quality column and what they mean; any other word sets the row aside."""

    good: tuple[str, ...] = Field(default=(), description="words that mean good")
    uncertain: tuple[str, ...] = Field(default=(), description="words that mean uncertain: used, and counted")
    bad: tuple[str, ...] = Field(default=(), description="words that mean bad: not used")


def belongs(analyte: str, point: str) -> bool:
    """Tell whether a point has an analyte: tickets, deliveries, stock and suction time have one point each."""
    if analyte in ANALYTES_OF_POINT:
        return ANALYTES_OF_POINT[analyte] == point
    return point not in ("cake haul", "polymer store")


class LabColumn(Block):
    """A column of a wide lab sheet."""

    column: str = Field(description="column name in the sheet")
    line: str | None = Field(default=None, description="line of the column's results; null: the layout's line_column says it row by row")
    point: Point = Field(description="sample point")
    analyte: Analyte = Field(description="analyte of the column")
    unit: str = Field(description="%, mg/L, g/L, g/kg, '% of TS', '% of wet', s, kg, lb, t, short_ton, gal, L")
    qualifier_column: str | None = Field(default=None, description="column of this result's qualifiers; default: the layout's")
    limit_column: str | None = Field(default=None, description="column of this result's detection limit; default: the layout's")
    method: str | None = Field(default=None, description="method of this column's results; default: the layout's method_column")
    since: Since | None = Field(default=None, description="first day on which the column has this meaning")
    until: Since | None = Field(default=None, description="end of this meaning, not included")

    @model_validator(mode="after")
    def _belongs_there(self) -> Self:
        if not belongs(self.analyte, self.point):
            raise ValueError(f"{self.analyte} is no result of the point {self.point!r}")
        return self


class Layout(Block):
    """How one kind of file is written. Columns are named, never counted."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,40}$", description="short name in loads and messages")
    kind: KindName = Field(
        description="long: one value a row; wide: one column a tag; lab long: one result a row; lab wide: one column a result"
    )
    files: str = Field(description="glob on the file name, case-insensitive, e.g. 'ALDER_*.csv'")
    member: str | None = Field(
        default=None, description="glob on the name of a member, where `files` is meant for the archive (.zip) it came in"
    )
    sheet: str | None = Field(default=None, description="sheet of a workbook; null: the first visible one")
    encoding: str = Field(default="utf-8", description="text encoding, such as utf-8, utf-16, cp1252")
    delimiter: str = Field(
        default=",", min_length=1, max_length=8, description="one or more characters; 'blanks': any run of blanks and tabs"
    )
    quote: str | None = Field(default='"', max_length=1, description="quote character; empty text: none, quote signs are text")
    escape: str | None = Field(default=None, min_length=1, max_length=1, description="escape character inside quotes; null: doubled quote")
    decimal: Literal[".", ","] = Field(default=".", description="decimal sign")
    thousands: str | None = Field(default=None, min_length=1, max_length=1, description="thousands sign; null: none")
    header_rows: int = Field(
        default=1,
        ge=1,
        le=3,
        description="rows that name the columns: their texts are joined by a blank, a group's name counts for the blank cells to its right",
    )
    column_names: tuple[str, ...] = Field(
        default=(), description="names of all columns in their order, of a file without a header row; an empty text: not used"
    )
    time_column: str | None = Field(default=None, description="column of the time stamp, or of the time beside date_column")
    date_column: str | None = Field(default=None, description="when date and time stand in two columns: the date")
    time_format: str = Field(
        default="%Y-%m-%d %H:%M:%S",
        description="strptime format of the stamp (of 'date time' joined by a blank when in two columns); 'iso8601', 'epoch s', 'epoch ms' or 'serial day'",
    )
    time_zone: str = Field(default="plant", description="plant, UTC, an IANA zone, or an offset such as +01:00")
    zone_column: str | None = Field(default=None, description="column that says the zone of each row's stamp, instead of time_zone")
    zone_words: dict[str, str] = Field(
        default={}, description="word of zone_column -> offset, such as { CST = '-06:00', CDT = '-05:00' }; UTC and offsets need none"
    )
    stamp: Literal["instant", "interval start", "interval end"] = Field(
        default="instant", description="what a stamp marks: an instant, or the start or end of an averaging interval"
    )
    interval: Duration | None = Field(default=None, description="length of the interval for interval data [h]")
    tag_column: str | None = Field(default=None, description="long: column of the tag")
    value_column: str | None = Field(default=None, description="long: column of the value")
    entity_column: str | None = Field(default=None, description="long and wide: column that says which unit, station or press a row is of")
    entity_name: str = Field(
        default="{entity} {tag}", description="how entity_column and the name of a tag or column make the tag of a signal"
    )
    repeated_stamps: Literal["refuse", "last counts"] = Field(
        default="refuse", description="what to do with a file in which most stamps of a tag stand more than once with differing values"
    )
    quality_column: str | None = Field(
        default=None, description="long: the column; wide: the name of the columns to the right of each value column"
    )
    quality_name: str | None = Field(
        default=None,
        description="wide: name of the column with the quality of column {tag}, such as '{tag} Q' or 'Q_{tag}'; {word}: the first word of the "
        "column's name, such as '{word} Status' for 'FT1 Status' beside 'FT1 Feed flow'",
    )
    quality_words: QualityWords = Field(default=QualityWords(), description="words of the quality column and what they mean")
    unit_row: int | None = Field(
        default=None, ge=1, description="rows below the header at which units stand (1: directly below); null: none"
    )
    footer_words: tuple[str, ...] = Field(default=(), description="first words of rows to drop: averages, totals, end of report")
    ignore_columns: tuple[str, ...] = Field(default=(), description="columns that are not signals")
    fill_values: tuple[str, ...] = Field(default=(), description="texts that mean no value, whatever their case")
    last_row_needs_line_end: bool = Field(
        default=False, description="true: the export always ends its last row; one without line end is cut and set aside"
    )
    late_rows: bool = Field(default=False, description="the source is known to write rows late: rows out of order are no clock error")
    minimum_parse_rate: float = Field(
        default=0.99, ge=0, le=1, description="share of values that must be readable; a file below it is refused"
    )
    # lab sheets
    sample_number: Literal["bottle", "round"] = Field(
        default="bottle", description="what a number of sample_column names: one bottle, or a round whose feed, cake and filtrate share it"
    )
    point_column: str | None = Field(default=None, description="lab long: column of the sample point")
    analyte_column: str | None = Field(default=None, description="lab long: column of the analyte")
    result_column: str | None = Field(default=None, description="lab long: column of the result")
    unit_column: str | None = Field(
        default=None, description="lab long: unit of the result; long: values in another unit than the signal's are set aside"
    )
    qualifier_column: str | None = Field(default=None, description="column of qualifiers such as < or ND")
    sample_column: str | None = Field(default=None, description="column of the sample id")
    replicate_column: str | None = Field(
        default=None,
        description="column of the replicate (1, 2 or A, B) of a sample: a replicate given twice counts once, its last row; without it every row of a sample is a replicate",
    )
    reported_column: str | None = Field(default=None, description="column of the report time; the latest report stands")
    method_column: str | None = Field(default=None, description="column of the method")
    crew_column: str | None = Field(default=None, description="column of the crew letter")
    limit_column: str | None = Field(default=None, description="detection limit of the row's results, in the unit of the result")
    shift_column: str | None = Field(
        default=None, description="AM, PM, shift names or the words of [lab] shift_words; may be the crew column"
    )
    from_column: str | None = Field(default=None, description="begin of a composite's window: a stamp, or a time of day on the row's date")
    to_column: str | None = Field(
        default=None, description="end of a composite's window; a time of day not after the begin is the next day's"
    )
    lot_column: str | None = Field(default=None, description="column of the polymer lot")
    line_column: str | None = Field(
        default=None, description="lab wide: the column that says the line, where each line has a row of its own"
    )
    line_words: dict[str, str] = Field(default={}, description="word of line_column -> id of the line, such as { L1 = 'line-1' }")
    date_fills_down: bool | None = Field(
        default=None, description="true where the date stands only in the first row of a block; default: lab wide true, lab long false"
    )
    results: tuple[LabColumn, ...] = Field(default=(), description="lab wide: which column holds which point and analyte")

    @field_validator("quote")
    @classmethod
    def _none_for_no_quote(cls, mark: str | None) -> str | None:
        return mark or None

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, word: str) -> str:
        return layout_checks.encoding(word)

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, word: str) -> str:
        return layout_checks.time_zone(word)

    @field_validator("time_format")
    @classmethod
    def _readable_format(cls, word: str) -> str:
        return layout_checks.time_format(word)

    @model_validator(mode="after")
    def _has_columns(self) -> Self:
        if self.time_column is None:
            raise ValueError("time_column is missing")
        for key in self.input_kind.required:
            if not getattr(self, key):
                raise ValueError(f"a {self.kind} layout needs {'[[layouts.results]] blocks' if key == 'results' else key}")
        if self.unit_column is not None and self.input_kind == KINDS["wide"]:
            raise ValueError("unit_column belongs to layouts with one value a row; a wide export has its units in a row: unit_row")
        self._lines_are_told()
        layout_checks.zone_column_fits(self.zone_column, self.zone_words, self.time_format)
        layout_checks.entity_fits(self.entity_column, self.entity_name, is_lab=self.is_lab)
        layout_checks.column_names_fit(self.column_names, self.header_columns, header_rows=self.header_rows, unit_row=self.unit_row)
        layout_checks.marks_differ(delimiter=self.delimiter, quote=self.quote, escape=self.escape)
        layout_checks.number_marks_differ(self.decimal, self.thousands)
        layout_checks.quality_names_fit(self.kind, self.quality_name, self.quality_column)
        if self.stamp != "instant" and self.interval is None:
            raise ValueError("interval data need interval, e.g. '15 min'")
        if (self.from_column is None) != (self.to_column is None):
            raise ValueError("from_column and to_column name the two ends of one window: give both or none")
        return self

    def _lines_are_told(self) -> None:
        """Raise ValueError when results have no line, or line_column and line_words do not go together."""
        if self.line_column is not None and (self.input_kind != KINDS["lab wide"] or not self.line_words):
            raise ValueError("line_column belongs to a lab wide layout and needs line_words, such as { L1 = 'line-1' }")
        if self.line_words and self.line_column is None:
            raise ValueError("line_words are words of line_column, which is missing")
        if self.line_column is None and (silent := next((r.column for r in self.results if r.line is None), None)) is not None:
            raise ValueError(f"the results of column {silent!r} have no line: give line, or line_column and line_words of the layout")

    def lines_of(self, result: LabColumn) -> tuple[str, ...]:
        """Return the lines a column can hold results of."""
        return (result.line,) if result.line is not None else tuple(dict.fromkeys(self.line_words.values()))

    @property
    def input_kind(self) -> InputKind:
        """Return what this kind of input demands of layout and header."""
        return KINDS[self.kind]

    @property
    def header_columns(self) -> list[str]:
        """Return the columns without which a row cannot be the header."""
        keys = ("date_column", "time_column", *self.input_kind.header)
        return [name.strip() for key in keys if (name := getattr(self, key))]

    def has_values(self, columns: Collection[str], tags: Iterable[str]) -> bool:
        """Return whether a header with these columns can hold values of the plant's tags."""
        if not self.input_kind.has_a_column_a_value:
            return True
        if self.is_lab:
            return any(result.column.strip() in columns for result in self.results)
        known = {tag.strip() for tag in tags}
        return not known or any(self.tags_of(column, known) for column in columns)

    def tags_of(self, column: str, tags: Collection[str]) -> list[str]:
        """Return those of the tags whose values a column of a wide export holds: several where rows are of several entities."""
        if self.entity_column is None:
            return [column] if column in tags else []
        before, behind = (part.replace("{tag}", column) for part in self.entity_name.split("{entity}"))
        fits = (tag for tag in tags if column and tag.startswith(before) and tag.endswith(behind))
        return [tag for tag in fits if len(tag) > len(before) + len(behind)]

    @property
    def is_lab(self) -> bool:
        return self.input_kind.is_lab

    @property
    def stamp_format(self) -> str:
        """Return the format of a stamp as it is read: with the offset behind it where a column says the zone."""
        return self.time_format if self.zone_column is None or self.time_format == "iso8601" else f"{self.time_format} %z"

    @property
    def fills_down(self) -> bool:
        """Return whether a blank date means the one above it."""
        return (
            self.is_lab
            and self.zone_column is None
            and (self.input_kind.fills_down if self.date_fills_down is None else self.date_fills_down)
        )


class SamplePoint(Block):
    """Free words of a lab sheet tied to a line and point."""

    names: tuple[str, ...] = Field(description="words of the sheet")
    line: str = Field(description="id of the line they mean")
    point: Point = Field(description="sample point they mean")


class AnalyteName(Block):
    """Free words of a lab sheet tied to an analyte and the unit they mean."""

    names: tuple[str, ...] = Field(description="words of the sheet")
    analyte: Analyte = Field(description="analyte they mean")
    unit: str | None = Field(default=None, description="unit of the results where the sheet has none")


class Lab(Block):
    """How the lab's words map to points and analytes, and how well the lab repeats itself."""

    sample_points: tuple[SamplePoint, ...] = Field(default=(), description="words of the sheet for sample points")
    analytes: tuple[AnalyteName, ...] = Field(default=(), description="words of the sheet for analytes")
    duplicate_limit_pct: dict[Literal["ts", "cake", "tss"], float] = Field(
        default={"ts": 10.0, "cake": 5.0, "tss": 20.0},
        description="largest relative difference of duplicates [%]; common practice, no source",
    )
    time_is_stated: bool = Field(
        default=True, description="false when the sheet has dates only: the sample is spread over the operating day"
    )
    shift_words: dict[str, tuple[str, ...]] = Field(
        default={}, description="name of a shift (or AM, PM: the halves of the calendar day) -> words and crew letters of the sheet"
    )
    qualifier_words: dict[Literal["<", ">", "~", "ND", "U", "J", "UJ", "R"], tuple[str, ...]] = Field(
        default={}, description="qualifier -> local words for it, in the cell or in the qualifier column"
    )
    methods: tuple[str, ...] = Field(
        default=(),
        description="methods one sample can be run by, preferred first: results of the others are kept apart, and out of KPIs beside it",
    )
    uncertainty: LabUncertainty = Field(default=LabUncertainty(), description="standard uncertainties of sampling and analysis")
