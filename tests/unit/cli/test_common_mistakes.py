"""Twenty-one mistakes the trade makes with these numbers: each with the wrong number, the right one, and which we give.

The list is common practice; the arithmetic stands beside each number. Days are made of plain minutes and go through the
pipeline's own SQL; what needs no minutes uses its macros; two questions of comparison that no KPI can answer (season, day-to-day
correlation) are shown with numbers alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipelines import compute
from pipelines.check.lab.qualifiers import RowError
from pipelines.check.lab.result_units import to_stored
from pipelines.store import Store
from pipelines.store.sql_files import create_macros_and_views
from schemas import TABLES
from schemas.roles import ROLES

DAY = date(2026, 1, 5)
LONG_AGO, FAR = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)
LINE: dict[str, Any] = {
    "plant": "p", "line": "line-1", "plant_name": "P", "line_name": "L", "time_zone": "UTC", "operating_day_start_h": 0.0, "week_start": 1, "units": "SI",
    "currency": "EUR", "device": "belt press", "pump_kind": "rotodynamic", "startup_min": 15.0, "feed_cutoff_m3_h": 5.0, "polymer_cutoff_m3_h": 0.002,
    "sludge_sg": 1.0, "polymer_meter": "neat", "reference_flow_m3_h": 90.0, "pump_elevation_m": 0.0, "mixing_elevation_m": 0.0,
    "solids_hold_tau_h": 36.0, "solids_hold_limit_h": 72.0, "dilution_counted": "polymer and wash",
}  # fmt: skip
POLYMER: dict[str, Any] = {
    "plant": "p", "line": "line-1", "from_utc": LONG_AGO, "to_utc": FAR, "product": "x", "form": "emulsion", "density_kg_m3": 1000.0,
    "active_fraction": 0.4, "solution_strength_pct": 0.5, "price_per_kg_neat": 1.5,
}  # fmt: skip
PRICE: dict[str, Any] = {"plant": "p", "from_utc": LONG_AGO, "to_utc": FAR, "disposal_per_wet_t": 70.0, "power_per_kwh": 0.1}
RUN = {"sludge_flow": 60.0, "polymer_neat_flow": 0.03, "wash_water_flow": 6.0, "pump_power": 12.0}  # 8 kg/t at 2.5 %
Kpis = Callable[..., pl.DataFrame]


def span(
    hours: float, *, day: int = 0, begin_h: float = 8.0, line: str = "line-1", state: str = "processing", **roles: float
) -> list[dict[str, Any]]:
    """Minutes of one state; roles not given have the values of RUN."""
    start = datetime(2026, 1, 5, tzinfo=UTC) + timedelta(days=day, hours=begin_h)
    values = {ROLES[r].column: v for r, v in (RUN | roles).items()} | {ROLES[r].coverage: 1.0 for r in RUN | roles}
    return [
        {"plant": "p", "line": line, "minute_utc": start + timedelta(minutes=k), "operating_day": DAY + timedelta(days=day), "state": state,
         "is_uncertain": False, **values}
        for k in range(round(hours * 60))
    ]  # fmt: skip


def sample(point: str, analyte: str, value: float, *, day: int = 0, at_h: float | None = None, line: str = "line-1") -> dict[str, Any]:
    """A lab result, spread over its day or taken at an hour."""
    begin = datetime(2026, 1, 5, tzinfo=UTC) + timedelta(days=day)
    taken = begin if at_h is None else begin + timedelta(hours=at_h)
    return {
        "plant": "p", "sample_id": f"{line} {point} {day} {at_h}", "analyte": analyte, "line": line, "point": point, "from_utc": taken,
        "to_utc": taken if at_h is not None else begin + timedelta(days=1), "time_basis": "day" if at_h is None else "stated",
        "operating_day": DAY + timedelta(days=day), "value": value, "unit": "-", "is_used": True, "replicates": 1, "revision": 1,
        "reported_utc": begin + timedelta(days=1, hours=12), "load_id": "lab", "line_no": 1,
    }  # fmt: skip


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store(tmp_path_factory.mktemp("mistakes") / "p.duckdb", "p") as made:
        create_macros_and_views(made.con)
        yield made


@pytest.fixture
def kpis(store: Store) -> Kpis:
    """Compute one table of KPIs from minutes and samples; settings change what LINE, POLYMER and PRICE say."""

    def run(
        minutes: list[dict[str, Any]], samples: list[dict[str, Any]], table: str = "kpi_day", *, lines: list[dict[str, Any]] | None = None,
        prices: list[dict[str, Any]] | None = None, polymers: list[dict[str, Any]] | None = None,
    ) -> pl.DataFrame:  # fmt: skip
        lines = [LINE | x for x in lines or [{}]]
        given = {
            "minutes": minutes, "lab_results": samples, "line_settings": lines, "prices": [PRICE | x for x in prices or [{}]],
            "polymers": [POLYMER | {"line": x["line"]} | y for x in lines for y in polymers or [{}]],
        }  # fmt: skip
        for kept in (t for t in TABLES.values() if t.view is None):
            store.con.execute(f"DELETE FROM main.{kept.name}")
        for name, rows in given.items():
            store.append(name, pl.DataFrame(rows, schema=TABLES[name].polars_schema()))
        days = [r[0] for r in store.rows("SELECT DISTINCT operating_day FROM minutes ORDER BY 1")]
        compute.days_to_work(store, 1, days, (days[0], days[-1]))
        compute.make_all(store)
        return store.frame(f"SELECT * FROM work.{table}")

    return run


def macro(store: Store, call: str) -> float:
    return float(store.rows(f"SELECT ({call})::DOUBLE")[0][0])


FEED, CAKE, FILTRATE = sample("feed", "ts", 2.5), sample("cake", "ts", 20.0), sample("filtrate", "tss", 1000.0)


def test_ratio_of_averages(kpis: Kpis) -> None:
    """Two hours at 60 m3/h and 12 kg/h, one at 20 m3/h and 12 kg/h: 36 kg over 3.5 t, not the mean of 8, 8 and 24 kg/t."""
    minutes = span(2) + span(1, begin_h=10, sludge_flow=20.0)
    hours, day = kpis(minutes, [FEED], "kpi_hour"), kpis(minutes, [FEED])
    assert hours["dose_active_kg_t"].mean() == pytest.approx((8 + 8 + 24) / 3)  # 13.3: wrong
    assert day["dose_active_kg_t"].item() == pytest.approx(36 / 3.5)  # 10.3


def test_neat_is_not_active(kpis: Kpis) -> None:
    day = kpis(span(3), [FEED])
    assert day["dose_neat_kg_t"].item() == pytest.approx(20.0)  # 30 kg/h over 1.5 t/h: taken for active, 2.5 times too much
    assert day["dose_active_kg_t"].item() == pytest.approx(8.0)  # x 0.4


def test_three_tons(store: Store) -> None:
    """10 kg/t is 20 lb a short ton (2,000 lb); a tonne has 2,204.6 lb, a long ton 2,240."""
    assert macro(store, "kg_t_to_lb_dt(10.0)") == pytest.approx(20.0)
    assert macro(store, "kg_to_lb(10.0)") == pytest.approx(22.05, abs=0.01)  # lb a tonne: 10 % high when called lb/ton
    assert macro(store, "kg_to_lb(10.0)") * 1.0160469 == pytest.approx(22.4, abs=0.01)  # lb a long ton: 12 % high


def test_wet_ton_is_not_dry_ton(kpis: Kpis) -> None:
    day = kpis(span(3), [FEED, CAKE, FILTRATE])
    per_wet = day["polymer_active_kg"].item() / day["cake_wet_t"].item()
    assert per_wet == pytest.approx(1.67, abs=0.01)  # a fifth: 20 % cake, 96 % captured
    assert day["dose_active_kg_t"].item() == pytest.approx(8.0)


def test_total_solids_are_not_suspended_solids(store: Store) -> None:
    """With 2,000 mg/L dissolved in 2.5 % TS and in a filtrate of 1,000 mg/L TSS (0.3 % TS), the basis must be one: 2.3 % and 0.1 %."""
    mixed = macro(store, "capture_pct(2.5, 20.0, 1000.0, 0.0)")
    suspended = macro(store, "capture_pct(2.3, 19.84, 1000.0, 0.0)")  # of the cake's 80 % water 0.2 % are dissolved: 19.84 %
    assert mixed == pytest.approx(96.48, abs=0.01)  # feed by TS, filtrate by TSS: what a plant that samples so gets
    assert suspended == pytest.approx(96.14, abs=0.01)
    assert macro(store, "capture_pct(2.5, 20.0, 3000.0, 0.0)") == pytest.approx(89.34, abs=0.01)  # both by TS: dissolved solids are no loss


def test_grab_is_not_a_mean_over_time(kpis: Kpis) -> None:
    """Samples of 2 and 4 % speak for three hours and one: 2.5 %, not 3 %."""
    grabs = [sample("feed", "ts", 2.0, at_h=9.0), sample("feed", "ts", 4.0, at_h=13.0)]  # nearest until 11:00
    day = kpis(span(4), grabs)
    assert (2.0 + 4.0) / 2 == 3.0
    assert day["feed_ts_pct"].item() == pytest.approx((2.0 * 181 + 4.0 * 59) / 240)  # 11:00 itself is as near to both: the earlier counts


def test_wash_water_dilutes_the_filtrate(kpis: Kpis) -> None:
    """Polymer solution 2.4 and wash water 33.6 on 60 m3/h: w = 0.6; R = [1 - 0.04 x 1.6]/0.995, not 0.96/0.995."""
    day = kpis(span(3, wash_water_flow=33.6), [FEED, CAKE, FILTRATE])
    assert day["dilution_ratio"].item() == pytest.approx(0.6)
    assert day["capture_undiluted_pct"].item() == pytest.approx(96.48, abs=0.01)  # 2.4 points too good
    assert day["capture_pct"].item() == pytest.approx(94.07, abs=0.01)


def test_recycle_is_not_production(kpis: Kpis) -> None:
    """What the filtrate takes back to the works comes again with the feed: solids fed are more than solids that leave."""
    day = kpis(span(3, wash_water_flow=33.6), [FEED, CAKE, FILTRATE])
    fed, left = day["dry_solids_t"].item(), day["cake_wet_t"].item() * day["cake_ts_pct"].item() / 100.0
    assert fed == pytest.approx(4.5)  # wrong as production: the recycle is in it
    assert left == pytest.approx(4.233, abs=0.001)
    assert fed - left == pytest.approx(day["recycle_solids_kg"].item() / 1000.0)


def test_lab_result_belongs_to_the_day_of_the_sample(kpis: Kpis) -> None:
    """2 % sampled on Monday is reported on Tuesday, whose own sample has 4 %."""
    days = kpis(span(3) + span(3, day=1), [sample("feed", "ts", 2.0), sample("feed", "ts", 4.0, day=1)]).sort("operating_day")
    assert days["dose_active_kg_t"].to_list() == pytest.approx([12 / 1.2, 12 / 2.4])
    by_report = 12 / (60 * 0.02)  # Tuesday with the result that came in on Tuesday
    assert by_report == pytest.approx(2 * days["dose_active_kg_t"][1])  # twice too high


def test_feed_meter_drift_shows_in_the_closure(kpis: Kpis) -> None:
    """A flow meter 5 % high makes the dose 4.8 % low and looks like a saving; a register of its own closes at 0.952."""
    day = kpis(span(3, sludge_flow=63.0, sludge_total=1.0), [FEED])
    assert day["dose_active_kg_t"].item() == pytest.approx(8.0 / 1.05)  # the wrong number: nothing but the closure can tell
    assert day["sludge_closure"].item() == pytest.approx(1 / 1.05)
    assert day["dose_active_kg_t"].item() / day["sludge_closure"].item() == pytest.approx(8.0)


def test_idle_is_not_processing(kpis: Kpis) -> None:
    """An hour of idle running with wash water and power, nothing fed."""
    day = kpis(span(3) + span(1, begin_h=11, state="idle running", sludge_flow=0.0, polymer_neat_flow=0.0), [FEED])
    assert day["feed_volume_all_m3"].item() / 4 == pytest.approx(45.0)  # mean flow over four running hours: wrong
    assert day["sludge_flow_m3_h"].item() == pytest.approx(60.0)
    assert day["energy_all_kwh_t"].item() == pytest.approx(48 / 4.5)  # of all time, and named so
    assert day["energy_kwh_t"].item() == pytest.approx(36 / 4.5)
    assert day["wash_water_all_m3_t"].item() / day["wash_water_m3_t"].item() == pytest.approx(4 / 3)


def test_a_lost_power_meter_is_not_a_saving(kpis: Kpis) -> None:
    """The meter of the press blank for one hour of three, 4 kW beside the pump's 12: counted as none the day would save 8 %."""
    blank = [{**m, "device_power_kw": None, "device_power_coverage": 0.0} for m in span(1, begin_h=10, device_power=4.0)]
    day = kpis(span(2, device_power=4.0) + blank, [FEED])
    assert day["energy_kwh_t"].item() is None
    assert day["energy_reason"].item() == "power of every drive known for 67 % of the dry solids, 90 needed"


