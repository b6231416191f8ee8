"""What an entry of the register may say, and what the plant file's errors say of one that is off."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import pytest
from click.testing import CliRunner

from pipelines.base.errors import PlantFileError
from pipelines.cli.app import app
from pipelines.plant import loader, model
from pipelines.plant.correction_entries import entries, measure_of_tag
from pipelines.plant.corrections import Measure, measure_of_analyte

GPM_M3_H = 0.003785411784 * 60  # exact: US gallon 231 in3
PSI_KPA = 6.894757293168361  # exact definitions; pint says the same (tests/unit/test_units.py)
FLOW = Measure("gpm", "flow", "m3/h", (-50.0, 2000.0))
PRESSURE = Measure("psi", "pressure", "kPa", (-101.325, 5000.0))
GOOD = 'id = "c1"\ntag = "FT"\nsince = 2026-01-05\naction = "drop"\nexpect = "> 100 m3/h"'


@pytest.mark.parametrize(
    ("measure", "text", "inside", "outside"),
    [
        (FLOW, "> 500 gpm", [500.001 * GPM_M3_H, math.inf], [500 * GPM_M3_H, 0.0, -1.0]),
        (FLOW, ">= 500 gpm", [500 * GPM_M3_H], [499.999 * GPM_M3_H]),
        (FLOW, "< 5 m3/h", [4.999, -50.0], [5.0]),
        (FLOW, "<=5 m3/h", [5.0], [5.0001]),
        (FLOW, "= 24000", [24000 * GPM_M3_H], [24000.0, 24001 * GPM_M3_H]),  # no unit: as the export writes it
        (PRESSURE, "between 1 and 2 psi", [PSI_KPA, 2 * PSI_KPA], [0.99 * PSI_KPA, 2.01 * PSI_KPA]),
        (PRESSURE, "between 2 and 1 bar", [150.0], [250.0]),
        (measure_of_analyte("ts"), "= 24000 mg/L", [2.4], [2.5]),
        (measure_of_analyte("tss"), "> 1 %", [10001.0], [9999.0]),
    ],
)
def test_what_is_expected(measure: Measure, text: str, inside: list[float], outside: list[float]) -> None:
    expected = measure.expected(text)
    assert [expected.holds(v) for v in inside] == [True] * len(inside)
    assert [expected.holds(v) for v in [*outside, None]] == [False] * (len(outside) + 1)


@pytest.mark.parametrize(
    "text", ["500 gpm", "about 500 gpm", "> five gpm", "> 500 gpm or so", "between 1 psi", "> 500 furlong", "> 500 psi", "", "=", "> 1 > 2"]
)
def test_what_is_not_understood_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"not understood|unknown unit|is a unit of"):
        FLOW.expected(text)


def load(small: Any, *blocks: str) -> model.PlantFile:
    small.register(*blocks)
    return loader.load(small.home.plant_file("p"))


@pytest.mark.parametrize(
    ("block", "key", "problem"),
    [
        (GOOD.replace('"FT"', '"XX"'), "tag", "there is no signal with the tag 'XX'"),
        (GOOD.replace("> 100 m3/h", "> 100 psi"), "expect", "psi is a unit of pressure, here a flow is needed"),
        (GOOD.replace('"drop"', '"override"'), "value", "is missing: override needs a value, and nothing else has one"),
        (GOOD.replace('"drop"', '"scale"'), "factor", "is missing: scale needs a factor, and nothing else has one"),
        (GOOD.replace('"drop"', '"override"\nvalue = "60"'), "value", "has no unit"),
        (GOOD.replace('"drop"', '"override"\nvalue = "9999 m3/h"'), "value", "9999 m3/h is outside what can be: -50 to 2000 m3/h"),
        (GOOD.replace('"drop"', '"scale"\nfactor = 0.0'), "factor", "a factor is a number other than 0"),
        (GOOD.replace("since = 2026-01-05", "at = 2026-01-05"), "at", "a reading has a time of day; write at = 2026-01-05T13:42:00, or since and until"),
        (GOOD.replace("since = 2026-01-05\n", ""), "at", "is missing: an entry needs a time: at, or since (and until)"),
        (GOOD + "\nuntil = 2026-01-04", "until", "lies before since"),
        (GOOD + '\npoint = "feed"', "tag", "an entry names either a tag, or line, point and analyte"),
        (GOOD.replace('"drop"', '"remove"'), "action", "is not a word used here"),
        (GOOD.replace("since", "sinse"), "sinse", "is not a key of [[corrections]]"),
        (GOOD.replace('tag = "FT"', 'tag = "YI"').replace('expect = "> 100 m3/h"', "").replace('"drop"', '"scale"\nfactor = 2.0'), "factor",
         "a state cannot be scaled; override it with on or off"),
        ('id = "l"\nline = "line-9"\npoint = "feed"\nanalyte = "ts"\nat = 2026-01-05\naction = "drop"', "line", "there is no line 'line-9'"),
        ('id = "l"\nline = "line-1"\npoint = "feed"\nat = 2026-01-05\naction = "drop"', "line", "a lab result is named by line, point and analyte together"),
    ],
)  # fmt: skip
def test_an_entry_that_is_off_is_told_with_line_and_key(small: Any, block: str, key: str, problem: str) -> None:
    with pytest.raises(PlantFileError) as error:
        load(small, block)
    assert (error.value.key, error.value.problem) == (f"corrections[0].{key}", problem)
    assert error.value.line is not None


def test_two_entries_of_one_id_and_names_of_persons_are_refused(small: Any) -> None:
    with pytest.raises(PlantFileError, match="two corrections have the id 'c1'"):
        load(small, GOOD, GOOD)
    path = small.home.plant_file("p")
    small.register(GOOD)
    path.write_text(path.read_text().replace('who = "instrument technician"', 'who = "A. Person"'))
    with pytest.raises(PlantFileError, match="is not a word used here"):
        loader.load(path)


def test_times_are_plant_local_and_an_exact_time_is_one_instant(small: Any) -> None:
    found = entries(load(small, GOOD, GOOD.replace("c1", "c2").replace("since = 2026-01-05", "at = 2026-01-05T02:00:00+05:00")))
    assert found[0].first == datetime(2026, 1, 5, tzinfo=UTC)
    assert (found[1].first, (found[1].end - found[1].first).microseconds) == (datetime(2026, 1, 4, 21, tzinfo=UTC), 1)


def test_scaling_works_in_the_unit_of_the_export(small: Any) -> None:
    """A unit with an offset: twice 50 F is 100 F, which is 37.78 C, not twice 10 C."""
    measure = measure_of_tag("FT", load(small, GOOD))
    assert measure.given("60 m3/h") == 60.0
    from pipelines.plant.correction_entries import Entry
    from pipelines.plant.corrections import Correction

    c = Correction.model_validate(
        {"id": "f", "tag": "TT", "since": datetime(2026, 1, 5, tzinfo=UTC), "action": "scale", "factor": 2.0, "reason": "wrong card", "who": "lab",
         "entered": datetime(2026, 1, 6, tzinfo=UTC)}
    )  # fmt: skip
    fahrenheit = Measure("F", "temperature", "C", (-50.0, 200.0))
    scaled = Entry(1, c, fahrenheit, datetime(2026, 1, 5, tzinfo=UTC), datetime(2026, 1, 6, tzinfo=UTC), None, None, -160 / 9).corrected(
        10.0
    )
    assert scaled == pytest.approx((100 - 32) * 5 / 9)


def test_check_plant_lists_the_register(small: Any) -> None:
    small.register(GOOD)
    told = CliRunner().invoke(app, ["check-plant", str(small.home.plant_file("p"))]).output
    assert (
        "corrections, the later one counts where two match\n  c1               drop      FT: transmitter was wrong (expects > 100 m3/h)"
        in told
    )
