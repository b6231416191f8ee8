"""new-plant and inspect: ids, file patterns, words for on and off, time zones, and what is asked."""

from __future__ import annotations

import fnmatch
import tomllib
from pathlib import Path

import pytest

from pipelines import cli, inspect
from pipelines.inspect import blocks, first_plant
from pipelines.plant.model import PlantFile


def export(folder: Path, name: str, column: str = "FT1 Flow", words: tuple[str, str] = ("1,5", "2,5")) -> Path:
    rows = [f"15.10.2026 00:{m:02d};{words[m % 2]}" for m in range(30)]
    path = folder / name
    path.write_text("\n".join([f"Zeit;{column}", *rows]) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("words", [("Marcha", "Paro"), ("Betrieb", "Aus"), ("Marche", "Arrêt"), ("Praca", "Postój"), ("Läuft nun", "Halt")])
def test_words_for_on_and_off_are_told_apart(tmp_path: Path, words: tuple[str, str]) -> None:
    files = [export(tmp_path, "run_1.csv", "YI1 Pump run", words)]
    signal = PlantFile.model_validate(tomllib.loads(first_plant.new_plant(files, plant_id="p", time_zone="Europe/Madrid"))).signals[0]
    assert (signal.on_words, signal.off_words) == ((words[0],), (words[1],))


def test_patterns_of_two_layouts_do_not_fit_each_others_files() -> None:
    names = ["L1_20261020.csv", "L1_20261021.csv", "L2_semana_41.csv", "L2_semana_42.csv"]
    named = blocks.names_for([Path(n) for n in names])
    for path, one in named.items():
        assert [n for n in names if fnmatch.fnmatchcase(n.lower(), one.files.lower())] == [n for n in names if n[:4] == path.name[:4]]


def test_a_pattern_fits_its_own_file_and_ids_are_short_and_differ() -> None:
    assert fnmatch.fnmatchcase("export[1].csv", blocks.glob_for(Path("export[1].csv")))
    long = [Path("x" * 60 + "_1.csv"), Path("x" * 60 + "y_1.csv"), Path("x" * 60 + "z.csv")]
    ids = [one.layout_id for one in blocks.names_for(long).values()]
    assert len(set(ids)) == 3
    assert max(map(len, ids)) <= 41


def test_the_zone_that_was_given_is_not_asked_for(tmp_path: Path) -> None:
    path = export(tmp_path, "export[1].csv")
    assert "which time zone" in inspect.run(path).layout_toml
    assert "which time zone" not in inspect.run(path, time_zone="Europe/Madrid").layout_toml


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--id", 'My "Plant', "--time-zone", "Europe/Madrid"], "small letters"),
        (["--id", "mine", "--time-zone", "America/NewYork"], "did you mean America/New_York?"),
    ],
)
def test_an_id_or_zone_that_cannot_be_is_a_usage_error(
    tmp_path: Path, given: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    export(tmp_path, "a_1.csv")
    assert cli.run(["new-plant", str(tmp_path), *given]) == 3
    assert said in capsys.readouterr().err
