"""Time stamps of many spellings, and the repeated hour in files: over pieces, per tag, newest first, interval data."""

# ruff: noqa: DTZ001, DTZ007  wall-clock times are what this file is about

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines import receive
from pipelines.files.original import FileRefusedError
from pipelines.plant.model import Layout, Plant, PlantFile
from pipelines.receive.times.stamps import is_date_only, parse
from pipelines.receive.times.zones import AMBIGUOUS, MISSING_HOUR, Hour, Localiser, second_pass

BACK = datetime(2026, 11, 1, 6, 0, tzinfo=UTC)  # New York: 02:00 summer time becomes 01:00 (US rule, first Sunday of November)
FORWARD = datetime(2026, 3, 8, 7, 0, tzinfo=UTC)  # New York: 02:00 standard time becomes 03:00 (second Sunday of March)
MINUTE = timedelta(minutes=1)


def test_the_changes_are_those_of_the_published_table() -> None:
    """tests/published/tz_transitions.csv (IANA time zone database)."""
    published = (Path(__file__).parents[2] / "published" / "tz_transitions.csv").read_text()
    rule = [line.split(",")[2][5:16] for line in published.splitlines() if line.startswith("America/New_York")]
    assert {r[:2] for r in rule} == {"03", "11"}
    assert {r[6:8] for r in rule} == {"07", "06"}


@pytest.mark.parametrize(
    ("time_format", "text", "expected"),
    [
        ("iso8601", "2026-01-02T03:04:05.123Z", "2026-01-02T03:04:05.123+00:00"),
        ("iso8601", "2026-01-02T03:04:05.1234567Z", "2026-01-02T03:04:05.123456+00:00"),
        ("iso8601", "2026-01-02 03:04:05,5 -0500", "2026-01-02T08:04:05.5+00:00"),
        ("iso8601", "2026-01-02T03:04+01:00", "2026-01-02T02:04+00:00"),
        ("iso8601", "2026-01-02 03:04:05", "2026-01-02T03:04:05"),
        ("iso8601", "2026-01-02T24:00:00Z", "2026-01-03T00:00+00:00"),
        ("iso8601", "2026-01-02T03:24:00Z", "2026-01-02T03:24+00:00"),
        ("iso8601", "2026-02-30T03:24:00Z", None),
        ("%m/%d/%Y %H:%M", "1/2/2026 3:04", "2026-01-02T03:04"),
        ("%m/%d/%Y %H:%M", "12/31/2026 24:00", "2027-01-01T00:00"),
        ("%m/%d/%Y %H:%M", "01/02/26 03:04", None),  # a year of two digits is not %Y
        ("%m/%d/%Y %H:%M:%S", "01/02/2026 03:24:00", "2026-01-02T03:24"),
        ("%m/%d/%Y %H:%M:%S", "01/02/2026  03:04:05", "2026-01-02T03:04:05"),
        ("%d/%m/%y %I:%M %p", "02/01/26 12:05 AM", "2026-01-02T00:05"),
        ("%d-%b-%Y %H:%M:%S", "02-JAN-2026 03:04:05", "2026-01-02T03:04:05"),
        ("%Y-%m-%d %H:%M:%S.%f", "2026-01-02 03:04:05.25", "2026-01-02T03:04:05.25"),
        ("%d.%m.%Y %H", "02.01.2026 5", "2026-01-02T05:00"),
        ("%Y-%m-%d %H:%M:%S %z", "2026-01-02 03:04:05 -0500", "2026-01-02T08:04:05+00:00"),
        ("%m/%d/%Y", "1/2/2026", "2026-01-02T00:00"),
        ("epoch s", "1767323045.5", "2026-01-02T03:04:05.5+00:00"),
        ("epoch ms", "1767323045123", "2026-01-02T03:04:05.123+00:00"),
        ("epoch s", "1e400", None),
        ("epoch s", "9e15", None),
        ("serial day", "46024.5", "2026-01-02T12:00"),
        ("serial day", "46024,25", "2026-01-02T06:00"),
    ],
)
@pytest.mark.parametrize("among", [False, True])
def test_one_stamp(time_format: str, text: str, expected: str | None, among: bool) -> None:
    """`among` others of the usual spelling, and often repeated, it reads the same."""
    usual = {"iso8601": "2026-01-01T00:00:00Z"}.get(time_format, text)
    found = parse(pl.Series([usual] * 1500 + [text] if among else [text]), time_format)
    side = [s[-1] for s in (found.wall, found.instant) if s is not None and s[-1] is not None]
    assert side == ([datetime.fromisoformat(expected)] if expected else [])
    assert found.readable()[-1] is (expected is not None)


