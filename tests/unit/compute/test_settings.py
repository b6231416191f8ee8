"""What compute takes from the plant file: planned times over midnight, and who shares a polymer meter."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipelines import cli
from pipelines.align import grid
from pipelines.base.errors import PlantFileError
from pipelines.compute import settings
from pipelines.plant import kpi_inputs, loader
from pipelines.plant.model import PlantFile
from pipelines.store import Store

ROOT = Path(__file__).resolve().parents[3]
PLANT = (ROOT / "sample_data" / "plants" / "alder-fork.toml").read_text(encoding="utf-8")
NEAT_2 = 'line = "line-2"\nrole = "polymer_neat_flow"\n'


def loaded(tmp_path: Path, text: str) -> PlantFile:
    path = tmp_path / "alder-fork.toml"
    path.write_text(text, encoding="utf-8")
    return loader.load(path)


def lines(tmp_path: Path, plant_file: PlantFile, table: str = "line_settings") -> list[dict[str, Any]]:
    with Store(tmp_path / "p.duckdb", "alder-fork") as store:
        settings.write(store, plant_file)
        return store.frame(f"SELECT * FROM {table} ORDER BY ALL").to_dicts()


def with_shared_neat(split: str) -> str:
    """Line 2 has no neat polymer meter of its own; that of line 1 serves both."""
    blocks = PLANT.split("[[signals]]\n")
    kept = [b for b in blocks if not b.startswith(NEAT_2)]
    assert len(kept) == len(blocks) - 1
    text = "[[signals]]\n".join(kept)
    return text.replace(
        'line = "line-1"\nrole = "polymer_neat_flow"\n', f'line = "line-1"\nrole = "polymer_neat_flow"\nshared_by = ["line-2"]\n{split}', 1
    )


def test_optional_settings_are_null_when_not_given_and_si_when_given(tmp_path: Path) -> None:
    given = PLANT.replace(
        "dilution_counted =", 'polymer_tank = "500 gal"\nmixing_volume = "12 L"\nsludge_viscosity_mpa_s = 4\ndilution_counted =', 1
    )
    given = given.replace(
        "suction_pipe =", 'suction_minimum = "1 psi"\ndischarge_maximum = "60 psi"\ndrive_efficiency = 0.9\nsuction_pipe =', 1
    )
    first, second = lines(tmp_path, loaded(tmp_path, given))
    wanted = {
        "polymer_tank_m3": 500 * 0.003785411784, "mixing_volume_l": 12.0, "sludge_viscosity_mpa_s": 4.0, "suction_minimum_kpa": 6.894757293168361,
        "discharge_maximum_kpa": 60 * 6.894757293168361, "drive_efficiency": 0.9,
    }  # fmt: skip
    assert {k: first[k] for k in wanted} == pytest.approx(wanted)
    assert [second[k] for k in wanted] == [None] * 6


def test_planned_times_go_on_past_midnight_and_merge_by_start(tmp_path: Path) -> None:
    planned = """planned = [
  { days = ["friday", "sunday"], start = 22:00:00, end = 06:00:00 },
  { days = ["monday"], start = 00:00:00, end = 08:00:00 },
  { days = ["wednesday"], start = 00:00:00, end = 00:00:00 },
]
dilution_counted ="""
    rows = lines(tmp_path, loaded(tmp_path, PLANT.replace("dilution_counted =", planned, 1)), "planned_times")
    found = [(r["line"], r["iso_weekday"], r["from_min"], r["to_min"]) for r in rows]
    # Monday 00:00 comes from Sunday's shift (to 06:00) and its own (to 08:00): one row, the longer
    assert found == [
        ("line-1", 1, 0, 480), ("line-1", 3, 0, 1440), ("line-1", 5, 1320, 1440), ("line-1", 6, 0, 360), ("line-1", 7, 1320, 1440),
    ]  # fmt: skip


def test_no_planned_times_no_rows(tmp_path: Path) -> None:
    assert lines(tmp_path, loaded(tmp_path, PLANT), "planned_times") == []


@pytest.mark.parametrize(
    ("split", "rule"), [("", "refuse"), ('split = "by sludge flow"\n', "by sludge flow"), ('split = "by dry solids"\n', "by dry solids")]
)
def test_shared_meter_reaches_both_lines(tmp_path: Path, split: str, rule: str) -> None:
    plant_file = loaded(tmp_path, with_shared_neat(split))
    first, second = lines(tmp_path, plant_file)
    assert (first["shared_with"], second["shared_with"]) == ("line-2", "line-1")
    assert {x["shared_roles"] for x in (first, second)} == {"polymer_neat_flow"}
    assert {x["shared_group"] for x in (first, second)} == {"line-1, line-2"}
    assert {x["shared_split"] for x in (first, second)} == {rule}
    one, other = (grid.spans_by_role(line, plant_file)["polymer_neat_flow"][0].signal.tag for line in ("line-1", "line-2"))
    assert one == other  # align lays the same meter on both lines
    assert not [n.missing for n in kpi_inputs.needs(plant_file) if n.kpi == "polymer dose" and n.missing]


def test_a_tag_tied_to_two_lines_is_shared_and_refused(tmp_path: Path) -> None:
    blocks = PLANT.split("[[signals]]\n")
    own = next(b for b in blocks if b.startswith('line = "line-1"\nrole = "polymer_neat_flow"\n'))
    text = "[[signals]]\n".join(own.replace('"line-1"', '"line-2"') if b.startswith(NEAT_2) else b for b in blocks)
    assert {x["shared_split"] for x in lines(tmp_path, loaded(tmp_path, text))} == {"refuse"}


def test_lines_that_share_nothing_say_so(tmp_path: Path) -> None:
    rows = pl.DataFrame(lines(tmp_path, loaded(tmp_path, PLANT)))
    assert rows.select("shared_roles", "shared_group", "shared_with", "shared_split").null_count().row(0) == (2, 2, 2, 2)


def test_shared_by_must_name_a_line_and_a_polymer_signal(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="line-9"):
        loaded(tmp_path, with_shared_neat("").replace('shared_by = ["line-2"]', 'shared_by = ["line-9"]'))
    with pytest.raises(PlantFileError, match="one line"):
        loaded(tmp_path, PLANT.replace('role = "sludge_flow"\n', 'role = "sludge_flow"\nshared_by = ["line-2"]\n', 1))


def test_a_line_that_shares_a_meter_has_its_uncertainty(tmp_path: Path) -> None:
    rows = pl.DataFrame(lines(tmp_path, loaded(tmp_path, with_shared_neat('split = "by sludge flow"\n')), "uncertainty_inputs"))
    meter = rows.filter(pl.col("quantity") == "polymer_neat_flow")
    assert meter["line"].to_list() == ["line-1", "line-2"]
    assert meter["systematic_pct"].n_unique() == 1


def test_settings_that_do_not_fit_their_table_stop_with_the_entry_and_replace_nothing(tmp_path: Path) -> None:
    file = loaded(tmp_path, PLANT)
    line = file.lines[1].model_copy(update={"sludge_sg": 2.5})  # past what the loader checks
    with Store(tmp_path / "q.duckdb", "alder-fork") as store:
        settings.write(store, file)
        before = store.frame("SELECT * FROM line_settings ORDER BY ALL")
        with pytest.raises(
            PlantFileError, match=r"alder-fork.toml: table line_settings, row 2 \(line line-2\): sludge_sg = 2.5: must be at most 1.3"
        ):
            settings.write(store, file.model_copy(update={"lines": (file.lines[0], line)}))
        assert store.frame("SELECT * FROM line_settings ORDER BY ALL").equals(before)


def test_check_plant_refuses_what_compute_would_refuse(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = loaded(tmp_path, PLANT)
    heavy = file.lines[1].model_copy(update={"sludge_sg": 2.5})  # past what the loader checks
    monkeypatch.setattr(loader, "load", lambda _: file.model_copy(update={"lines": (file.lines[0], heavy)}))
    assert cli.run(["check-plant", "alder-fork.toml"]) == 3
    assert "table line_settings, row 2 (line line-2): sludge_sg" in capsys.readouterr().err
