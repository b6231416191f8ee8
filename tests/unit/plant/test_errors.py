"""Broken plant files: each error names the line a person has to mend, the key, the value, the problem and the remedy.

The expected line is not computed: it is the one that carries the mark `#!!` in the broken text.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipelines import order
from pipelines.base.errors import ExitCode, PlantFileError
from pipelines.base.home import Home
from pipelines.plant import loader

GOOD = """\
# An invented plant.
[plant]
id = "test-plant"
name = "Test plant"
time_zone = "America/New_York"
units = "US"
shifts = [
  { name = "day", start = 07:00:00, end = 15:00:00 },
  { name = "night", start = 15:00:00, end = 07:00:00 },
]

[[lines]]
id = "line-1"
name = "Press 1"
device = "belt press"
feed_cutoff = "20 gpm"
polymer_cutoff = "0.5 gph"
polymer_meter = "neat"
reference_flow = "400 gpm"
dilution_counted = "polymer"

[lines.pump]
id = "P-1"
kind = "rotodynamic"

[[signals]]
line = "line-1"
role = "sludge_flow"
tag = "FIT-110"
unit = "gpm"
range = [0, 600]

[[signals]]
line = "line-1"
role = "pump_run"
tag = "YI-110"
unit = "state"

[[layouts]]
id = "day"
kind = "wide"
files = "*.csv"
time_column = "time"

[[layouts]]
id = "lab"
kind = "lab wide"
files = "lab*.csv"
time_column = "Date"
results = [
  { column = "Feed", line = "line-1", point = "feed", analyte = "ts", unit = "%" },
  { column = "Cake", line = "line-1", point = "cake", analyte = "ts", unit = "%" },
]