@given(
    st.lists(st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)), min_size=1, max_size=30),
    st.sampled_from(["%Y-%m-%d %H:%M:%S.%f", "%d/%m/%Y %I:%M:%S %p", "%m/%d/%y %H:%M", "%d-%b-%Y %H:%M"]),
)
def test_formats_read_what_strftime_writes(times: list[datetime], time_format: str) -> None:
    """Second opinion: Python's own strptime."""
    if "%y" in time_format:
        times = [t.replace(year=2000 + t.year % 60) if (t.month, t.day) != (2, 29) else t.replace(year=2024) for t in times]
    texts = [t.strftime(time_format) for t in times]
    assert parse(pl.Series(texts), time_format).wall.to_list() == [datetime.strptime(t, time_format) for t in texts]


def test_date_only_formats_are_told() -> None:
    assert is_date_only("%m/%d/%Y")
    assert not any(is_date_only(f) for f in ("%m/%d/%Y %H:%M", "%Y-%m-%d %I %p", "iso8601", "epoch s", "serial day"))


@pytest.mark.parametrize(("zone", "hours"), [("UTC", 0), ("+01:00", -1), ("-05:30", 5.5), ("plant", 5), ("Europe/Berlin", -1)])
def test_zone_of_naive_stamps(zone: str, hours: float) -> None:
    layout = Layout(id="x", kind="wide", files="*", time_column="t", time_zone=zone)
    found = Localiser(layout, "America/New_York").to_utc(parse(pl.Series(["2026-01-05 12:00:00"]), layout.time_format))
    assert found.utc.to_list() == [datetime(2026, 1, 5, 12, tzinfo=UTC) + timedelta(hours=hours)]


def test_unknown_zone_is_refused() -> None:
    with pytest.raises(FileRefusedError, match="Nowhere"):
        Localiser(Layout(id="x", kind="wide", files="*", time_column="t").model_copy(update={"time_zone": "Mars/Nowhere"}), "UTC")


def test_interval_end_on_both_days_of_change() -> None:
    """Quarter hours stamped at their end. In spring the end of 01:45 to 02:00 shows as 03:00 on the wall; a logger that
    writes 02:00 means the same instant.
    """
    layout = Layout(id="x", kind="wide", files="*", time_column="t", time_format="%Y-%m-%d %H:%M", stamp="interval end", interval="15 min")
    quarter = timedelta(minutes=15)
    for change, before, after in ((FORWARD, -5, -4), (BACK, -4, -5)):
        starts = [change + k * quarter for k in range(-9, 9)]
        ends = [s + quarter for s in starts]
        wall = [(e + timedelta(hours=before if e < change else after)).strftime("%Y-%m-%d %H:%M") for e in ends]
        found = Localiser(layout, "America/New_York").to_utc(parse(pl.Series(wall), layout.time_format))
        assert found.utc.to_list() == starts
    found = Localiser(layout, "America/New_York").to_utc(parse(pl.Series(["2026-03-08 02:00", "2026-03-08 02:15"]), layout.time_format))
    assert found.utc.to_list() == [FORWARD - quarter, None]
    assert found.reason.to_list() == [None, MISSING_HOUR]


def wall_text(t: datetime) -> str:
    return (t + timedelta(hours=-4 if t < BACK else -5)).strftime("%Y-%m-%d %H:%M:%S")


def read(tmp_path: Path, kind: str, lines: list[str], piece_bytes: int | None = None) -> list[tuple[Any, ...]]:
    """The rows of a file round the New York change of 2026-11-01: line, time, reason, tag."""
    named = {"long": {"tag_column": "tag", "value_column": "v"}, "wide": {}}[kind]
    layout = Layout(id="x", kind=kind, files="*", time_column="time", **named)
    plant = Plant(id="p", name="P", time_zone="America/New_York", units="US")
    path = tmp_path / "x.csv"
    path.write_text(("time,tag,v\n" if kind == "long" else "time,v\n") + "".join(line + "\n" for line in lines))
    opened = receive.open_file(path, "x.csv", PlantFile.model_construct(plant=plant, lines=(), signals=(), layouts=(layout,)))
    opened.piece_bytes = piece_bytes
    found = list(opened.chunks())
    assert sum(c.rows_read for c in found) == len(lines) + 1
    return pl.concat([c.values for c in found]).sort("line_no").select("line_no", "time_utc", "time_reason", "tag").rows()


