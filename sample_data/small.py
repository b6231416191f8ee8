"""The small committed set: two weeks of Alder Fork with planted, listed damage. `python -m sample_data.small` writes it again.

To stay below 2 MB each day holds the hours 06:30 to 15:30 only, in which both lines start, run and stop.
"""

from __future__ import annotations

import argparse
import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sample_data.generate import START, Made, make
from sample_data.scenario import PLANTS

FOLDER = Path(__file__).parent / "small"
SEED, WEEKS = 2026, 2
FIRST_CLOCK, LAST_CLOCK = "06:30", "15:30"
ABOVE = 5  # lines above the data: two titles, a blank, header, units
_TRUTH = (
    "line", "operating_day", "run_h", "processing_h", "starts", "feed_volume_m3", "dry_solids_t", "polymer_active_kg", "dose_active_kg_t",
    "feed_ts_pct", "cake_ts_pct", "capture_pct", "filtrate_tss_mg_l", "dilution_ratio", "mixing_dp_kpa", "mixing_dp_ref_kpa",
    "pump_dp_kpa", "energy_kwh",
)  # fmt: skip
_NOISE_BYTES = 4096  # size of the binary file


@dataclass(frozen=True)
class Damage:
    """One planted damage: where, what, and what must become of it; line 0 is the file as a whole."""

    file: str
    line: int
    what: str
    reason: str  # from the closed list of reasons, or empty
    handling: str


Planted = tuple[bytes, list[Damage]]


def files() -> dict[str, bytes]:
    """Return every file of the set by its path below the folder."""
    made = make(PLANTS["alder-fork"], weeks=WEEKS, seed=SEED, start=START, quiet=False, deadband=True, faults=False)
    taken = [f for f in made.files if f.name.startswith(("ALDER_SCADA", "ALDER_LAB"))]  # no tickets and no store book in the small set
    exports = {f.name: _hours(f.content) if f.name.startswith("ALDER_SCADA") else f.content for f in taken}
    listed: list[Damage] = []
    for name, act in _DAMAGE.items():
        exports[name], more = act(name, exports.get(name, b""))
        listed += more
    out = {f"exports/{name}": content for name, content in exports.items()}
    return out | {"damage.csv": _listed(listed), "DAMAGE.md": _told(listed), "truth_day.csv": _truth(made)}


def write(folder: Path) -> None:
    """Write the set into a folder."""
    for name, content in files().items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)


def _hours(content: bytes) -> bytes:
    """Return a day's file with the rows of the kept hours, and footers that fit them."""
    lines = content.decode().split("\n")
    rows = [r for r in lines[ABOVE:] if r[:1].isdigit() and FIRST_CLOCK <= r[11:16] <= LAST_CLOCK]
    numbers = np.array([[float(c) for c in r.split(",")[1:]] for r in rows])
    footers = [
        ",".join([word, *(f"{v:.2f}" for v in of(numbers, axis=0))])
        for word, of in (("Average", np.mean), ("Minimum", np.min), ("Maximum", np.max))
    ]
    return ("\n".join([*lines[:ABOVE], *rows, *footers, "End of report"]) + "\n").encode()


def _at(lines: list[str], clock: str) -> int:
    """Return the index of the row of a time of day."""
    return next(i for i, r in enumerate(lines) if r[11:16] == clock and r[:1].isdigit())


def _cell(lines: list[str], row: int, column: int, text: str) -> None:
    cells = lines[row].split(",")
    cells[column] = text
    lines[row] = ",".join(cells)


def _joined(lines: list[str]) -> bytes:
    return "\n".join(lines).encode()