def test_blend_and_season_must_match() -> None:
    """Each sludge saves 10 %. Three quarters winter sludge before and three quarters summer sludge after show 30 %."""
    winter, summer = np.array([10.0, 9.0]), np.array([6.0, 5.4])  # kg/t before, after
    before, after = 0.75 * winter[0] + 0.25 * summer[0], 0.25 * winter[1] + 0.75 * summer[1]
    assert 1 - after / before == pytest.approx(0.30, abs=0.01)  # wrong: the mix has changed
    matched = 0.5 * winter + 0.5 * summer  # one mix for both
    assert 1 - matched[1] / matched[0] == pytest.approx(0.10)


def test_days_are_not_independent() -> None:
    """No effect at all, day-to-day correlation 0.5, 30 days against 30: how often is one "found" at 5 %?

    Standard errors with n days, and with n (1 - rho)/(1 + rho) of them (textbook, from memory; rho known here).
    """
    rng, rho, n, trials = np.random.default_rng(20260105), 0.5, 30, 4000
    noise = rng.standard_normal((trials, 2 * n + 50))
    x = np.zeros_like(noise)
    for k in range(1, x.shape[1]):
        x[:, k] = rho * x[:, k - 1] + noise[:, k]
    one, two = x[:, 50 : 50 + n], x[:, 50 + n :]
    variance = (one.var(axis=1, ddof=1) + two.var(axis=1, ddof=1)) / n
    t = np.abs(one.mean(axis=1) - two.mean(axis=1)) / np.sqrt(variance)
    naive, robust = (t > 2.0).mean(), (t / np.sqrt((1 + rho) / (1 - rho)) > 2.0).mean()
    assert naive > 0.20  # four times what it says
    assert 0.02 < robust < 0.08


