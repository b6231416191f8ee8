"""What a changed plant file restates: key by key, from a file and from the versions in the store, nothing written."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest

from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.cli import plant_changes
from pipelines.plant import changes, loader
from pipelines.store import Store, plant_file_versions
from tests.plants import EMULSION, FLOW, RUN, plant_file

PLANT = "alder-fork"


def test_each_kind_of_key_says_what_it_restates() -> None:
    old = plant_file(FLOW, blocks={"polymers": [EMULSION]})
    new = plant_file(
        FLOW | {"range": [0, 120]},
        line={"name": "Other", "feed_cutoff": "6 m3/h"},
        blocks={"polymers": [EMULSION | {"active_fraction": 0.41}]},
    )
    found = {c.key.rpartition(".")[2]: (c.effect, c.since) for c in changes.between(old, new)}
    assert (old.reads_as != new.reads_as) == any(effect == "rebuild" for effect, _ in found.values())
    assert found["active_fraction"] == ("compute", date(2026, 1, 1))
    assert found["name"] == ("label", None)
    assert found["range"][0] == "rebuild"
    assert found["feed_cutoff"] == ("compute", None)


def test_a_new_entry_counts_from_its_date_and_the_rest_is_untouched() -> None:
    later = EMULSION | {"since": date(2026, 3, 1), "active_fraction": 0.38}
    old, new = plant_file(FLOW, blocks={"polymers": [EMULSION]}), plant_file(FLOW, blocks={"polymers": [EMULSION, later]})
    found = changes.between(old, new)
    assert {(c.effect, c.since) for c in found} == {("compute", date(2026, 3, 1))}
    assert {c.before for c in found} == {None}
    assert plant_changes.lines(found, 3)[-1] == "  no rebuild needed: numbers can differ from 2026-03-01 on"
    assert changes.between(new, new) == []
    early = [plant_file(FLOW, operating_day_start=time(6), blocks={"polymers": p}) for p in ([EMULSION], [EMULSION, later])]
    assert {c.since for c in changes.between(*early)} == {date(2026, 2, 28)}  # 00:00 to 06:00 is of the operating day before
    assert plant_changes.lines([], None) == ["  no key has another value: no number changes"]


def test_another_order_of_signals_is_read_again() -> None:
    found = changes.between(plant_file(FLOW, RUN), plant_file(RUN, FLOW))
    assert [(c.key, c.effect) for c in found] == [("signals and layouts", "rebuild")]


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    home = home_in(tmp_path)
    path = home.plant_file(PLANT)
    with Store(home.store(PLANT), PLANT) as store:
        plant_file_versions.apply(store, loader.load(path), path, datetime(2026, 2, 1, tzinfo=UTC))
    return home


def test_a_draft_against_the_version_in_use(home: Home, tmp_path: Path) -> None:
    path, draft = home.plant_file(PLANT), tmp_path / "draft.toml"
    zone = 'time_zone = "America/New_York"'
    text = path.read_text(encoding="utf-8")
    other = next(line for line in text.splitlines() if line.startswith("time_zone = "))
    draft.write_text(text.replace(other, 'time_zone = "America/Denver"' if other == zone else zone, 1), encoding="utf-8")
    new, store_before = loader.load(draft), home.store(PLANT).read_bytes()
    said = plant_changes.told(home, new, draft, "used")
    assert [line for line in said if "plant.time_zone" in line and "files to be read again" in line] != []
    assert said[-1].startswith("  rebuild needed: the 0 files")
    assert plant_changes.told(home, new, draft, loader.file_id(path)[:8])[1:] == said[1:]
    assert plant_changes.told(home, new, draft, str(path))[2:-1] == said[2:-1]
    assert home.store(PLANT).read_bytes() == store_before
    for unknown in ("no-such-file", "abc"):
        with pytest.raises(UsageError):
            plant_changes.told(home, new, draft, unknown)