def _other_unit(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    lines[ABOVE - 1] = lines[ABOVE - 1].replace("psi", "kPa")
    handling = "file refused whole; values would be wrong by a factor of 6.9"
    return _joined(lines), [Damage(name, 0, "unit row says kPa, values are psi", "unit row disagrees with plant file", handling)]


def _bad_stamps(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    first, second = _at(lines, "10:05"), _at(lines, "10:06")
    lines[first] = lines[first].replace("10:05", "25:05", 1)
    lines[second] = lines[second].replace("2026", "2036", 1)
    return _joined(lines), [
        Damage(name, first + 1, "time stamp with hour 25", "time stamp unreadable", "row set aside"),
        Damage(name, second + 1, "time stamp ten years ahead", "time in the future", "row set aside"),
    ]


def _words(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    first, other = _at(lines, "09:10"), _at(lines, "11:30")
    for i in range(first, first + 3):
        _cell(lines, i, 1, "I/O timeout")
    _cell(lines, other, 12, "MAINT")
    aside = "value set aside, other values of the row kept"
    return _joined(lines), [
        *(Damage(name, i + 1, "words in the feed flow of line 1", "text in number", aside) for i in range(first, first + 3)),
        Damage(name, other + 1, "a state word no one declared, in the run state of line 1", "unknown state word", aside),
    ]


def _out_of_range(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    first, other = _at(lines, "08:40"), _at(lines, "08:50")
    _cell(lines, first, 1, "9999.0")
    _cell(lines, other, 22, "180.0")
    aside = "value set aside, other values of the row kept"
    return _joined(lines), [
        Damage(name, first + 1, "feed flow of line 1 reads 9999 gpm", "value outside physical range", aside),
        Damage(name, other + 1, "discharge pressure of line 2 reads 180 psi, range 0 to 100", "value outside transmitter range", aside),
    ]


def _repeated(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    at = _at(lines, "12:00")
    lines[at + 5 : at + 5] = lines[at : at + 5]
    rows = (Damage(name, i + 1, "row written twice", "", "counted as duplicate, no other effect") for i in range(at + 5, at + 10))
    return _joined(lines), list(rows)


def _new_column(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    first, end = _at(lines, "09:30"), next(i for i, r in enumerate(lines) if r.startswith("End of report"))
    filled = range(first, first + 5)
    for i in range(ABOVE - 2, end):
        lines[i] += "," + ("L1 XX-199 Spare" if i == ABOVE - 2 else "psi" if i == ABOVE - 1 else "1.0" if i in filled else "")
    what = "a value in a column the plant file does not know"
    return _joined(lines), [Damage(name, i + 1, what, "", "not read, counted in untied_tags; other values of the row kept") for i in filled]


def _cut(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    at = _at(lines, "14:30")
    last = ",".join(lines[at].split(",")[:8])
    what = "file ends in the middle of this row, without line end and footers"
    return _joined([*lines[:at], last]), [Damage(name, at + 1, what, "partial last row", "row set aside, all before it kept")]


def _wrong_width(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    long, short = _at(lines, "10:15"), _at(lines, "10:30")
    lines[long] += ",7"
    lines[short] = ",".join(lines[short].split(",")[:-3])
    blank = _at(lines, "13:00")
    for i in range(blank, blank + 4):
        _cell(lines, i, 1, "")
    return _joined(lines), [
        Damage(name, long + 1, "one field too many", "row has too many fields", "row set aside"),
        Damage(name, short + 1, "three fields missing at the end", "row has too few fields", "row set aside"),
        *(Damage(name, i + 1, "blank feed flow of line 1", "", "no record, never zero") for i in range(blank, blank + 4)),
    ]


def _lab(name: str, content: bytes) -> Planted:
    lines = content.decode().split("\n")
    rows = [i for i, r in enumerate(lines) if r[:1].isdigit()]
    _cell(lines, rows[-1], 2, "24100")
    _cell(lines, rows[-2], 6, "press down")
    aside = "result set aside, others of the row kept"
    return _joined(lines), [
        Damage(name, rows[-1] + 1, "feed TS of press 1 typed in mg/L in a column of %", "unit implausible", aside),
        Damage(name, rows[-2] + 1, "words in place of the cake TS of press 2", "text in number", aside),
    ]


def _empty(name: str, content: bytes) -> Planted:
    del content
    return b"", [Damage(name, 0, "empty file", "file not readable", "file refused whole")]


def _binary(name: str, content: bytes) -> Planted:
    del content
    noise = np.random.default_rng(SEED).integers(0, 256, _NOISE_BYTES, dtype=np.uint8).tobytes()
    return noise, [Damage(name, 0, "binary file under the name of an export", "file not readable", "file refused whole")]


def _other_layout(name: str, content: bytes) -> Planted:
    del content
    text = "Moment;Signal;Reading\n2026-01-21 08:00;feed;401\n2026-01-21 08:01;feed;399\n"
    return text.encode(), [Damage(name, 0, "columns of no declared layout", "unknown layout", "file refused whole")]


def _note(name: str, content: bytes) -> Planted:
    del content
    text = "press 2: belt tracking adjusted, restarted 11:20\n"
    return text.encode(), [Damage(name, 0, "a note whose name fits no layout", "unknown layout", "file refused whole")]


_DAMAGE = {
    "ALDER_SCADA_20260107.csv": _bad_stamps, "ALDER_SCADA_20260108.csv": _words, "ALDER_SCADA_20260109.csv": _out_of_range,
    "ALDER_SCADA_20260110.csv": _other_unit, "ALDER_SCADA_20260112.csv": _repeated, "ALDER_SCADA_20260113.csv": _new_column,
    "ALDER_SCADA_20260114.csv": _cut, "ALDER_SCADA_20260116.csv": _wrong_width, "ALDER_LAB_20260119.csv": _lab,
    "ALDER_SCADA_20260119.csv": _empty, "ALDER_SCADA_20260120.csv": _binary, "ALDER_SCADA_20260121.csv": _other_layout,
    "ALDER_NOTES_20260116.csv": _note,
}  # fmt: skip


def _listed(listed: list[Damage]) -> bytes:
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("file", "line", "what", "expected_reason", "expected_handling"))
    rows.writerows((d.file, d.line or "", d.what, d.reason, d.handling) for d in listed)
    return out.getvalue().encode()


def _told(listed: list[Damage]) -> bytes:
    head = f"""# Two weeks of an invented plant, damaged on purpose

Written by `python -m sample_data.small` (seed {SEED}); a test compares it byte for byte. No real facility is meant.

- `exports/`: Alder Fork, both belt presses, {START:%d %B %Y} and the {7 * WEEKS - 1} days after, one row a minute. To stay small each
  day holds the hours {FIRST_CLOCK} to {LAST_CLOCK} only, in which both lines start, run and stop. Plant file: `../plants/alder-fork.toml`.
- `truth_day.csv`: what truly happened on each operating day, without noise and without the damage.
- `damage.csv`: the table below. Lines count from 1; no line means the file as a whole.

| file | line | what | expected reason | expected handling |
|---|---|---|---|---|
"""
    rows = (f"| {d.file} | {d.line or ''} | {d.what} | {d.reason} | {d.handling} |\n" for d in listed)
    return (head + "".join(rows)).encode()


def _truth(made: Made) -> bytes:
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(_TRUTH)
    for row in made.rows:
        rows.writerow([f"{v:.6g}" if isinstance(v, float) else v for v in (row[k] for k in _TRUTH)])
    return out.getvalue().encode()


def main() -> None:
    """Parse the command line and write."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("out", type=Path, nargs="?", default=FOLDER)
    write(ask.parse_args().out)


if __name__ == "__main__":
    main()
