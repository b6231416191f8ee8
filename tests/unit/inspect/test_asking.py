"""new-plant --ask: the open questions of a first plant file are asked one by one, and the answers are in the file that comes out."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.cli.app import app
from pipelines.inspect import asking, first_plant
from pipelines.plant.model import PlantFile

UNITS = {"FEED_FLOW": "L/s", "POLY_FLOW": "L/min", "FEED_PUMP_ST": "", "DISCH_PRESS": "kPa", "INLET_PRESS": "kPa", "DIFF_SPEED": "rpm"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A long export with a unit and a state column, one instrument of the inlet works in it, and a lab sheet below a title."""
    out, rows = tmp_path_factory.mktemp("north"), ["Sampled\tPoint\tReading\tUnits\tState"]
    for minute in range(0, 1440, 5):
        on = 390 <= minute < 1200
        said = {"FEED_FLOW": 5.5, "POLY_FLOW": 15.2, "DISCH_PRESS": 180.0, "INLET_PRESS": 95.0, "DIFF_SPEED": 6.0}
        values = {f"DW/CF1/{k}": f"{v * on + minute / 1e4:.3f}" for k, v in said.items()}
        values |= {"DW/CF1/FEED_PUMP_ST": "RUNNING" if on else "STOPPED", "INLET/PH": "7.1"}
        stamp = f"16/03/2026 {minute // 60:02d}:{minute % 60:02d}"
        rows += [f"{stamp}\t{tag}\t{v}\t{UNITS.get(tag.rpartition('/')[2], 'pH')}\tOK" for tag, v in values.items()]
    (out / "DWH_20260316.txt").write_text("\n".join(rows) + "\n", encoding="utf-8")
    sheet = ["Lab sheet,,,", "Date,Feed sludge % DS,Cake % DS,Centrate SS mg/L", *(f"{d}/03/2026,2.6,22,600" for d in range(16, 21))]
    (out / "lab march.csv").write_text("\n".join(sheet) + "\n", encoding="utf-8")
    return out


@pytest.fixture(scope="module")
def text(folder: Path) -> str:
    return first_plant.new_plant(sorted(folder.iterdir()), plant_id="north", time_zone="Australia/Adelaide")


def test_units_qualities_roles_and_machine_are_taken_from_what_the_files_say(text: str) -> None:
    plant = PlantFile.model_validate(tomllib.loads(text))
    long = plant.layouts[0]
    assert (long.tag_column, long.value_column, long.unit_column, long.quality_column) == ("Point", "Reading", "Units", "State")
    assert {s.tag.rpartition("/")[2]: (s.role, s.unit) for s in plant.signals} == {
        "FEED_FLOW": ("sludge_flow", "L/s"),
        "POLY_FLOW": ("polymer_solution_flow", "L/min"),
        "FEED_PUMP_ST": ("pump_run", "state"),
        "DISCH_PRESS": ("pump_discharge_pressure", "kPa"),
        "INLET_PRESS": ("pump_suction_pressure", "kPa"),
        "DIFF_SPEED": ("differential_speed", "rpm"),
    }
    assert plant.lines[0].device == "centrifuge"  # the sheet says centrate


def asked_with(answers: dict[str, str]) -> tuple[Callable[[asking.Question, asking.Key | None], str], list[str]]:
    """Return an `ask` that answers by key, and the list of keys it was asked for."""
    seen: list[str] = []

    def ask(question: asking.Question, key: asking.Key | None) -> str:
        name = key.name if key is not None else question.text
        seen.append(name)
        return answers.get(name, "")

    return ask, seen


def test_enter_keeps_each_guess_and_leaves_what_is_not_known_commented_out(text: str) -> None:
    ask, seen = asked_with({})
    done = asking.answered(text, ask, pytest.fail)
    assert tomllib.loads(done) == tomllib.loads(text)
    assert [q.text.split()[0:2] for q in asking.questions(done)] == [["which", "polymer,"], ["which", "prices"]]
    assert len(seen) > 15


def test_answers_stand_in_the_file_and_a_commented_block_counts_once_it_is_answered(text: str) -> None:
    ask, _ = asked_with(
        {"operating_day_start": "06:00:00", "device": "belt press", "startup": "25 min", "product": "powder A", "form": "dry"}
    )
    plant = PlantFile.model_validate(tomllib.loads(asking.answered(text, ask, pytest.fail)))
    assert plant.plant.operating_day_start.hour == 6
    assert (plant.lines[0].device, plant.lines[0].startup_min) == ("belt press", pytest.approx(25.0))
    assert [(p.product, p.form) for p in plant.polymers] == [("powder A", "dry")]


def test_an_answer_the_plant_file_refuses_is_told_and_asked_again(text: str) -> None:
    answers, told = iter(["at six", "06:00:00"]), list[str]()

    def ask(_: asking.Question, key: asking.Key | None) -> str:
        return next(answers) if key is not None and key.name == "operating_day_start" else ""

    done = asking.answered(text, ask, told.append)
    assert "operating_day_start = 06:00:00" in done
    assert len(told) == 1


def test_a_question_mark_leaves_the_question_in_the_file(text: str) -> None:
    ask, _ = asked_with({"polymer_meter": asking.STAYS_OPEN})
    assert any("polymer meter" in q.text for q in asking.questions(asking.answered(text, ask, pytest.fail)))


def test_interval_data_get_their_interval_with_the_stamp(text: str) -> None:
    ask, _ = asked_with({"stamp": "interval end", "interval": "5 min"})
    layout = PlantFile.model_validate(tomllib.loads(asking.answered(text, ask, pytest.fail))).layouts[0]
    assert (layout.stamp, layout.interval) == ("interval end", pytest.approx(5 / 60))


def test_the_command_asks_beside_the_file_it_prints(folder: Path) -> None:
    given = ["new-plant", str(folder), "--id", "north", "--time-zone", "Australia/Adelaide", "--ask"]
    done = CliRunner().invoke(app, given, input="North works\n" + "\n" * 60, standalone_mode=False)
    assert done.exception is None
    assert PlantFile.model_validate(tomllib.loads(done.stdout)).plant.name == "North works"
    assert 'tag = "INLET/PH"' in done.stderr
