"""A late lab sheet and a file sent again, through the whole line: provisional to final, as known at each date, and a rebuild that keeps it."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime

import pytest

from pipelines import ask, order, publish
from pipelines.base.home import Home
from pipelines.store import connect
from pipelines.store.plant_store import content_hash

PLANT = "alder-fork"
NIGHTS = [datetime(2026, 1, 20 + k, 4, tzinfo=UTC) for k in range(3)]


def deliver(home: Home, name: str, content: bytes, stamp: int) -> None:
    target = home.inbox(PLANT) / name
    target.write_bytes(content)
    os.utime(target, (1.7e9 + stamp, 1.7e9 + stamp))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """First night: a week of exports. Second: the lab. Third: one day again, with half of line 1's polymer."""
    from sample_data.generate import generate

    root = tmp_path_factory.mktemp("late")
    generate(root / "made", weeks=1, seed=3, faults=False, plants=(PLANT,))
    home, made = Home(root / "home"), root / "made" / PLANT
    home.plant_file(PLANT).parent.mkdir(parents=True)
    shutil.copyfile(made / "plant.toml", home.plant_file(PLANT))
    home.inbox(PLANT).mkdir(parents=True)
    files = sorted((made / "exports").iterdir())
    for k, path in enumerate(p for p in files if "LAB" not in p.name):
        deliver(home, path.name, path.read_bytes(), k)
    order.nightly(home, PLANT, NIGHTS[0])
    for k, path in enumerate(p for p in files if "LAB" in p.name):
        deliver(home, path.name, path.read_bytes(), 100 + k)
    order.nightly(home, PLANT, NIGHTS[1])
    again = next(p for p in files if p.name.endswith("20260107.csv") and "SCADA" in p.name)
    rows = again.read_text(encoding="utf-8").split("\n")
    column = (
        next(r for r in rows if "Polymer" in r)
        .split(",")
        .index(next(c for c in next(r for r in rows if "Polymer" in r).split(",") if "Polymer" in c))
    )
    for i, text in enumerate(rows):
        cells = text.split(",")
        if text[:1].isdigit():
            cells[column] = f"{float(cells[column]) / 2:.2f}"
        rows[i] = ",".join(cells)
    deliver(home, again.name, "\n".join(rows).encode(), 200)
    order.nightly(home, PLANT, NIGHTS[2])
    return home


def ledger_hash(home: Home) -> str:
    con = connect(home.database, read_only=True)
    found = content_hash(con, "kpi_day_history")
    con.close()
    return found


def test_days_go_from_provisional_to_final_when_the_lab_comes(home: Home) -> None:
    sql = "SELECT DISTINCT change, cause FROM restatements WHERE version = 2 AND known_from_utc = TIMESTAMPTZ '2026-01-21 04:00:00+00'"
    assert ask.run(home, sql).rows() == [("provisional to final", "lab results arrived")]
    moved = ask.run(home, "SELECT count(*) AS n FROM restatements WHERE kpi = 'dose_active_kg_t' AND old_value IS NULL AND new_value > 0")
    assert moved["n"][0] >= 8  # two lines, five days, none had a feed TS before


def test_a_file_sent_again_restates_its_day_and_asks_for_a_note(home: Home) -> None:
    sql = (
        "SELECT operating_day::VARCHAR AS day, cause, files, relative_change, is_note_due, week_dose_new_kg_t < 0.98 * week_dose_old_kg_t AS fell "
        "FROM restatements WHERE version = 3 AND kpi = 'dose_active_kg_t'"
    )
    day, cause, files, change, is_note_due, fell = ask.run(home, sql).rows()[0]
    assert (day, cause, files) == ("2026-01-07", "file re-sent", "ALDER_SCADA_20260107.csv")
    assert change == pytest.approx(-0.5, abs=0.02)
    assert is_note_due
    assert fell


def test_what_was_known_at_each_date(home: Home) -> None:
    def dose(moment: str) -> list[float | None]:
        sql = f"SELECT dose_active_kg_t FROM kpi_day_as_known_at(TIMESTAMPTZ '{moment}') WHERE line = 'line-1' AND operating_day = DATE '2026-01-07'"
        return [r[0] for r in ask.run(home, sql).rows()]

    assert dose("2026-01-20 03:59:59+00") == []
    assert dose("2026-01-20 04:00:00+00") == [None]
    first, second = dose("2026-01-21 12:00:00+00")[0], dose("2026-01-23 12:00:00+00")[0]
    assert first is not None
    assert second == pytest.approx(first / 2, rel=0.02)
    now = ask.run(home, "SELECT dose_active_kg_t FROM kpi_day WHERE line = 'line-1' AND operating_day = DATE '2026-01-07'")
    assert now["dose_active_kg_t"].to_list() == [second]


def test_a_rebuild_keeps_the_ledger_and_adds_nothing(home: Home) -> None:
    before, tables = ledger_hash(home), publish.hashes(home)
    order.rebuild(home, PLANT, as_of=datetime(2026, 2, 1, tzinfo=UTC))
    assert ledger_hash(home) == before
    assert publish.hashes(home) == tables
    assert "kpi_day_history" not in tables


def test_a_lost_store_finds_its_ledger_in_the_published_file(home: Home) -> None:
    before = ledger_hash(home)
    home.store(PLANT).unlink()
    order.rebuild(home, PLANT, as_of=datetime(2026, 2, 2, tzinfo=UTC))
    assert ledger_hash(home) == before
