"""The generator of invented plants: same seed same bytes, exports as the plant files declare them, a truth that closes."""

from __future__ import annotations

import csv
import json
import tomllib
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from sample_data.generate import START, generate

PLANTS = ("alder-fork", "sorrel-draw", "brenholm")


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("quiet")
    generate(out, weeks=2, seed=3, quiet=True, deadband=False, faults=False)
    return out


@pytest.fixture(scope="module")
def noisy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("noisy")
    generate(out, weeks=2, seed=3, faults=False)
    return out


def files_of(out: Path) -> dict[str, bytes]:
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in sorted(out.rglob("*")) if p.is_file()}


def days(out: Path, plant: str) -> pl.DataFrame:
    return pl.read_parquet(out / plant / "truth" / "day.parquet")


def minutes(out: Path, plant: str) -> pl.DataFrame:
    return pl.read_parquet(out / plant / "truth" / "minute.parquet")


def wide_rows(path: Path) -> list[list[str]]:
    return [line.split(",") for line in path.read_text(encoding="utf-8").splitlines() if line[:1].isdigit()]


def history(out: Path) -> pl.DataFrame:
    parts = []
    for path in sorted((out / "sorrel-draw" / "exports").glob("sorrel_log_*.csv")):
        lines = path.read_text(encoding="utf-8").splitlines()
        assert lines[-1] == f"# rows {len(lines) - 2}"
        parts.append(
            pl.read_csv("\n".join(lines[:-1]).encode(), schema=dict.fromkeys(("timestamp", "point", "value", "status"), pl.String))
        )
    return pl.concat(parts).with_columns(at=pl.col("timestamp").str.to_datetime("%Y-%m-%dT%H:%M:%S.%3fZ", time_unit="us"))


def test_same_seed_gives_the_same_bytes_and_another_seed_others(noisy: Path, tmp_path: Path) -> None:
    generate(tmp_path / "again", weeks=2, seed=3, faults=False, plants=("brenholm", "sorrel-draw"))
    first, again = files_of(noisy), files_of(tmp_path / "again")
    assert all(first[name] == again[name] for name in again)  # also: a plant does not depend on which others are made
    generate(tmp_path / "other", weeks=2, seed=4, faults=False, plants=("brenholm",))
    other = files_of(tmp_path / "other")
    assert other["brenholm/plant.toml"] == first["brenholm/plant.toml"]
    assert other["brenholm/exports/brenholm_15min_20260106.csv"] != first["brenholm/exports/brenholm_15min_20260106.csv"]


@pytest.mark.parametrize("plant", PLANTS)
def test_tags_written_are_those_of_the_plant_file(noisy: Path, plant: str) -> None:
    tags = [s["tag"] for s in tomllib.loads((noisy / plant / "plant.toml").read_text(encoding="utf-8"))["signals"]]
    exports = noisy / plant / "exports"
    if plant == "sorrel-draw":
        assert set(history(noisy)["point"]) == set(tags)
        return
    path, line, mark = {
        "alder-fork": (exports / "ALDER_SCADA_20260106.csv", 3, ","),
        "brenholm": (exports / "brenholm_15min_20260106.csv", 0, ";"),
    }[plant]
    assert path.read_text(encoding="latin-1" if plant == "brenholm" else "utf-8").splitlines()[line].split(mark)[1:] == tags


