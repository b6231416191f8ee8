"""rebuild: one at a time, the plant's lock held until the new store stands, and what it brings over from the old one."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pipelines import order
from pipelines.base.errors import LockedError
from pipelines.base.home import Home
from pipelines.intake import load_files
from pipelines.store import Store, connect

ROOT = Path(__file__).resolve().parents[3]
PLANT = "alder-fork"
WHEN = datetime(2026, 2, 1, tzinfo=UTC)
EXPORT = ROOT / "sample_data" / "small" / "exports" / "ALDER_SCADA_20260105.csv"


@pytest.fixture
def home(tmp_path: Path, home_in: Callable[[Path], Home]) -> Home:
    """A home with one export taken in; nothing is published yet."""
    made = home_in(tmp_path)
    (made.inbox(PLANT) / EXPORT.name).write_bytes(EXPORT.read_bytes())
    order.nightly(made, PLANT, WHEN, publish_now=False)
    return made


def in_another_process(call: str, home: Home) -> str:
    """Call a run of `order` in another process; returns what stopped it."""
    code = f"import sys; from pathlib import Path; from pipelines import order; from pipelines.base.home import Home\n{call}"
    done = subprocess.run([sys.executable, "-c", code, str(home.root)], capture_output=True, text=True, cwd=ROOT, check=False)
    return done.stderr.strip().rsplit("\n", 2)[-2] if done.returncode else "went through"


def test_a_second_rebuild_leaves_the_first_one_its_store(home: Home) -> None:
    fresh, told = home.store(PLANT).with_suffix(".rebuild.duckdb"), []

    def meanwhile(step: Callable[..., Any], *given: Any, **how: Any) -> Any:
        if step is load_files.check_in:
            told.append(in_another_process(f"order.rebuild(Home(Path(sys.argv[1])), {PLANT!r})", home))
            assert fresh.exists()
        return step(*given, **how)

    order.rebuild(home, PLANT, call=meanwhile, as_of=WHEN)
    assert len(told) == 1
    assert LockedError.__name__ in told[0]
    assert not fresh.exists()


def test_no_nightly_slips_in_before_the_new_store_stands(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    told, real = [], Path.replace

    def before(self: Path, target: Path) -> Path:
        if target == home.store(PLANT):
            told.append(in_another_process(f"order.nightly(Home(Path(sys.argv[1])), {PLANT!r})", home))
        return real(self, target)

    monkeypatch.setattr(Path, "replace", before)
    order.rebuild(home, PLANT, as_of=WHEN)
    assert len(told) == 1
    assert LockedError.__name__ in told[0]


def test_an_original_that_changed_in_the_archive_is_told(home: Home) -> None:
    (kept,) = home.archive(PLANT).iterdir()
    assert order.rebuild(home, PLANT, as_of=WHEN).notices == []
    kept.chmod(0o644)
    kept.write_bytes(kept.read_bytes().removesuffix(b"\n"))  # the writer that still had it open went on
    (notice,) = order.rebuild(home, PLANT, as_of=WHEN).notices
    assert (notice.name, notice.data) == ("archive.changed", {"file": EXPORT.name, "archived_as": kept.name})


def test_a_ledger_of_other_columns_is_brought_over(home: Home) -> None:
    ledger = "SELECT line, operating_day, version, known_from_utc, capture_pct FROM kpi_day_history ORDER BY ALL"
    order.nightly(home, PLANT, WHEN)
    with Store(home.store(PLANT), PLANT) as store:
        before = [(*row[:4], None) for row in store.rows(ledger)]
        store.rows("ALTER TABLE kpi_day_history DROP COLUMN capture_pct")
        store.rows("ALTER TABLE kpi_day_history ADD COLUMN given_up DOUBLE")
    order.rebuild(home, PLANT, as_of=WHEN + timedelta(days=1))
    with Store(home.store(PLANT), PLANT) as store:
        assert before
        assert set(before) <= {(*row[:4], None) for row in store.rows(ledger)}


def test_the_ledger_comes_back_from_a_published_file_of_other_columns(home: Home) -> None:
    order.nightly(home, PLANT, WHEN)
    home.published_plant(PLANT).chmod(0o644)
    con = connect(home.published_plant(PLANT))
    for (view,) in con.execute("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall():
        con.execute(f'DROP VIEW "{view}"')
    con.execute("ALTER TABLE kpi_day_history DROP COLUMN capture_pct")
    con.close()
    home.store(PLANT).unlink()
    order.rebuild(home, PLANT, as_of=WHEN + timedelta(days=1))
    with Store(home.store(PLANT), PLANT) as store:
        assert store.rows("SELECT count(*) > 0 FROM kpi_day_history WHERE known_from_utc = $w", {"w": WHEN}) == [(True,)]
