"""Folders of files as three invented plants would send them, of shapes no demonstration has. Numbers are made, and known."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import openpyxl

START = datetime(2026, 2, 2)  # noqa: DTZ001  a Monday, wall clock of each plant
DAYS = 8


def runs(at: datetime) -> bool:
    """Return whether a line runs: from 06:30 to 17:00."""
    return 6.5 <= at.hour + at.minute / 60 < 17


def two_presses(folder: Path) -> None:
    """Wide exports with a press column, a header of two rows, units in the names; a lab sheet a week, of each press."""
    draw = random.Random(1)
    for day in range(DAYS):
        rows = ["Time,Press,Belt press,,,", ",,Sludge feed [m3/h],Polymer solution [L/h],Feed pump discharge [bar],Press running"]
        for minute in range(0, 1440, 5):
            at = START + timedelta(days=day, minutes=minute)
            for press in (1, 2):
                on = runs(at)
                feed = (28 + 4 * press + draw.uniform(-1, 1)) * on
                rows.append(f"{at:%d.%m.%Y %H:%M},{press},{feed:.2f},{feed * 40:.0f},{1.8 * on:.2f},{'RUN' if on else 'STOP'}")
        (folder / f"presses_{START + timedelta(days=day):%Y%m%d}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    lab = ["Date,Line,Feed TS %,Cake TS %,Filtrate TSS mg/L"]
    lab += [f"{START + timedelta(days=d):%d.%m.%Y},{p},{2.6 + p / 10:.2f},{21 + p:.1f},{250 + 20 * p}" for d in range(DAYS) for p in (1, 2)]
    (folder / "lab_2026_02.csv").write_text("\n".join(lab) + "\n", encoding="utf-8")


def change_of_value(folder: Path) -> None:
    """Long exports by change of value in a zone without daylight saving, and lab sheets in workbooks."""
    draw = random.Random(2)
    for day in range(DAYS):
        rows = ["timestamp;point;value;status"]
        for minute in range(0, 1440, 2):
            at = START + timedelta(days=day, minutes=minute)
            on = runs(at)
            if not on and minute % 60:
                continue  # nothing changes, but each tag says so once an hour
            feed = (24 + draw.uniform(-1, 1)) * on
            said = {
                "FIT-301 Sludge feed [m3/h]": f"{feed:.2f}", "FIT-302 Polymer neat [L/h]": f"{feed * 0.09:.3f}",
                "SI-301 Feed pump speed [rpm]": f"{feed * 10:.0f}", "XS-310 Centrifuge run": "1" if on else "0",
                "TT-900 Thermocouple [degC]": f"{21 + draw.uniform(-1, 1):.1f}",
            }  # fmt: skip
            rows += [f"{at:%Y-%m-%d %H:%M:%S};{point};{value};Good" for point, value in said.items()]
        (folder / f"cov_{START + timedelta(days=day):%Y%m%d}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Sample date", "Feed TS %", "Cake TS %", "Centrate TSS mg/L", "Remarks"])
    for d in range(DAYS):
        sheet.append(
            [START + timedelta(days=d, hours=10), 2.4 + d / 50, 22.5 + d / 10, 380 + 10 * d, "rain in the night before" if d == 3 else None]
        )
    book.save(folder / "lab.xlsx")


def registers(folder: Path) -> None:
    """Hourly registers in columns, with scale tickets of the cake hauled and a daily lab sheet."""
    total, polymer = 120_000.0, 5_400.0
    rows = ["Hour,Sludge total [m3],Polymer total [L],Screw press run"]
    for hour in range(DAYS * 24):
        at = START + timedelta(hours=hour)
        on = runs(at)
        total, polymer = total + 18.0 * on, polymer + 2.1 * on
        rows.append(f"{at:%Y-%m-%d %H:%M},{total:.1f},{polymer:.2f},{'ON' if on else 'OFF'}")
    (folder / "registers_202602.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    tickets = ["Date,Time,Ticket no,Gross t,Tare t,Net tons"]
    tickets += [
        f"{START + timedelta(days=d):%Y-%m-%d},15:30,{88_120 + d},{28.4 + d / 10:.2f},{14.1:.2f},{14.3 + d / 10:.2f}" for d in range(DAYS)
    ]
    (folder / "tickets_202602.csv").write_text("\n".join(tickets) + "\n", encoding="utf-8")
    lab = ["Date,Feed TS %,Cake TS %"]
    lab += [f"{START + timedelta(days=d):%Y-%m-%d},{2.2 + d / 40:.2f},{19.5 + d / 10:.1f}" for d in range(DAYS)]
    (folder / "daily_lab.csv").write_text("\n".join(lab) + "\n", encoding="utf-8")


FOLDERS: dict[str, tuple[Callable[[Path], None], str]] = {
    "two-presses": (two_presses, "Europe/Berlin"),
    "change-of-value": (change_of_value, "America/Phoenix"),
    "registers": (registers, "America/Denver"),
}