@pytest.mark.parametrize("plant", PLANTS)
@pytest.mark.parametrize("mode", ["quiet", "noisy"])
def test_truth_of_the_day_is_the_sum_of_its_minutes(plant: str, mode: str, request: pytest.FixtureRequest) -> None:
    out: Path = request.getfixturevalue(mode)
    p = (
        minutes(out, plant)
        .filter("processing")
        .with_columns(solids=pl.col("sludge_flow_m3_h").cast(pl.Float64) * pl.col("feed_ts_pct") / 6000)
    )
    summed = p.group_by("line", "operating_day").agg(
        fed=pl.col("sludge_flow_m3_h").cast(pl.Float64).sum() / 60,
        solids=pl.col("solids").sum(),
        active=pl.col("polymer_active_kg_h").cast(pl.Float64).sum() / 60,
        kwh=(pl.col("pump_power_kw") + pl.col("device_power_kw")).cast(pl.Float64).sum() / 60,
        mixing=(pl.col("mixing_upstream_pressure_kpa") - pl.col("mixing_downstream_pressure_kpa")).cast(pl.Float64).mean(),
        hours=pl.len() / 60,
    )
    both = days(out, plant).filter(pl.col("processing_h") > 0).join(summed, on=["line", "operating_day"], how="left")
    assert both.height == summed.height
    for name, by_minute in {
        "feed_volume_m3": "fed", "dry_solids_t": "solids", "polymer_active_kg": "active", "energy_kwh": "kwh", "processing_h": "hours",
        "mixing_dp_kpa": "mixing",
    }.items():  # fmt: skip
        assert (both[name] / both[by_minute] - 1).abs().max() < 1e-5, name  # minutes are stored as Float32
    assert (both["dose_active_kg_t"] / (both["polymer_active_kg"] / both["dry_solids_t"]) - 1).abs().max() < 1e-12


@pytest.mark.parametrize("plant", PLANTS)
def test_mass_balance_and_capture_formula_close(noisy: Path, plant: str) -> None:
    for row in days(noisy, plant).filter(pl.col("processing_h") > 0).to_dicts():
        ts, cake, x, w = row["feed_ts_pct"], row["cake_ts_pct"], row["filtrate_tss_mg_l"] / 1e4, row["dilution_ratio"]
        capture = (1 - x / ts * (1 + w)) / (1 - x / cake)
        assert 100 * capture == pytest.approx(row["capture_pct"], abs=1e-9)
        cake_wet_t = row["dry_solids_t"] * capture / cake * 100
        filtrate_t = row["feed_volume_m3"] * (1 + w) - cake_wet_t
        assert cake_wet_t * cake / 100 + filtrate_t * x / 100 == pytest.approx(row["dry_solids_t"], rel=1e-9)


@pytest.mark.parametrize("plant", PLANTS)
def test_startup_minutes_are_not_processing(quiet: Path, plant: str) -> None:
    startup = {"alder-fork": 15, "sorrel-draw": 20, "brenholm": 60}[plant]
    frame = minutes(quiet, plant).filter(pl.col("line") == "line-1").sort("minute_utc")
    assert not frame["pump_on"][0]  # the first start is seen
    starts = [i for i, (now, before) in enumerate(zip(frame["pump_on"][1:], frame["pump_on"][:-1], strict=True), 1) if now and not before]
    assert starts
    for i in starts:
        assert not frame["processing"][i : i + startup].any()
        assert frame["processing"][i + startup]


def test_quiet_settings_hold_still(quiet: Path) -> None:
    for plant in PLANTS:
        p = minutes(quiet, plant).filter("processing")
        by_day = p.group_by("line", "operating_day").agg(pl.col("feed_ts_pct").n_unique(), pl.col("relative_dose").n_unique().alias("u"))
        assert by_day["feed_ts_pct"].max() == 1
        assert p["feed_ts_pct"].n_unique() > 5  # but days differ
    alder = (
        minutes(quiet, "alder-fork").filter("processing").group_by("line", "operating_day").agg(pl.col("polymer_neat_flow_m3_h").n_unique())
    )
    assert alder["polymer_neat_flow_m3_h"].max() == 1
    quarter = minutes(quiet, "brenholm").group_by(pl.col("minute_utc").dt.truncate("15m")).agg(pl.col("sludge_flow_m3_h").n_unique())
    assert quarter["sludge_flow_m3_h"].max() == 1


def test_quiet_lab_tells_the_truth_of_every_processing_day(quiet: Path) -> None:
    true = {(r["line"], r["operating_day"]): r for r in days(quiet, "alder-fork").to_dicts() if r["processing_h"] > 0}
    last = sorted((quiet / "alder-fork" / "exports").glob("ALDER_LAB_*.csv"))[-1].read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in last[2:-1]]
    assert last[-1].startswith("Mean,")
    assert len(rows) * 2 == len(true)
    for row in rows:
        day = datetime.strptime(row[0], "%m/%d/%Y").date()  # noqa: DTZ007
        for k, line in enumerate(("line-1", "line-2")):
            names = ("feed_ts_pct", "cake_ts_pct", "filtrate_tss_mg_l")
            assert [float(c) for c in row[2 + 3 * k : 5 + 3 * k]] == pytest.approx([true[line, day][n] for n in names], rel=1e-8)


