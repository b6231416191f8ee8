"""Capture and wet cake against the ideal dewatering unit of a public wastewater model.

Source: package `bsm2-python` 0.0.16, class `Dewatering` (BSM2, the second IWA benchmark simulation model; U. Jeppsson, Lund University):
a fixed share of the solids goes to a cake of fixed TSS, the rest to the reject water. Its mass balance shares no code and no formula
with this project's capture, which is written in concentrations.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import duckdb
import numpy as np
import pytest
from bsm2_python.bsm2.dewatering_bsm2 import TSS, XI, XS, Dewatering, Q

from pipelines.store import connect
from pipelines.store.sql_files import create_macros

CASES = list(itertools.product((0.8, 1.5, 2.4, 3.7, 5.2), (15.0, 18.0, 22.0, 28.0), (85.0, 95.0, 99.0)))  # feed TS, cake TS, capture: all %


@pytest.fixture(scope="module")
def con() -> Iterator[duckdb.DuckDBPyConnection]:
    made = connect()
    create_macros(made)
    yield made
    made.close()


def dewatered(feed_pct: float, cake_pct: float, capture_pct: float) -> tuple[np.ndarray, np.ndarray]:
    """Return cake and reject of 480 m3/d of sludge; concentrations in g/m3, flows in m3/d."""
    unit = Dewatering(np.array([cake_pct, capture_pct, 0.75, 0.75, 0.75, 0.75, 0.75]))
    feed = np.zeros(21)
    feed[XI], feed[XS], feed[Q] = feed_pct * 1e4 / 0.75 * 0.6, feed_pct * 1e4 / 0.75 * 0.4, 480.0
    cake, reject = unit.output(feed)
    return cake, reject


def test_sixty_cases_of_capture_and_wet_cake(con: duckdb.DuckDBPyConnection) -> None:
    assert len(CASES) == 60
    for feed_pct, cake_pct, capture_pct in CASES:
        cake, reject = dewatered(feed_pct, cake_pct, capture_pct)
        dry_t, cake_t = 480.0 * feed_pct / 100.0, cake[Q]  # of a day; 1 m3 counts as 1 t in that model
        sql = "SELECT capture_pct($ts, $cake, $reject, 0.0), wet_cake_t($dry, $capture, $cake)"
        given = {"ts": feed_pct, "cake": cake[TSS] / 1e4, "reject": reject[TSS], "dry": dry_t, "capture": capture_pct}
        found = con.execute(sql, given).fetchall()[0]
        assert found == (pytest.approx(capture_pct, rel=1e-12), pytest.approx(cake_t, rel=1e-12)), (feed_pct, cake_pct, capture_pct)


@pytest.mark.parametrize("water", [0.1, 0.35, 1.2])
def test_water_that_dilutes_the_reject_is_taken_out_again(con: duckdb.DuckDBPyConnection, water: float) -> None:
    """The model's reject with `water` m3 of clean water a m3 of sludge mixed in, before the sample is taken.

    capture_pct takes the diluting water from the whole of the liquid, cake water included, so it answers exactly where the
    water is mixed with the sludge before the unit.
    """
    feed_pct, cake_pct, capture_pct = 2.4, 22.0, 95.0
    cake, reject = dewatered(feed_pct / (1.0 + water), cake_pct, capture_pct)
    sql = "SELECT capture_pct($ts, $cake, $reject, $water)"
    given = {"ts": feed_pct, "cake": cake[TSS] / 1e4, "reject": reject[TSS], "water": water}
    assert con.execute(sql, given).fetchall()[0][0] == pytest.approx(capture_pct, rel=1e-12)
