"""Arrangements of the plant file: which stood on a line and when, with which pump, and what is refused."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from pipelines.base.errors import PlantFileError
from pipelines.plant import arrangements, loader
from pipelines.plant.calendar import FAR_FUTURE, LONG_AGO
from pipelines.plant.model import PlantFile
from tests import plants

LINES = tuple(
    plants.LINE | plants.US | {"id": f"line-{n}", "name": f"Press line-{n}", "pump": {"id": f"P-{n}", "kind": "displacement"}}
    for n in (1, 2)
)
PLANT = plants.plant_toml(plants.GPM, blocks={"lines": LINES}, id="test-plant", operating_day_start=time(6), units="US")
SPARE = '[[pumps]]\nid = "P-9"\nkind = "displacement"\n'


def entry(line: str = "line-1", name: str = "old", **keys: str) -> str:
    rows = "".join(f"{key} = {value}\n" for key, value in keys.items())
    return f'[[arrangements]]\nline = "{line}"\nname = "{name}"\n{rows}'


def plant(tmp_path: Path, *blocks: str) -> PlantFile:
    path = tmp_path / "test-plant.toml"
    path.write_text(PLANT + "".join(blocks), encoding="utf-8")
    return loader.load(path)


def utc(*at: int) -> datetime:
    return datetime(*at, tzinfo=UTC)  # type: ignore[arg-type, misc]


def test_a_date_begins_and_ends_with_its_operating_day_and_until_is_the_first_day_after(tmp_path: Path) -> None:
    """06:00 in New York is 11:00 UTC before 8 March 2026 and 10:00 UTC after it."""
    found = plant(
        tmp_path,
        entry(name="new", **{"from": "2026-03-09"}),
        entry(name="old", **{"from": "2026-03-02", "until": "2026-03-09"}),
    )
    old, new = arrangements.of_line(found, "line-1")
    assert (old.name, old.start_utc, old.end_utc) == ("old", utc(2026, 3, 2, 11), utc(2026, 3, 9, 10))
    assert (new.name, new.start_utc, new.end_utc) == ("new", utc(2026, 3, 9, 10), FAR_FUTURE)
    assert old.transition_end_utc == old.start_utc  # none stated
    assert arrangements.of_line(found, "line-2") == ()


def test_a_transition_of_whole_days_after_a_date_ends_with_an_operating_day_over_the_clock_change(tmp_path: Path) -> None:
    """From 6 March 06:00 EST (11:00 UTC), 10 operating days end on 16 March 06:00 EDT (10:00 UTC): 239 hours later."""
    found = plant(tmp_path, entry(**{"from": "2026-03-06", "transition": '"10 d"'}))
    (spell,) = arrangements.of_line(found, "line-1")
    assert spell.transition_end_utc == utc(2026, 3, 16, 10)
    assert spell.transition_end_utc - spell.start_utc == timedelta(hours=239)


def test_a_transition_of_hours_counts_from_the_time_and_ends_with_the_arrangement_at_the_latest(tmp_path: Path) -> None:
    found = plant(
        tmp_path,
        entry(name="a", **{"from": "2026-01-05T08:00:00", "until": "2026-01-05T14:00:00", "transition": '"4 h"'}),
        entry(name="b", **{"from": "2026-01-05T14:00:00", "until": "2026-01-05T16:00:00", "transition": '"4 h"'}),
    )
    a, b = arrangements.of_line(found, "line-1")
    assert a.transition_end_utc == utc(2026, 1, 5, 17)
    assert b.transition_end_utc == b.end_utc == utc(2026, 1, 5, 21)


def test_the_pump_in_service_is_the_arrangements_and_the_lines_own_between_them(tmp_path: Path) -> None:
    found = plant(
        tmp_path,
        SPARE,
        entry(name="spare", pump='"P-9"', **{"from": "2026-01-05", "until": "2026-01-12"}),
        entry(name="old", **{"from": "2026-01-12", "until": "2026-01-19"}),
        entry(name="spare", pump='"P-9"', **{"from": "2026-01-26"}),
    )
    at = {day: arrangements.pump_of(found, "line-1", utc(2026, 1, day, 12)) for day in (4, 5, 11, 12, 20, 26)}
    assert at == {4: "P-1", 5: "P-9", 11: "P-9", 12: "P-1", 20: "P-1", 26: "P-9"}
    assert arrangements.pump_of(found, "line-1", utc(2026, 1, 12, 10, 59)) == "P-9"  # the last minute before 06:00
    spans = arrangements.pump_spans(found, "line-1")
    assert [(s.pump, s.start_utc.day) for s in spans] == [("P-1", 1), ("P-9", 5), ("P-1", 12), ("P-9", 26)]
    assert (spans[0].start_utc, spans[-1].end_utc) == (LONG_AGO, FAR_FUTURE)
    assert all(one.end_utc == other.start_utc for one, other in pairwise(spans))


REFUSED = {
    "overlap": (
        [entry(name="old", **{"from": "2026-01-05"}), entry(name="new", **{"from": "2026-02-02"})],
        "arrangements[1].from", "2026-02-02", "'old' and 'new' stand on line-1 at the same time", "until = 2026-02-02",
    ),
    "ends as it begins": (
        [entry(**{"from": "2026-01-05", "until": "2026-01-05"})],
        "arrangements[0].until", "2026-01-05", "'old' ends at its begin or before", "first day",
    ),
    "pump not described": (
        [entry(pump='"P-3"', **{"from": "2026-01-05"})], "arrangements[0].pump", "P-3", "no pump 'P-3'", "did you mean 'P-1'|pumps are: P-1, P-2",
    ),
    "line not there": ([entry(line="line-7", **{"from": "2026-01-05"})], "arrangements[0].line", "line-7", "no line 'line-7'", "lines are"),
    "pump of another line": (
        [entry(pump='"P-2"', **{"from": "2026-01-05"})], "arrangements[0].pump", "P-2", "'P-2' serves line-2 at the same time", "one line at a time",
    ),
    "one name, two pumps": (
        [SPARE, entry(**{"from": "2026-01-05", "until": "2026-01-06"}), entry(pump='"P-9"', **{"from": "2026-01-06"})],
        "arrangements[1].name", "old", "pump 'P-1' elsewhere and 'P-9' here", "a name of its own",
    ),
    "pump never in service": ([SPARE], "pumps[0].id", "P-9", "no arrangement puts 'P-9' into service", "take the block out"),
    "misspelt key": ([entry(**{"form": "2026-01-05"})], "arrangements[0].form", "2026-01-05", "not a key", "did you mean from"),
    "without a begin": ([entry()], "arrangements[0].from", "nothing", "is missing", "add from"),
    "transition without a unit": ([entry(**{"from": "2026-01-05", "transition": "10"})], "arrangements[0].transition", "10", "no unit", "time"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED, ids=str)
def test_a_contradiction_names_line_key_value_and_remedy(case: str, tmp_path: Path) -> None:
    blocks, key, value, problem, remedy = REFUSED[case]
    with pytest.raises(PlantFileError) as caught:
        plant(tmp_path, *blocks)
    error = caught.value
    assert (error.key, str(error.value)) == (key, value)
    assert (error.line or 0) > PLANT.count("\n")
    assert re.search(problem, error.problem)
    assert re.search(remedy, error.remedy)