@pytest.mark.parametrize(
    "plant, start, day, pattern, rows",
    [
        ("alder-fork", date(2026, 3, 2), date(2026, 3, 8), "ALDER_SCADA_{:%Y%m%d}.csv", 1380),
        ("alder-fork", date(2026, 10, 26), date(2026, 11, 1), "ALDER_SCADA_{:%Y%m%d}.csv", 1500),
        ("alder-fork", date(2026, 3, 2), date(2026, 3, 7), "ALDER_SCADA_{:%Y%m%d}.csv", 1440),
        ("brenholm", date(2026, 3, 23), date(2026, 3, 29), "brenholm_15min_{:%Y%m%d}.csv", 92),
        ("brenholm", date(2026, 10, 19), date(2026, 10, 25), "brenholm_15min_{:%Y%m%d}.csv", 100),
    ],
)
def test_days_of_clock_change(tmp_path: Path, plant: str, start: date, day: date, pattern: str, rows: int) -> None:
    """Clock changes of 2026 by the tz database: New York 8 March and 1 November, Copenhagen 29 March and 25 October."""
    generate(tmp_path, weeks=1, start=start, faults=False, plants=(plant,))
    text = (tmp_path / plant / "exports" / pattern.format(day)).read_bytes().decode("latin-1")
    stamps = [line.replace(";", ",").split(",")[0] for line in text.splitlines() if line[:1].isdigit()]
    assert len(stamps) == rows
    if rows == 1500:
        twice = [s[11:] for s in stamps if s[11:13] == "01"]
        assert twice == [f"01:{m:02d}" for m in range(60)] * 2  # the repeated hour comes twice, in order
    if rows == 1380:
        assert not [s for s in stamps if s[11:13] == "02"]
    if plant == "brenholm":
        assert stamps[-1] == f"{day + timedelta(days=1):%d-%m-%Y} 00:00"