[[polymers]]
lines = ["line-1"]
product = "emulsion"
form = "emulsion"
density = "8.6 lb/gal"
active_fraction = 0.41
since = 2025-01-01
"""


@dataclass(frozen=True)
class Broken:
    name: str
    old: str
    new: str  # the line to mend carries #!!
    key: str
    value: object
    problem: str  # regular expressions
    remedy: str


CASES = [
    Broken("unknown key, near", 'tag = "FIT-110"', 'tgg = "FIT-110" #!!', "signals[0].tgg", "FIT-110", r"not a key of \[\[signals\]\]", "did you mean tag"),
    Broken("unknown key, far", 'kind = "rotodynamic"', 'kind = "rotodynamic"\ncolour = "red" #!!', "lines[0].pump.colour", "red",
           r"not a key of \[lines.pump\]", "take it out.*gauge_elevation"),
    Broken("unknown block", "[[polymers]]", "[[polymer]] #!!", "polymer", None, "not a key of the file", "did you mean polymers"),
    Broken("missing in an array", 'tag = "YI-110"\n', "", "signals[1].tag", "nothing", "is missing", r"add tag to \[\[signals\]\], such as"),
    Broken("missing nested block", '[lines.pump]\nid = "P-1"\nkind = "rotodynamic"\n', "", "lines[0].pump", "nothing", "is missing",
           r"add a block \[lines.pump\] with id, kind"),
    Broken("missing in a nested block", 'kind = "rotodynamic"\n', "", "lines[0].pump.kind", "nothing", "is missing", r"add kind to \[lines.pump\]"),
    Broken("unknown role", 'role = "pump_run"', 'role = "pump_runs" #!!', "signals[1].role", "pump_runs", "not a role", "did you mean 'pump_run'"),
    Broken("unknown unit", 'unit = "gpm"', 'unit = "gpn" #!!', "signals[0].unit", "gpn", "not known", "did you mean 'gpm'"),
    Broken("unit of another dimension", 'unit = "gpm"', 'unit = "psi" #!!', "signals[0].unit", "psi", "is a pressure.*needs a flow", "m3/h.*gpm"),
    Broken("analog without range", "range = [0, 600]\n", "", "signals[0].range", "nothing", r"needs range", r"add range to \[\[signals\]\]"),
    Broken("range upside down", "range = [0, 600]", "range = [600, 0] #!!", "signals[0].range", [600, 0], "low < high", "check-plant"),
    Broken("range of one number", "range = [0, 600]", "range = [0] #!!", "signals[0].range[1]", "nothing", "too few values", r"\[0, 600\]"),
    Broken("quantity without unit", 'feed_cutoff = "20 gpm"', 'feed_cutoff = "20" #!!', "lines[0].feed_cutoff", "20", "has no unit", '"20 gpm"'),
    Broken("quantity as number", 'feed_cutoff = "20 gpm"', "feed_cutoff = 20 #!!", "lines[0].feed_cutoff", 20, "has no unit", "unit of flow"),
    Broken("quantity of another dimension", 'feed_cutoff = "20 gpm"', 'feed_cutoff = "20 psi" #!!', "lines[0].feed_cutoff", "20 psi",
           "here a flow is needed", "use one of: .*gpm"),
    Broken("word not in the list", 'device = "belt press"', 'device = "belt pres" #!!', "lines[0].device", "belt pres", "not a word used here",
           "did you mean 'belt press'.*centrifuge"),
    Broken("unknown time zone", '"America/New_York"', '"America/NewYork" #!!', "plant.time_zone", "America/NewYork", "IANA", "America/New_York"),
    Broken("id with a blank", 'id = "test-plant"', 'id = "Test Plant" #!!', "plant.id", "Test Plant", "not written as needed", "lower-case"),
    Broken("line that does not exist", 'line = "line-1"\nrole = "pump_run"', 'line = "line-2" #!!\nrole = "pump_run"', "signals[1].line", "line-2",
           "no line 'line-2'", "did you mean 'line-1'"),
    Broken("polymer of a line that does not exist", '[[polymers]]\nlines = ["line-1"]', '[[polymers]]\nlines = ["line1"] #!!', "polymers[0].lines", ["line1"],
           "no line 'line1'", "did you mean 'line-1'|check-plant"),
    Broken("two tags of one role", 'tag = "YI-110"', 'tag = "YI-110"\nunit = "state"\n[[signals]]\nline = "line-1"\nrole = "pump_run"\ntag = "YI-9" #!!',
           "signals[2].tag", "YI-9", "'YI-110' and 'YI-9' are both pump_run of line-1", "check-plant"),
    Broken("target in no unit", "[[polymers]]", '[[targets]]\nline = "line-1"\nkpi = "cake_ts_pct"\nunit = "percents" #!!\nat_least = 20\n[[polymers]]',
           "targets[0].unit", "percents", "none of cake_ts_pct, which is in %", "check-plant"),
    Broken("inline table, third line of an array", 'analyte = "ts", unit = "%" },\n]', 'analyte = "tss", unit = "%", page = 2 }, #!!\n]',
           "layouts[1].results[1].page", 2, r"not a key of \[\[layouts.results\]\]", "take it out"),
    Broken("inline table, missing key", '{ name = "night", start = 15:00:00, end = 07:00:00 },', '{ name = "night", start = 15:00:00 }, #!!',
           "plant.shifts[1].end", "nothing", "is missing", "add end"),
    Broken("date in words", "since = 2025-01-01", 'since = "last spring" #!!', "polymers[0].since", "last spring", "wrong kind", "2026-03-31"),
    Broken("share above one", "active_fraction = 0.41", "active_fraction = 41 #!!", "polymers[0].active_fraction", 41, "less than or equal to 1", "check-plant"),
    Broken("text where a number belongs", "active_fraction = 0.41", 'active_fraction = "high" #!!', "polymers[0].active_fraction", "high",
           "wrong kind", "number"),
    Broken("layout without its columns", 'kind = "wide"', 'kind = "long"', "layouts[0].tag_column", "nothing", "needs tag_column", "tag_column"),
    Broken("two lines of one id", "[lines.pump]", '[lines.pump]\nid = "P-1"\nkind = "rotodynamic"\n\n[[lines]] #!!\nid = "line-1"\nname = "Press 2"\n'
           'device = "belt press"\nfeed_cutoff = "20 gpm"\npolymer_cutoff = "0.5 gph"\npolymer_meter = "neat"\nreference_flow = "400 gpm"\n'
           'dilution_counted = "polymer"\n[lines.pump]', "lines", None, "two lines have the same id", "check-plant"),
]  # fmt: skip
MARK_HEADER = {  # no mark in the text: the header of the block the key is missing from
    "missing in an array": '[[signals]]\nline = "line-1"\nrole = "pump_run"',
    "missing nested block": "[[lines]]",
    "missing in a nested block": "[lines.pump]",
    "analog without range": "[[signals]]",
    "layout without its columns": "[[layouts]]",
}


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "plants" / "test-plant.toml"
    path.parent.mkdir()
    path.write_text(text, encoding="utf-8")
    return path


def test_the_text_the_cases_break_is_good(tmp_path: Path) -> None:
    assert loader.load(write(tmp_path, GOOD)).plant.id == "test-plant"


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_error_names_line_key_value_problem_and_remedy(case: Broken, tmp_path: Path) -> None:
    assert case.old in GOOD
    text = GOOD.replace(case.old, case.new, 1)
    path = write(tmp_path, text)
    with pytest.raises(PlantFileError) as caught:
        loader.load(path)
    error = caught.value
    place = text.index(MARK_HEADER[case.name]) if case.name in MARK_HEADER else text.index("#!!")
    if case.name != "two lines of one id":  # there the list as a whole is named, at its first block
        assert error.line == text.count("\n", 0, place) + 1
    else:
        assert error.line == text.count("\n", 0, text.index("[[lines]]")) + 1
    assert error.key == case.key
    if case.value == "nothing":
        assert repr(error.value) == "nothing"
    elif case.value is not None:
        assert error.value == case.value
    assert re.search(case.problem, error.problem)
    assert re.search(case.remedy, error.remedy)
    assert error.exit_code == ExitCode.PLANT_FILE_OR_USAGE == 3
    said = f"{error.key} is missing" if case.value == "nothing" and "missing" in error.problem else f"{error.key}"
    assert str(error).startswith(f"{path}, line {error.line}: {said}")
    assert "nothing" not in str(error)
    assert [p.name for p in tmp_path.rglob("*") if p.is_file()] == ["test-plant.toml"]  # nothing written


def test_further_problems_are_named_by_line(tmp_path: Path) -> None:
    text = GOOD.replace('unit = "gpm"', 'unit = "gpn"').replace('device = "belt press"', 'device = "belt"')
    with pytest.raises(PlantFileError) as caught:
        loader.load(write(tmp_path, text))
    assert caught.value.key == "lines[0].device"  # the first by line, though models are read in another order
    line = text.count("\n", 0, text.index("gpn")) + 1
    assert f"also wrong: signals[0].unit (line {line})" in caught.value.remedy


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('name = "Press 1"', "name = Press 1", "invalid value"),
        ('name = "Press 1"', 'name "Press 1"', "expected '='"),
        ('name = "Press 1"', 'name = "Press 1', "illegal character"),
        ("range = [0, 600]", "range = [0, 600", "unclosed array"),
        ('name = "Test plant"', 'name = "Test plant"\nname = "Again"', "overwrite"),
    ],
)
def test_text_that_is_not_toml_names_the_line(tmp_path: Path, old: str, new: str, problem: str) -> None:
    text = GOOD.replace(old, new, 1)
    with pytest.raises(PlantFileError) as caught:
        loader.load(write(tmp_path, text))
    error = caught.value
    expected = text.count("\n", 0, text.index(new) + len(new)) + 1
    # an array that does not end is noticed where the next block begins, at most two lines on
    assert error.line is not None
    assert expected <= error.line <= expected + 2
    assert problem in error.problem.lower()
    assert error.remedy


def test_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="there is no such file"):
        loader.load(tmp_path / "none.toml")


def test_folder_instead_of_a_file(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="is a folder"):
        loader.load(tmp_path)


def test_file_in_another_encoding_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_bytes('[plant]\nname = "Renseanlæg"\n'.encode("latin-1"))
    with pytest.raises(PlantFileError, match="not UTF-8") as caught:
        loader.load(path)
    assert caught.value.line == 2


def test_a_plant_file_copied_without_its_id_stops_before_another_plants_files_are_taken(
    tmp_path: Path, home_in: Callable[[Path], Home]
) -> None:
    home = home_in(tmp_path)
    shutil.copyfile(home.plant_file("alder-fork"), home.plant_file("second"))
    (home.inbox("alder-fork") / "ALDER_SCADA_20260101.csv").write_text("Time\n", encoding="utf-8")
    with pytest.raises(PlantFileError, match=r"plant.id = 'alder-fork': is not the name of the file, second.toml"):
        order.nightly(home, "second")
    assert len(list(home.inbox("alder-fork").iterdir())) == 1


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('column = "Feed", line = "line-1"', 'column = "Feed", line = "line1"', "no line 'line1'"),
        ('column = "Cake", line', 'column = "Feed", line', "two results are read from the column 'Feed'; a column holds one at a time"),
        ('"%" },\n]', '"%" },\n  { column = "Cake", line = "line-1", point = "feed", analyte = "vs", unit = "%", since = 2026-01-01 },\n]',
         "'Cake', from 2026-01-01 on"),
        ("[[polymers]]", '[[targets]]\nline = "line-1"\nkpi = "dose_active_kg_t"\nunit = "%"\n[[polymers]]', "none of dose_active_kg_t"),
        ("[[polymers]]", '[[targets]]\nline = "line-1"\nkpi = "cost_total_per_t"\nunit = "t"\n[[polymers]]', "'per short_ton' or 'per t'"),
        ("[[polymers]]", '[[ladders]]\nline = "line-1"\nname = "x"\nsteps = [2026-03-02T08:00:00, 2026-03-02T10:00:00Z]\n'
         'until = 2026-03-02T12:00:00\n[[polymers]]', "with an offset from UTC, or all without"),
    ],
)  # fmt: skip
def test_what_a_night_would_stumble_over_is_found_before_it(old: str, new: str, says: str, tmp_path: Path) -> None:
    path = tmp_path / "test-plant.toml"
    assert old in GOOD
    path.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PlantFileError, match=re.escape(says)):
        loader.load(path)


def test_a_bare_ton_is_asked_for_where_the_plant_counts_in_si(tmp_path: Path) -> None:
    path = tmp_path / "test-plant.toml"
    priced = GOOD + '\n[[prices]]\nsince = 2026-01-01\ndisposal_wet = "60 per ton"\n'
    path.write_text(priced, encoding="utf-8")
    assert loader.load(path).prices[0].disposal_wet == pytest.approx(60 / 907.18474)  # US: short
    path.write_text(priced.replace('units = "US"', 'units = "SI"'), encoding="utf-8")
    with pytest.raises(PlantFileError, match=r"prices\[0\].disposal_wet = '60 per ton'.*which ton\? Write t"):
        loader.load(path)