def test_neat_drawn_today_is_dosed_tomorrow(kpis: Kpis) -> None:
    """A batch tank is filled on Monday for two days: the neat meter shows 60 and 0 kg/h, the solution meter 2.4 m3/h on both."""
    minutes = [
        m for day, neat in ((0, 0.06), (1, 0.0)) for m in span(3, day=day, polymer_neat_flow=neat, polymer_solution_flow=2.4)
    ]  # fmt: skip
    samples = [FEED, sample("feed", "ts", 2.5, day=1)]
    by_neat = kpis(minutes, samples).sort("operating_day")
    assert by_neat["dose_active_kg_t"].to_list() == pytest.approx([16.0, 0.0])  # wrong by the day, right over both
    by_solution = kpis(minutes, samples, lines=[{"polymer_meter": "solution"}]).sort("operating_day")
    assert by_solution["dose_active_kg_t"].to_list() == pytest.approx([8.0, 8.0])


def test_post_dilution_water_is_no_feed(kpis: Kpis) -> None:
    """6 m3/h of post-dilution water that a feed meter behind the mixing point counts as sludge make 8 kg/t into 7.27."""
    wrong, right = (kpis(span(3, sludge_flow=q, dilution_water_flow=6.0), [FEED]) for q in (66.0, 60.0))
    assert wrong["dose_active_kg_t"].item() == pytest.approx(8.0 / 1.1)
    assert right["dose_active_kg_t"].item() == pytest.approx(8.0)
    assert right["dry_solids_t"].item() == pytest.approx(4.5)  # the water's own meter adds no solids
    assert right["polymer_water_m3_t"].item() == pytest.approx((2.4 + 6.0) / 1.5)


