"""Replay of other limits over history: flags gained and lost, by hand; and gaps of several signals as one."""

from __future__ import annotations

import pytest

from pipelines import watch
from pipelines.base.errors import UsageError
from pipelines.plant.model import PlantFile
from pipelines.plant.watch_settings import DEFAULTS
from pipelines.store import Store
from pipelines.watch import gaps, replay
from pipelines.watch.episodes import Episode
from tests.unit.watch.hand_minutes import fill, found, set_part


def test_other_limits_gain_and_lose_flags_and_write_nothing(store: Store, plant_file: PlantFile) -> None:
    """Without polymer for 2 min on day 1 and for 25 min on day 2: 3 min are needed; with 2 there is one more, with 30 one less."""
    changes = {
        1: {"line-1": set_part("polymer_neat_flow", slice(250, 252), 0.0)},
        2: {"line-1": set_part("polymer_neat_flow", slice(250, 275), 0.0)},
    }
    fill(store, changes, days=4)
    watch.run(store, plant_file)
    (flag,) = before = found(store)
    same = replay.run(store, plant_file, plant_file.watch)
    assert (same.gained, same.lost, same.weeks) == ([], [], 4 / 7)
    more = replay.run(store, plant_file, replay.changed(plant_file.watch, ["polymer_outage_min=2"]))
    assert ([r["detector"] for r in more.gained], more.lost) == (["polymer outage"], [])
    store.con.execute("UPDATE flags SET disposition = 'nuisance'")
    less = replay.run(store, plant_file, replay.changed(plant_file.watch, ["polymer_outage_min = 30"]))
    assert ([r["flag_id"] for r in less.lost], less.gained) == ([flag["flag_id"]], [])
    (counts,) = less.counts
    assert (counts.stand, counts.replayed, counts.lost_nuisance, counts.is_over_budget) == (1, 0, 1, True)
    assert counts.nuisance_per_week == pytest.approx(7 / 4)
    assert [r["flag_id"] for r in found(store)] == [r["flag_id"] for r in before]


def test_changed_limits_are_read_like_those_of_the_plant_file() -> None:
    new = replay.changed(DEFAULTS, ["deadhead_rise=10 psi", "overdosing_pct=130"])
    assert (new.deadhead_rise, new.overdosing_pct) == (pytest.approx(68.94757), 130.0)
    assert new.model_copy(update={"deadhead_rise": DEFAULTS.deadhead_rise, "overdosing_pct": 125.0}) == DEFAULTS
    for wrong in ("no_such_key=3", "overdosing_pct", "overdosing_pct=90", "deadhead_rise=10"):
        with pytest.raises(UsageError):
            replay.changed(DEFAULTS, [wrong])


def test_gaps_of_several_signals_at_one_time_are_one() -> None:
    """120 to 160 and 122 to 165 share 38 of 43 minutes; 400 to 440 stands alone."""
    flow, polymer = [Episode(120, 160, 40), Episode(400, 440, 40)], [Episode(122, 165, 43)]
    joined = gaps.shared({"sludge_flow": flow, "polymer_neat_flow": polymer})
    assert joined == [(("sludge_flow", "polymer_neat_flow"), [Episode(120, 165, 43)]), (("sludge_flow",), [Episode(400, 440, 40)])]
    apart = gaps.shared({"sludge_flow": [Episode(0, 40, 40)], "polymer_neat_flow": [Episode(21, 61, 40)]})  # 19 of 40 minutes in common
    assert [roles for roles, _ in apart] == [("sludge_flow",), ("polymer_neat_flow",)]
