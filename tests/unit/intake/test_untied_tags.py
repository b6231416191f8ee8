"""Untied tags: told when first met, kept as one row a file, and no reason for a night to end with a warning again."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from pipelines import order
from pipelines.base.errors import ExitCode
from pipelines.base.home import Home
from pipelines.store import Store
from tests.plants import FLOW, LONG, home_of, plant_toml

LAYOUT = LONG | {"files": "*.csv", "time_column": "time", "value_column": "value", "ignore_columns": ["Known, not needed"]}


def export(home: Home, day: int, *tags: str) -> None:
    inbox = home.inbox("p")
    stamps = [f"2026-01-{day:02d} {h:02d}:{m:02d}:00" for h in range(24) for m in (0, 30)]
    rows = [f'{at},"{tag}",12.5' for at in stamps for tag in ("Feed", *tags)]
    (inbox / f"day_{day}.csv").write_text("\n".join(["time,tag,value", *rows]) + "\n", encoding="utf-8")


def test_an_untied_tag_is_one_row_a_file_and_told_once(tmp_path: Path) -> None:
    home = home_of(tmp_path, plant_toml(FLOW | {"tag": "Feed"}, layouts=(LAYOUT,), time_zone="UTC"))
    told = []
    for day, tags in ((5, ("Level", "Known, not needed")), (6, ("Level",)), (7, ("Level", "Torque"))):
        export(home, day, *tags)
        run = order.nightly(home, "p", datetime(2026, 1, day + 1, 6, tzinfo=UTC))
        receipt = run.receipts[0]
        assert (receipt.rows_kept, receipt.rows_dropped, receipt.values_untied) == (48, 1 + 48 * len(tags), 48 * len(tags))
        told.append([n.sentence for n in run.notices if n.name == "file.untied_tags"])
        assert run.exit_code == (ExitCode.OK if day == 6 else ExitCode.WARNINGS)
    assert [len(t) for t in told] == [1, 0, 1]
    assert "'Level' (48 values, day_5.csv)" in told[0][0]
    assert "ignore_columns" in told[0][0]
    assert "'Torque'" in told[2][0]
    assert "'Level'" not in told[2][0]
    with Store(home.store("p"), "p") as store:
        assert store.rows("SELECT tag, value_count FROM untied_tags ORDER BY ALL") == [
            ("Level", 48),
            ("Level", 48),
            ("Level", 48),
            ("Torque", 48),
        ]
        assert store.rows("SELECT count(*) FROM set_aside") == [(0,)]
    again = order.rebuild(home, "p", as_of=datetime(2026, 1, 9, tzinfo=UTC))
    assert [n.name for n in again.notices].count("file.untied_tags") == 1