def test_feed_sample_after_the_polymer_reads_low(kpis: Kpis) -> None:
    """Polymer solution is 4 % of the feed flow, so a sample behind the injection reads 2.5/1.04 = 2.40 %."""
    wrong = kpis(span(3), [sample("feed", "ts", 2.5 / 1.04)])
    assert wrong["dose_active_kg_t"].item() == pytest.approx(8.0 * 1.04)
    assert wrong["polymer_feed_ratio_pct"].item() == pytest.approx(4.0)  # what to correct by, beside it
    assert kpis(span(3), [FEED])["dose_active_kg_t"].item() == pytest.approx(8.0)


def test_moisture_is_not_solids(store: Store) -> None:
    """78 % moisture is 22 % cake; entered as solids it would make 3.5 times less cake to haul."""
    assert to_stored(78.0, "moisture", "cake", "%")[:2] == ("ts", 22.0)
    with pytest.raises(RowError):
        to_stored(78.0, "ts", "cake", "%")
    assert macro(store, "wet_cake_t(1.0, 95.0, 78.0)") == pytest.approx(1.22, abs=0.01)  # wrong
    assert macro(store, "wet_cake_t(1.0, 95.0, 22.0)") == pytest.approx(4.32, abs=0.01)


def test_cake_is_weighted_by_solids(kpis: Kpis) -> None:
    """A long day at 18 % and two short ones at 28 %: 9, 3 and 3 t."""
    minutes = span(6) + span(2, day=1) + span(2, day=2)
    samples = [sample("feed", "ts", 2.5, day=d) for d in range(3)] + [
        sample("cake", "ts", v, day=d) for d, v in enumerate((18.0, 28.0, 28.0))
    ]
    week = kpis(minutes, samples, "kpi_week")
    assert pytest.approx(24.67, abs=0.01) == (18 + 28 + 28) / 3  # wrong
    assert week["cake_ts_pct"].item() == pytest.approx((18 * 9 + 28 * 3 + 28 * 3) / 15)  # 22.0


