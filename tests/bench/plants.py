"""A bench plant (20 signals a line, two lines unless told otherwise) and its files: long, wide, change-of-value, damaged, lab.

Numbers are drawn from a seeded generator; they are plausible in size, nothing more.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

# role -> (unit, transmitter range, typical value, relative scatter)
ROLES: dict[str, tuple[str, tuple[float, float] | None, float, float]] = {
    "sludge_flow": ("m3/h", (0, 200), 90.0, 0.02),
    "polymer_neat_flow": ("L/h", (0, 200), 52.0, 0.02),
    "polymer_solution_flow": ("m3/h", (0, 20), 5.4, 0.02),
    "dilution_water_flow": ("m3/h", (0, 20), 2.0, 0.02),
    "wash_water_flow": ("m3/h", (0, 40), 18.0, 0.02),
    "seal_water_flow": ("m3/h", (0, 2), 0.4, 0.02),
    "pump_speed": ("rpm", (0, 1800), 1180.0, 0.005),
    "pump_power": ("kW", (0, 40), 14.7, 0.02),
    "device_power": ("kW", (0, 60), 11.0, 0.02),
    "pump_suction_pressure": ("kPa", (-100, 300), 40.0, 0.02),
    "pump_discharge_pressure": ("kPa", (0, 1000), 360.0, 0.02),
    "mixing_upstream_pressure": ("kPa", (0, 1000), 340.0, 0.02),
    "mixing_downstream_pressure": ("kPa", (0, 1000), 130.0, 0.02),
    "mixing_valve_position": ("%", (0, 100), 40.0, 0.01),
    "polymer_solution_strength": ("%", (0, 1), 0.4, 0.02),
    "feed_solids": ("%", (0, 8), 2.4, 0.02),
    "device_torque": ("%", (0, 100), 45.0, 0.02),
    "pump_run": ("state", None, 1.0, 0.0),
    "device_run": ("state", None, 1.0, 0.0),
    "polymer_run": ("state", None, 1.0, 0.0),
}
LINES = ("line-1", "line-2")
FEED_TS_PCT = 2.4  # of every lab sample
START = datetime(2026, 1, 5, tzinfo=UTC)


def tag(line: str, role: str) -> str:
    """Return the bench tag of a role on a line."""
    return f"B{line.rpartition('-')[2]}.{role.upper()}"


def lines(count: int) -> tuple[str, ...]:
    """Return the ids of so many lines."""
    return tuple(f"line-{n}" for n in range(1, count + 1))


def write_plant_file(path: Path, *, plant: str = "bench", count: int = len(LINES)) -> None:
    """Write the bench plant file (UTC, operating day from midnight)."""
    every = lines(count)
    out = [
        f'[plant]\nid = "{plant}"\nname = "Bench plant (invented)"\ninvented = true\ntime_zone = "UTC"\nunits = "SI"\n',
    ]
    out += [
        f'[[lines]]\nid = "{line}"\nname = "{line}"\ndevice = "belt press"\ndevice_width = "2 m"\nfeed_cutoff = "5 m3/h"\n'
        f'polymer_cutoff = "2 L/h"\npolymer_meter = "neat"\nreference_flow = "90 m3/h"\ndilution_counted = "polymer"\n'
        f'[lines.pump]\nid = "P{line.rpartition("-")[2]}"\nkind = "rotodynamic"\n'
        for line in every
    ]
    for line in every:
        for role, (unit, span, _, _) in ROLES.items():
            limits = f"range = [{span[0]}, {span[1]}]\n" if span else ""
            out.append(f'[[signals]]\nline = "{line}"\nrole = "{role}"\ntag = "{tag(line, role)}"\nunit = "{unit}"\n{limits}')
    out.append(
        '[[layouts]]\nid = "long"\nkind = "long"\nfiles = "long*.csv"\ntime_column = "time"\ntime_format = "iso8601"\ntime_zone = "UTC"\n'
        'tag_column = "tag"\nvalue_column = "value"\nquality_column = "quality"\n'
        'quality_words = { good = ["Good"], uncertain = ["Uncertain"], bad = ["Bad"] }\n'
        '[[layouts]]\nid = "wide"\nkind = "wide"\nfiles = "wide*.csv"\ntime_column = "time"\ntime_format = "%Y-%m-%d %H:%M:%S"\ntime_zone = "UTC"\n'
        '[[layouts]]\nid = "lab"\nkind = "lab long"\nfiles = "lab*.csv"\ntime_column = "time"\ntime_format = "iso8601"\ntime_zone = "UTC"\n'
        'point_column = "point"\nanalyte_column = "analyte"\nresult_column = "result"\nunit_column = "unit"\n'
        '[[lab.analytes]]\nnames = ["TS"]\nanalyte = "ts"\n'
        + "".join(f'[[lab.sample_points]]\nnames = ["feed {line}"]\nline = "{line}"\npoint = "feed"\n' for line in every)
    )
    out.append(
        f'[[polymers]]\nlines = {list(every)}\nproduct = "cationic emulsion"\nform = "emulsion"\ndensity = "1.03 kg/L"\n'
        'active_fraction = 0.41\nsolution_strength_pct = 0.4\nprice_neat = "1.45 per kg"\nsince = 2025-01-01\n'
        '[[prices]]\nsince = 2025-01-01\ndisposal_wet = "66 per t"\npower = "0.12 per kWh"\n'
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(out), encoding="utf-8")


def write_lab(path: Path, days: int, *, first: datetime = START, count: int = len(LINES)) -> None:
    """Write a lab sheet with one feed TS a line and day, taken at noon."""
    rows = [
        f"{first + timedelta(days=day, hours=12):%Y-%m-%dT%H:%M:%SZ},feed {line},TS,{FEED_TS_PCT},%"
        for day in range(days)
        for line in lines(count)
    ]
    path.write_text("\n".join(["time,point,analyte,result,unit", *rows]) + "\n", encoding="utf-8")


def signals(count: int = len(LINES)) -> list[tuple[str, float, float]]:
    """Return (tag, typical value, scatter) of all signals."""
    return [(tag(line, role), typical, scatter) for line in lines(count) for role, (_, _, typical, scatter) in ROLES.items()]


def long_frame(first: datetime, seconds: int, step_s: int, rng: np.random.Generator) -> pl.DataFrame:
    """Return time-ordered long rows: time text, tag, value text, quality; 40 rows per step."""
    steps = seconds // step_s
    names = [s[0] for s in signals()]
    typical = np.array([s[1] for s in signals()])
    scatter = np.array([s[2] for s in signals()])
    values = typical * (1.0 + scatter * rng.standard_normal((steps, len(names))))
    stamps = pl.datetime_range(first, first + timedelta(seconds=(steps - 1) * step_s), f"{step_s}s", time_unit="us", eager=True)
    text = stamps.dt.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    return pl.DataFrame(
        {
            "time": text.gather(np.repeat(np.arange(steps), len(names))),
            "tag": pl.Series(names).gather(np.tile(np.arange(len(names)), steps)),
            "value": np.round(values.ravel(), 3),
            "quality": pl.repeat("Good", steps * len(names), eager=True),
        }
    )


def write_long(path: Path, rows: int, *, seed: int = 1, first: datetime = START, step_s: int = 1, bad_share: float = 0.0) -> int:
    """Write about `rows` long rows, a reading every `step_s`; returns the rows written. `bad_share` get an unreadable value."""
    rng = np.random.default_rng(seed)
    per_step = len(signals())
    left, at, written = rows, first, 0
    with path.open("wb") as out:
        header = True
        while left >= per_step:
            steps = min(21_600, left // per_step)
            frame = long_frame(at, steps * step_s, step_s, rng)
            if bad_share:
                hit = pl.Series(rng.random(frame.height) < bad_share)
                frame = frame.with_columns(value=pl.when(hit).then(pl.lit("Bad Input")).otherwise(pl.col("value").cast(pl.String)))
            frame.write_csv(out, include_header=header)
            header, at = False, at + timedelta(seconds=steps * step_s)
            left, written = left - steps * per_step, written + steps * per_step
    return written


def write_wide(
    path: Path, rows: int, *, seed: int = 1, first: datetime = START, step_s: int = 60, count: int = len(LINES), part: slice = slice(None)
) -> int:
    """Write a wide file: one row a minute, one column a signal (of a `part` of them); returns the cells written."""
    rng = np.random.default_rng(seed)
    stamps = pl.datetime_range(first, first + timedelta(seconds=(rows - 1) * step_s), f"{step_s}s", time_unit="us", eager=True)
    columns = {name: np.round(typical * (1 + scatter * rng.standard_normal(rows)), 3) for name, typical, scatter in signals(count)[part]}
    pl.DataFrame({"time": stamps.dt.strftime("%Y-%m-%d %H:%M:%S"), **columns}).write_csv(path)
    return rows * len(columns)


def write_changes(path: Path, seconds: int, *, seed: int = 1, first: datetime = START, deadband: float = 1.5) -> int:
    """Write a change-of-value file: of a reading each second only those a deadband (in standard deviations) away from the last
    one written, and one a minute as a sign of life; rows in order of time. Returns the rows written.
    """
    rng = np.random.default_rng(seed)
    parts = []
    for name, typical, scatter in signals():
        walk = np.cumsum(rng.standard_normal(seconds)) * 0.2
        walk -= np.linspace(0.0, walk[-1], seconds)
        kept, last = [], np.inf
        for second, at in enumerate(walk):
            if abs(at - last) >= deadband or second % 60 == 0:
                kept.append(second)
                last = at
        value = np.round(typical * (1 + scatter * np.clip(walk[kept], -4, 4)), 3)
        parts.append(pl.DataFrame({"second": kept, "tag": name, "value": value}))
    rows = pl.concat(parts).sort("second", "tag", maintain_order=True)
    stamps = (pl.lit(first) + pl.duration(seconds="second")).dt.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    rows.select(time=stamps, tag="tag", value="value", quality=pl.lit("Good")).write_csv(path)
    return rows.height