def test_wide_file_has_titles_units_and_footers(noisy: Path) -> None:
    lines = (noisy / "alder-fork" / "exports" / "ALDER_SCADA_20260107.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("Alder Fork")
    assert lines[1].startswith("Exported 01/08/2026")
    assert lines[2] == ""
    assert lines[4].split(",")[1] == "gpm"
    rows = [float(line.split(",")[1]) for line in lines[5:-4]]
    assert len(rows) == 1440
    assert [line.split(",")[0] for line in lines[-4:]] == ["Average", "Minimum", "Maximum", "End of report"]
    assert [float(line.split(",")[1]) for line in lines[-4:-1]] == pytest.approx([sum(rows) / 1440, min(rows), max(rows)], abs=0.006)


def test_quarters_are_means_of_minutes(quiet: Path) -> None:
    text = (quiet / "brenholm" / "exports" / "brenholm_15min_20260106.csv").read_text(encoding="latin-1").splitlines()
    assert text[0].split(";")[9] == "PT33 Tryk før mixer"
    row = next(line.split(";") for line in text if line.startswith("06-01-2026 12:15"))
    # stamped at the end, wall clock = UTC + 1 h: 11:00 to 11:15 UTC
    start = datetime.fromisoformat("2026-01-06T11:00+00:00")
    span = minutes(quiet, "brenholm").filter(pl.col("minute_utc").is_between(start, start + timedelta(minutes=14)))
    assert span.height == 15
    assert float(row[1].replace(",", ".")) == pytest.approx(span["sludge_flow_m3_h"].mean(), rel=1e-6)
    assert row[11] == "Drift"


def test_no_tag_is_silent_for_longer_than_its_limit(noisy: Path) -> None:
    frame = history(noisy).sort("point", "at").with_columns(gap=(pl.col("at") - pl.col("at").shift(1).over("point")).dt.total_seconds())
    limits = {"ST": 4 * 3600.0, "PV": 600.0}
    for (point,), rows in frame.group_by("point"):
        limit = 300.0 if ".FQ510." in str(point) else limits[str(point)[-2:]]
        assert rows["gap"].max() <= limit + 9.0, point  # jitter of up to 9 s
    assert set(frame.filter(pl.col("point").str.ends_with(".ST"))["value"]) == {"RUN", "STOP"}
    assert frame["at"].dt.microsecond().n_unique() > 500  # stamps are jittered to the millisecond


def test_deadband_loses_no_more_than_itself(quiet: Path, tmp_path: Path) -> None:
    generate(tmp_path, weeks=2, seed=3, quiet=True, faults=False, plants=("sorrel-draw",))
    held = history(tmp_path).filter(pl.col("point") == "SD.DEW.FT510.PV").select("at", held=pl.col("value").cast(pl.Float64)).sort("at")
    true = minutes(quiet, "sorrel-draw").select(pl.col("minute_utc").dt.replace_time_zone(None).alias("at"), "sludge_flow_m3_h").sort("at")
    both = true.join_asof(held, on="at")
    assert held.height < 0.6 * history(quiet).filter(pl.col("point") == "SD.DEW.FT510.PV").height
    assert (both["held"] - both["sludge_flow_m3_h"] / 0.227124707).abs().max() <= 1.5 + 1e-3  # gpm, deadband of the plant file


def test_totaliser_counts_tens_of_gallons_and_rolls_over(quiet: Path) -> None:
    register = history(quiet).filter(pl.col("point") == "SD.DEW.FQ510.PV").sort("at")["value"].cast(pl.Int64)
    assert register.min() >= 0
    assert register.max() <= 999_999
    steps = register.diff().drop_nulls()
    rolled = steps.filter(steps < 0)
    assert rolled.len() == 1
    gallons = 10 * (steps.sum() + 1_000_000)
    truth = minutes(quiet, "sorrel-draw")["sludge_flow_m3_h"].cast(pl.Float64).sum() / 60 / 0.003785411784
    assert gallons == pytest.approx(truth, rel=1e-4)


def test_speed_is_logged_in_hertz_of_the_drive(quiet: Path) -> None:
    logged = history(quiet).filter(pl.col("point") == "SD.DEW.ST510.PV")["value"].cast(pl.Float64)
    assert logged.max() == pytest.approx(minutes(quiet, "sorrel-draw")["pump_speed_rpm"].max() / 4.0, rel=1e-6)  # 60 Hz turns it at 240 rpm


def test_lab_of_the_second_plant_repeats_and_revises_under_one_number(noisy: Path) -> None:
    rows = [
        r
        for p in (noisy / "sorrel-draw" / "exports").glob("sorrel_lab_*.csv")
        for r in csv.DictReader(p.read_text(encoding="utf-8").splitlines())
    ]
    by_sample: dict[tuple[str, str], set[str]] = {}
    for row in rows:
        by_sample.setdefault((row["sample_id"], "TSS" if row["units"] == "mg/L" else row["units"]), set()).add(row["reported"])
    assert len(rows) > len(by_sample)  # duplicates
    assert any(len(reported) > 1 for reported in by_sample.values())  # revisions
    assert not [s for s, _ in by_sample if s.endswith("-D")]


def test_moisture_month_of_the_third_plant(tmp_path: Path) -> None:
    generate(tmp_path, weeks=6, quiet=True, faults=False, plants=("brenholm",))
    heads = {p.name: p.read_text(encoding="latin-1").splitlines() for p in (tmp_path / "brenholm" / "exports").glob("brenholm_lab_*.csv")}
    wet = {name for name, lines in heads.items() if lines[0] == "Dato;Slam TS mg/L;Kage vandindhold %;Filtrat SS mg/L"}
    assert wet == {"brenholm_lab_20260210.csv", "brenholm_lab_20260217.csv"}  # weeks from 2 and 9 February
    cake = days(tmp_path, "brenholm").filter(pl.col("operating_day") == date(2026, 2, 2))["cake_ts_pct"][0]
    assert float(heads["brenholm_lab_20260210.csv"][1].split(";")[2].replace(",", ".")) == pytest.approx(100 - cake, abs=1e-5)


@pytest.mark.parametrize("plant", PLANTS)
def test_every_file_has_its_delivery_in_order_after_its_day(noisy: Path, plant: str) -> None:
    rows = list(csv.DictReader((noisy / plant / "deliveries.csv").read_text(encoding="utf-8").splitlines()))
    exports = noisy / plant / "exports"
    assert sorted(r["file"] for r in rows) == sorted(p.relative_to(exports).as_posix() for p in exports.rglob("*") if p.is_file())
    arrivals = [datetime.fromisoformat(r["arrives_utc"]) for r in rows]
    assert arrivals == sorted(arrivals)
    for row, arrives in zip(rows, arrivals, strict=True):
        local = datetime.fromisoformat(row["arrives_local"])
        assert local == arrives
        day = datetime.strptime(row["file"].rsplit("_", 1)[1], "%Y%m%d.csv").date()  # noqa: DTZ007
        if any(book in row["file"].lower() for book in ("lab", "tickets", "store")):
            assert timedelta(0) <= local.date() - day <= timedelta(days=1)
        else:
            assert timedelta(days=1) <= local.date() - day <= timedelta(days=2)
            assert local.hour == 2


def test_operators_bring_the_dose_down_after_the_change_and_the_control_line_stays(tmp_path: Path) -> None:
    generate(tmp_path, weeks=14, seed=5, faults=False, plants=("alder-fork",))
    frame = days(tmp_path, "alder-fork").filter(pl.col("processing_h") > 2).with_columns(new=pl.col("operating_day") >= date(2026, 3, 3))
    dose = {
        key: rows["dose_active_kg_t"].median()
        for key, rows in frame.filter(
            (pl.col("operating_day") < date(2026, 3, 3)) | (pl.col("operating_day") > date(2026, 3, 17))
        ).group_by("line", "new")
    }
    assert dose["line-1", False] == pytest.approx(14.0, rel=0.2)  # 17 x 1.15 / exp(-0.36) = 28.0 lb/dt
    assert dose["line-1", True] / dose["line-1", False] == pytest.approx(0.715, abs=0.1)
    assert dose["line-2", True] / dose["line-2", False] == pytest.approx(1.0, abs=0.12)
    week = frame.filter(pl.col("line") == "line-1", pl.col("operating_day").is_between(date(2026, 3, 3), date(2026, 3, 5)))
    assert week["relative_dose"].mean() > 1.3  # first the old dose meets the new arrangement


def test_trials_alternate_with_every_rung(tmp_path: Path) -> None:
    generate(tmp_path, weeks=16, quiet=True, faults=False, plants=("sorrel-draw", "brenholm"))
    centrifuge = days(tmp_path, "sorrel-draw").with_columns(week=pl.int_range(pl.len()) // 7)
    arms = centrifuge.group_by("week", maintain_order=True).agg(pl.col("arm").min().alias("low"), pl.col("arm").max().alias("high"))
    assert arms["low"].to_list() == arms["high"].to_list() == [0, 0, *([0, 1] * 6), 1, 1]
    for (_,), week in centrifuge.filter(pl.col("week").is_between(2, 13), pl.col("rung") > 0).group_by("week"):
        assert sorted(week["rung"]) == [0.55, 0.75, 0.95, 1.0, 1.2]
    press = days(tmp_path, "brenholm").filter(pl.col("rung") > 0)
    assert press.height == 16
    assert press["arm"].sum() == 8
    assert sorted(press.filter(pl.col("arm") > 0)["rung"]) == sorted(press.filter(pl.col("arm") == 0)["rung"])
    # at equal rung the under-mixed arrangement gives wetter cake: 0.6 points and 4 % less effect
    assert press.filter(pl.col("arm") > 0)["cake_ts_pct"].mean() - press.filter(pl.col("arm") == 0)["cake_ts_pct"].mean() < -0.55


def test_constants_of_the_truth(noisy: Path) -> None:
    about = json.loads((noisy / "alder-fork" / "truth" / "plant.json").read_text(encoding="utf-8"))
    assert about["invented"] is True
    assert about["lines"]["line-1"]["potency_shift"] == pytest.approx(0.285, abs=0.001)
    assert about["made_with"]["start"] == START.isoformat()