def test_two_lines_share_one_polymer_meter(kpis: Kpis) -> None:
    """One meter, 0.04 m3/h neat, for 60 and 20 m3/h of sludge: 16 kg/h active over 2 t/h are 8 kg/t on both lines."""
    minutes = span(3, polymer_neat_flow=0.04) + span(3, line="line-2", sludge_flow=20.0, polymer_neat_flow=0.04)
    samples = [FEED, sample("feed", "ts", 2.5, line="line-2")]
    both = [{"line": "line-1"}, {"line": "line-2"}]
    counted_twice = kpis(minutes, samples, lines=both).sort("line")
    assert counted_twice["dose_active_kg_t"].to_list() == pytest.approx([16 / 1.5, 16 / 0.5])  # wrong, both
    shared = [
        x | {"shared_roles": "polymer_neat_flow", "shared_group": "line-1, line-2", "shared_with": y} for x, y in zip(both, ("line-2", "line-1"), strict=True)
    ]  # fmt: skip
    split = kpis(minutes, samples, lines=[x | {"shared_split": "by sludge flow"} for x in shared]).sort("line")
    assert split["dose_active_kg_t"].to_list() == pytest.approx([8.0, 8.0])
    refused = kpis(minutes, samples, lines=[x | {"shared_split": "refuse"} for x in shared]).sort("line")
    assert refused["dose_active_kg_t"].to_list() == [None, None]
    assert refused["dose_reason"].to_list() == ["meter shared with line-2, no split rule", "meter shared with line-1, no split rule"]


def test_price_changes_are_not_use_changes(kpis: Kpis) -> None:
    """Polymer goes from 1.5 to 1.8 a kg while the dose falls by a tenth: cost rises by 8 %, use falls by 10 %."""
    tuesday = datetime(2026, 1, 6, tzinfo=UTC)
    days = kpis(
        span(3) + span(3, day=1, polymer_neat_flow=0.027), [FEED, sample("feed", "ts", 2.5, day=1)],
        polymers=[{"to_utc": tuesday}, {"from_utc": tuesday, "price_per_kg_neat": 1.8}],
    ).sort("operating_day")  # fmt: skip
    cost, use = days["cost_polymer_per_t"].to_list(), days["dose_neat_kg_t"].to_list()
    assert cost == pytest.approx([30.0, 32.4])  # read as use: 8 % more polymer, wrong
    assert use == pytest.approx([20.0, 18.0])
    assert cost[1] / cost[0] == pytest.approx(use[1] / use[0] * 1.8 / 1.5)


def test_dose_saving_and_cake_gain_are_not_added(store: Store) -> None:
    """Polymer that works 25 % better: 20 % less dose for the old cake, or drier cake at the old dose, or something between.

    Cake = 24 - 12 exp(-u), u the working dose over 4 kg/t (invented curve); polymer 4 a kg active, haul 70 a wet tonne.
    """
    dose = np.linspace(2.0, 16.0, 1401)

    def cost(gain: float) -> np.ndarray[Any, Any]:
        cake = 24.0 - 12.0 * np.exp(-gain * dose / 4.0)
        wet = [r[0] for r in store.rows("SELECT wet_cake_t(1.0, 95.0, c) FROM (SELECT unnest($cake) AS c)", {"cake": cake.tolist()})]
        return 4.0 * dose + 70.0 * np.array(wet)

    old, new = cost(1.0), cost(1.25)
    at, less = np.searchsorted(dose, 8.0 - 1e-9), np.searchsorted(dose, 6.4 - 1e-9)
    equal_cake, equal_dose = old[at] - new[less], old[at] - new[at]
    best = old[at] - new.min()
    assert equal_cake == pytest.approx(4.0 * 1.6)  # 6.4 a tonne: dose alone
    assert equal_dose > 0.0
    assert equal_cake + equal_dose > 1.2 * best  # the sum is more than any dose can give
    assert max(equal_cake, equal_dose) <= best
