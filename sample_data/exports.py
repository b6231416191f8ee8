"""What the plants' loggers write: three layouts, each day's file as text, from what the instruments showed."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sample_data.scenario import PlantScenario
from sample_data.simulate import Axis, Truth

Array = NDArray[np.float64]


@dataclass
class Shown:
    """One tag as the instrument showed it, minute by minute: value, quality word, and whether it was recorded."""

    tag: str
    unit: str
    values: Array
    digits: int
    deadband: float = 0.0
    is_state: bool = False
    is_total: bool = False
    bad: NDArray[np.bool_] | None = None
    missing: NDArray[np.bool_] | None = None


@dataclass
class File:
    """A file as delivered: name, content, when it lands (hours after the end of its local day), and a subfolder."""

    name: str
    content: bytes
    day: date
    hours_late: float
    folder: str = ""
    notes: list[str] = field(default_factory=list)


def instruments(plant: PlantScenario, truths: list[Truth], rng: np.random.Generator, quiet: bool) -> list[Shown]:
    """Return what every instrument of a plant showed."""
    out: list[Shown] = []
    for t in truths:
        out += {"alder-fork": _alder, "kestrel-mesa": _kestrel, "brenholm": _brenholm}[plant.plant](t)
    if not quiet:
        for shown in out:
            _noise(shown, rng)
    return out


def _noise(s: Shown, rng: np.random.Generator) -> None:
    if s.is_state or s.is_total:
        return
    n = len(s.values)
    if s.unit in ("psi", "bar"):
        s.values = s.values + rng.standard_normal(n) * (0.3 if s.unit == "psi" else 0.02)
    else:
        gain = 1.0 + rng.standard_normal() * 0.01
        s.values = np.where(s.values > 0, s.values * gain * (1 + 0.01 * rng.standard_normal(n)), s.values)


def _alder(t: Truth) -> list[Shown]:
    n = t.line[-1]
    return [
        Shown(f"L{n} FIT-{n}10 Sludge Feed", "GPM", t.flow, 1),
        Shown(f"L{n} FIT-{n}20 Neat Polymer", "GPH", t.neat, 2),
        Shown(f"L{n} FIT-{n}21 Polymer Solution", "GPM", t.solution, 2),
        Shown(f"L{n} FIT-{n}30 Belt Wash", "GPM", t.wash, 1),
        Shown(f"L{n} SI-{n}10 Feed Pump Speed", "RPM", t.speed, 0),
        Shown(f"L{n} JI-{n}10 Feed Pump Power", "kW", t.pump_kw, 2),
        Shown(f"L{n} JI-{n}40 Press Power", "kW", t.device_kw, 2),
        Shown(f"L{n} PIT-{n}11 Pump Suction", "PSI", t.p_suction, 2),
        Shown(f"L{n} PIT-{n}12 Pump Discharge", "PSI", t.p_discharge, 2),
        Shown(f"L{n} PIT-{n}13 Before Mixing", "PSI", t.p1, 2),
        Shown(f"L{n} PIT-{n}14 After Mixing", "PSI", t.p2, 2),
        Shown(f"L{n} YI-{n}10 Feed Pump Run", "", t.pump_on.astype(float), 0, is_state=True),
        Shown(f"L{n} YI-{n}40 Press Run", "", t.device_on.astype(float), 0, is_state=True),
    ]


def _kestrel(t: Truth) -> list[Shown]:
    total = np.concatenate(([0.0], np.cumsum(t.flow)[:-1]))  # gallons pumped before each minute
    register = np.mod(9_500_000.0 + total, 10_000_000.0) / 10.0  # tens of gallons, rolls over at one million
    return [
        Shown("KM.DEW.FT510.PV", "gpm", t.flow, 2, 1.5),
        Shown("KM.DEW.FT520.PV", "gph", t.solution * 60.0, 1, 12.0),
        Shown("KM.DEW.ST510.PV", "Hz", t.speed / 4.0, 3, 0.125),
        Shown("KM.DEW.JT510.PV", "kW", t.pump_kw, 3, 0.1),
        Shown("KM.DEW.JT540.PV", "kW", t.device_kw, 2, 0.5),
        Shown("KM.DEW.PT511.PV", "psi", t.p_suction, 2, 0.1),
        Shown("KM.DEW.PT512.PV", "psi", t.p_discharge, 2, 0.3),
        Shown("KM.DEW.PT513.PV", "psi", t.p1, 2, 0.2),
        Shown("KM.DEW.PT514.PV", "psi", t.p2, 2, 0.2),
        Shown("KM.DEW.WT540.PV", "%", t.torque, 1, 0.5),
        Shown("KM.DEW.YI510.ST", "", t.pump_on.astype(float), 0, is_state=True),
        Shown("KM.DEW.YI540.ST", "", t.device_on.astype(float), 0, is_state=True),
        Shown("KM.DEW.FQ510.PV", "", register, 0, is_total=True),
    ]


def _brenholm(t: Truth) -> list[Shown]:
    return [
        Shown("FT31 Slamflow", "m3/h", t.flow, 2),
        Shown("FT32 Polymerflow", "L/h", t.solution * 1000.0, 0),
        Shown("FT33 Vaskevand", "m3/h", t.wash, 2),
        Shown("ST31 Omdrejninger", "o/min", t.speed, 0),
        Shown("JT31 Effekt pumpe", "kW", t.pump_kw, 2),
        Shown("JT34 Effekt presse", "kW", t.device_kw, 2),
        Shown("PT31 Sugetryk", "bar", t.p_suction, 3),
        Shown("PT32 Tryk efter pumpe", "bar", t.p_discharge, 3),
        Shown("PT33 Tryk før mixer", "bar", t.p1, 3),
        Shown("PT34 Tryk efter mixer", "bar", t.p2, 3),
        Shown("YI31 Slampumpe", "", t.pump_on.astype(float), 0, is_state=True),
        Shown("YI34 Skruepresse", "", t.device_on.astype(float), 0, is_state=True),
    ]


def _text(values: Array, digits: int, quiet: bool, missing: NDArray[np.bool_] | None, part: slice) -> pl.Series:
    rounded = pl.Series(np.round(values[part], 9 if quiet else digits))
    text = rounded.cast(pl.Int64).cast(pl.String) if digits == 0 and not quiet else rounded.cast(pl.String)
    return text if missing is None else text.zip_with(pl.Series(~missing[part]), pl.Series([None], dtype=pl.String).new_from_index(0, len(text)))


def _state_text(values: Array, on: str, off: str, missing: NDArray[np.bool_] | None, part: slice) -> pl.Series:
    text = pl.Series(np.where(values[part] > 0.5, on, off))
    return text if missing is None else text.zip_with(pl.Series(~missing[part]), pl.Series([None], dtype=pl.String).new_from_index(0, len(text)))


def wide_files(plant: PlantScenario, ax: Axis, shown: list[Shown], quiet: bool) -> list[File]:
    """Return one file a local calendar day: titles, header, units, one row a minute in wall-clock order, footers."""
    return [_wide_file(plant, ax, shown, quiet, day, part) for day, part in _calendar_days(ax)]


def _calendar_days(ax: Axis) -> list[tuple[date, slice]]:
    dates = ax.local.dt.date()
    lengths = dates.rle().struct.unnest()
    out, start = [], 0
    for size, day in lengths.iter_rows():
        out.append((day, slice(start, start + size)))
        start += size
    return out


def _wide_file(plant: PlantScenario, ax: Axis, shown: list[Shown], quiet: bool, day: date, part: slice) -> File:
    stamps = ax.local[part].dt.strftime("%m/%d/%Y %H:%M")
    columns: dict[str, Any] = {"Date/Time": stamps}
    for s in shown:
        columns[s.tag] = _state_text(s.values, "1", "0", s.missing, part) if s.is_state else _text(s.values, s.digits, quiet, s.missing, part)
    out = io.BytesIO()
    head = f"Alder Fork Water Reclamation Facility (invented)\nSCADA daily export for {day:%m/%d/%Y}\n\n"
    names, units = ["Date/Time", *(s.tag for s in shown)], ["", *(s.unit for s in shown)]
    out.write((head + ",".join(names) + "\n" + ",".join(units) + "\n").encode())
    pl.DataFrame(columns).write_csv(out, include_header=False)
    for word, of in (("Average", np.mean), ("Minimum", np.min), ("Maximum", np.max)):
        out.write((word + "," + ",".join(f"{of(s.values[part]):.2f}" for s in shown) + "\n").encode())
    out.write(b"End of report\n")
    return File(f"AF_SCADA_{day:%Y%m%d}.csv", out.getvalue(), day, 2.5)


def change_files(ax: Axis, shown: list[Shown], rng: np.random.Generator, *, quiet: bool, deadband: bool) -> list[File]:
    """Return one long file a UTC day: a record when a value leaves its deadband, or after ten minutes of silence."""
    records = [_changes(ax, s, rng, quiet=quiet, deadband=deadband) for s in shown]
    frame = pl.concat(records).sort("time", "tag", maintain_order=True)
    frame = frame.with_columns(day=frame["time"].dt.date(), text_time=frame["time"].dt.strftime("%Y-%m-%dT%H:%M:%S.%3fZ"))
    files = []
    for (day,), rows in frame.group_by("day", maintain_order=True):
        out = io.BytesIO()
        out.write(b"timestamp,point,value,status\n")
        rows.select("text_time", "tag", "value", pl.when(pl.col("status").str.contains(",")).then('"' + pl.col("status") + '"').otherwise("status")).write_csv(out, include_header=False, quote_style="never")
        out.write(f"# rows {rows.height}\n".encode())
        assert isinstance(day, date)
        files.append(File(f"km_hist_{day:%Y%m%d}.csv", out.getvalue(), day, 2.0))
    return files


_SILENCE = {"analog": 10, "state": 240, "total": 5}  # longest time between records [min]


def _changes(ax: Axis, s: Shown, rng: np.random.Generator, *, quiet: bool, deadband: bool) -> pl.DataFrame:
    n = len(s.values)
    limit = _SILENCE["state" if s.is_state else "total" if s.is_total else "analog"]
    band = s.deadband if deadband else 0.0
    missing = s.missing if s.missing is not None else np.zeros(n, dtype=bool)
    bad = s.bad if s.bad is not None else np.zeros(n, dtype=bool)
    keep = _logged(s.values.tolist(), bad.tolist(), limit, band, only_by_clock=s.is_total)
    keep &= ~missing
    times = ax.utc.filter(pl.Series(keep))
    if not quiet:
        times = times + pl.Series(rng.integers(0, 20_000_000, len(times))).cast(pl.Duration("us"))
    values = s.values[keep]
    if s.is_state:
        text = pl.Series(np.where(values > 0.5, "RUN", "STOP"))
    else:
        text = pl.Series(np.floor(values)).cast(pl.Int64).cast(pl.String) if s.is_total and not quiet else pl.Series(np.round(values, 9 if quiet else s.digits)).cast(pl.String)
    status = pl.Series(np.where(bad[keep], "Bad, no communication", "Good"))
    return pl.DataFrame({"time": times.cast(pl.Datetime("us", "UTC")), "tag": [s.tag] * int(keep.sum()), "value": text, "status": status})


def _logged(values: list[float], bad: list[bool], limit: int, band: float, *, only_by_clock: bool) -> NDArray[np.bool_]:
    keep = np.zeros(len(values), dtype=bool)
    last, since, was_bad = float("inf"), limit, False
    for i, value in enumerate(values):
        since += 1
        moved = not only_by_clock and (abs(value - last) > band or bad[i] != was_bad)
        if moved or since >= limit:
            keep[i], last, since, was_bad = True, value, 0, bad[i]
    return keep


def quarter_files(ax: Axis, shown: list[Shown], quiet: bool) -> list[File]:
    """Return one file a local calendar day of 15-minute means stamped at the end of the interval, in Latin-1."""
    quarters = ax.n // 15
    ends = ax.local.gather_every(15).head(quarters)
    utc_end = ax.utc.gather_every(15).head(quarters) + timedelta(minutes=15)
    stamps = utc_end.dt.convert_time_zone("Europe/Copenhagen").dt.strftime("%d-%m-%Y %H:%M")
    columns: dict[str, pl.Series] = {"Tidspunkt": stamps}
    for s in shown:
        mean = s.values[: quarters * 15].reshape(quarters, 15).mean(axis=1)
        gone = None if s.missing is None else s.missing[: quarters * 15].reshape(quarters, 15).any(axis=1)
        whole = slice(0, quarters)
        text = _state_text(mean, "Drift", "Stop", gone, whole) if s.is_state else _text(mean, s.digits, quiet, gone, whole).str.replace(".", ",", literal=True)
        columns[s.tag] = text
    frame = pl.DataFrame(columns).with_columns(day=ends.dt.date())
    files = []
    for (day,), rows in frame.group_by("day", maintain_order=True):
        assert isinstance(day, date)
        files.append(_quarter_file(day, rows.drop("day"), shown))
    return files


def _quarter_file(day: date, rows: pl.DataFrame, shown: list[Shown]) -> File:
    out = io.BytesIO()
    out.write((";".join(rows.columns) + "\n" + ";".join(["", *(s.unit for s in shown)]) + "\n").encode("utf-8"))
    rows.write_csv(out, include_header=False, separator=";", quote_style="never")
    numeric = rows.select([pl.col(s.tag).str.replace(",", ".", literal=True).cast(pl.Float64, strict=False) for s in shown])
    for word, row in (("Middel", numeric.mean()), ("Minimum", numeric.min()), ("Maksimum", numeric.max())):
        out.write((word + ";" + ";".join("" if v is None else f"{v:.2f}".replace(".", ",") for v in row.row(0)) + "\n").encode("utf-8"))
    return File(f"brenholm_15min_{day:%Y%m%d}.csv", out.getvalue().decode("utf-8").encode("latin-1"), day, 2.2)