SPAN = [BACK + k * MINUTE for k in range(-300, 300)]


@pytest.mark.parametrize("piece_bytes", [None, 100, 1000, 4000])
@pytest.mark.parametrize("newest_first", [False, True])
def test_repeated_hour_over_pieces_of_a_wide_file(tmp_path: Path, piece_bytes: int | None, newest_first: bool) -> None:
    span = SPAN[::-1] if newest_first else SPAN
    found = read(tmp_path, "wide", [f"{wall_text(t)},1" for t in span], piece_bytes)
    assert [(t, reason) for _, t, reason, _ in found] == [(t, None) for t in span]


@pytest.mark.parametrize("piece_bytes", [None, 500, 5000])
@pytest.mark.parametrize("order", ["time", "tag", "jitter"])
def test_repeated_hour_of_a_long_file(tmp_path: Path, order: str, piece_bytes: int | None) -> None:
    rows = [(t, tag) for t in SPAN for tag in "AB"]
    if order == "tag":
        rows.sort(key=lambda r: r[1])
    if order == "jitter":  # B comes two minutes late
        rows.sort(key=lambda r: r[0] + (2 * MINUTE if r[1] == "B" else timedelta(0)))
    found = read(tmp_path, "long", [f"{wall_text(t)},{tag},1" for t, tag in rows], piece_bytes)
    assert [(t, tag, reason) for _, t, reason, tag in found] == [(t, tag, None) for t, tag in rows]


def test_lost_order_is_set_aside_and_nothing_else(tmp_path: Path) -> None:
    lines = sorted(f"{wall_text(t)},1" for t in SPAN)
    found = read(tmp_path, "wide", lines)
    assert [r for _, _, r, _ in found].count(AMBIGUOUS) == 120
    assert [t for _, t, r, _ in found if r is None] == [t for t in SPAN if not BACK - 60 * MINUTE <= t < BACK + 60 * MINUTE]


@pytest.mark.parametrize("piece_bytes", [None, 100, 1000])
def test_one_pass_that_fits_both_neighbours_is_set_aside_over_pieces_too(tmp_path: Path, piece_bytes: int | None) -> None:
    once = [t for t in SPAN if not BACK <= t < BACK + 60 * MINUTE]
    found = read(tmp_path, "wide", [f"{wall_text(t)},1" for t in once], piece_bytes)
    assert [r for _, _, r, _ in found].count(AMBIGUOUS) == 60


def hour(minutes: list[int], before: int | None, after: int | None, *, tags: str = "", interval: int = 0, outside: int | None = 1) -> Hour:
    start = datetime(2026, 11, 1, 1)
    return Hour(
        [start + m * MINUTE for m in minutes],
        list(tags) or [""] * len(minutes),
        None if before is None else start + before * MINUTE,
        None if after is None else start + after * MINUTE,
        timedelta(hours=1),
        interval * MINUTE,
        None if outside is None else outside * MINUTE,
    )


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (hour([0, 1, 2], -1, None), [False] * 3),
        (hour([57, 58, 59], None, 60), [True] * 3),
        (hour([0, 1, 58, 59], -1, 60), None),  # either pass fits
        (hour([20, 21, 22], -1, 90), None),  # neither does
        (hour([0, 30, 0, 30], -30, 60, interval=30), [False, False, True, True]),
        (hour([0], -60, 60, interval=60), None),
        (hour([0, 0], -60, 60, interval=60), [False, True]),  # hourly data: the stamp stands twice, in file order
        (hour([0, 0], -60, 60, outside=60), [False, True]),
        (hour([0, 0], -1, 60, outside=1), None),
        (hour([0, 0, 0, 0], -60, 60, tags="ABAB", outside=60), [False, False, True, True]),
        (hour([0, 0, 1, 1, 2, 2], -1, 60), None),
        (hour([0, 30, 0, 30, 0, 30], -1, 60), None),
        (hour([0, 5, 4, 30, 0, 30], -1, 60), [False] * 4 + [True] * 2),  # a record one minute late is no step back
        (hour([0], None, None, outside=None), None),
    ],
)
def test_second_pass(given: Hour, expected: list[bool] | None) -> None:
    assert second_pass(given) == expected
