"""The fault script of each plant, as data. Days count from the first operating day, a Monday."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One fault to plant.

    anchor `run`: `first` minutes after start-up of the day's first run; `after`: after the pump's last stop of the day;
    `day`: whole operating days; `file`: the export file of a day (`minutes`: until its loss no longer shows).
    """

    kind: str
    day: int
    line: str
    anchor: str
    first: int
    minutes: int
    role: str
    amount: float
    handled: str
    effect: str


_HOLDS = "the true process moves, and the meters show it"
_LOST = "shows as out of range: set aside, minutes missing"


def _file(kind: str, day: int, handled: str, effect: str, minutes: int = 1440) -> Entry:
    return Entry(kind, day, "", "file", 0, minutes, "", 0.0, handled, effect)


_ALDER = (
    _file("columns in another order", 1, "yes", "columns reversed: names decide"),
    _file("duplicate file", 2, "yes", "the same file again a day later"),
    _file("text in number", 3, "yes", "twenty cells of feed flow of line 1 hold a logger's error words"),
    _file("file re-sent with changes", 4, "yes", "first version has forty wrong feed flows, the second is right"),
    _file("unit row changed", 8, "no", "unit row says kPa where values stay psi: the file must be refused"),
    _file("late file", 9, "yes", "arrives nine days late"),
    _file("late file", 10, "yes", "arrives nine days late"),
    _file("overlapping file", 11, "yes", "begins with the last four hours of the day before again"),
    Entry("flatline", 15, "line-1", "run", 60, 180, "sludge_flow", 0.0, "no", "feed flow frozen for three hours while running"),
    Entry("out of range", 16, "line-1", "run", 90, 5, "sludge_flow", 9999.0, "yes", _LOST),
    Entry("spike burst", 17, "line-1", "run", 100, 36, "sludge_flow", 1.4, "no", "every third value 40 % high within the meter's range"),
    Entry("no record", 18, "line-1", "run", 120, 40, "sludge_flow", 0.0, "yes", "no record for 40 minutes"),
    Entry("run bit stuck on", 22, "line-2", "after", 0, 900, "pump_run", 1.0, "yes", "run bit stays on overnight: no flow, no speed"),
    Entry("run bit stuck off", 23, "line-2", "day", 0, 1440, "pump_run", 0.0, "no", "run bit says off while everything else says on"),
    Entry("lab unit slip", 24, "line-2", "day", 0, 1440, "", 0.0, "no", "feed TS typed in mg/L below %: no usable sample that day"),
    Entry("lab swapped bottles", 25, "line-1", "day", 0, 1440, "", 0.0, "no", "feed and filtrate bottles swapped: set contradicts itself"),
    Entry("valve throttled", 29, "line-2", "day", 0, 3 * 1440, "", 12.0, "yes", "mixing valve 12 psi tighter for three days; " + _HOLDS),
    Entry("polymer outage", 32, "line-1", "run", 120, 25, "", 0.0, "yes", "no polymer for 25 minutes; " + _HOLDS),
    Entry("dry run", 36, "line-1", "run", 100, 4, "", 0.0, "yes", "pump turns without sludge; " + _HOLDS),
    Entry("dry run", 36, "line-1", "run", 160, 4, "", 0.0, "yes", "pump turns without sludge; " + _HOLDS),
    Entry("dry run", 36, "line-1", "run", 220, 4, "", 0.0, "yes", "pump turns without sludge; " + _HOLDS),
    Entry("wash water low", 37, "line-2", "day", 0, 1440, "", 0.5, "yes", "half the wash water; " + _HOLDS),
    Entry("polymer left on", 38, "line-1", "after", 30, 300, "", 6.0, "yes", "polymer runs five hours without sludge; " + _HOLDS),
    Entry("feed TS step", 43, "", "day", 0, 4 * 1440, "", 1.25, "yes", "feed solids 25 % up for four days; " + _HOLDS),
    Entry("weak solution", 50, "line-1", "day", 0, 2 * 1440, "", 0.7, "yes", "30 % less neat polymer for two days; " + _HOLDS),
    Entry("lab moisture for solids", 59, "line-1", "day", 0, 1440, "", 0.0, "no", "cake moisture typed as solids: no usable cake that day"),
    Entry("plugged tap", 71, "line-2", "day", 0, 2 * 1440, "pump_discharge_pressure", 0.0, "no", "frozen for two days: pump dP wrong"),
    Entry("short cycling", 78, "line-2", "run", 60, 120, "", 0.0, "yes", "pump 8 minutes on, 7 off for two hours; " + _HOLDS),
    Entry("blocked suction", 85, "line-1", "run", 60, 40, "", 0.85, "yes", "flow down 15 %, suction down 4 psi; " + _HOLDS),
    Entry("overdosing", 92, "line-2", "day", 0, 5 * 1440, "", 1.4, "yes", "40 % too much polymer for a week; " + _HOLDS),
    Entry("re-ranged", 99, "line-2", "day", 0, 5 * 1440, "sludge_flow", 1.25, "no", "reads 25 % high, range changed unlogged"),
)  # fmt: skip
_SORREL = (
    Entry("bad quality burst", 1, "line-1", "run", 90, 35, "", 0.0, "yes", "all analog tags marked bad: minutes missing"),
    _file("duplicate file", 2, "yes", "the same file again a day later"),
    _file("late file", 3, "yes", "arrives nine days late"),
    _file("late file", 4, "yes", "arrives nine days late"),
    Entry("lab unit slip", 7, "line-1", "day", 0, 1440, "", 0.0, "no", "feed TS typed in mg/L with unit %: no usable feed sample that day"),
    Entry("totaliser reset", 8, "line-1", "run", 120, 1, "sludge_total", 0.0, "yes", "register set to zero"),
    Entry("polymer outage", 9, "line-1", "run", 60, 25, "", 0.0, "yes", "no polymer for 25 minutes; " + _HOLDS),
    Entry("lab swapped bottles", 10, "line-1", "day", 0, 1440, "", 0.0, "no", "feed and centrate bottles swapped: set contradicts itself"),
    Entry("lab revised", 11, "line-1", "day", 0, 1440, "", 1 / 0.88, "yes", "feed TS first 14 % high, revised by -12 % three days later"),
    Entry("plugged tap", 16, "line-1", "run", 60, 720, "pump_discharge_pressure", 0.0, "no", "frozen for 12 hours: pump dP wrong"),
    Entry("weak solution", 22, "line-1", "day", 0, 2 * 1440, "", 0.7, "no", "solution 30 % weak; the flow meter cannot see it"),
    Entry("feed TS step", 29, "line-1", "day", 0, 3 * 1440, "", 1.25, "yes", "feed solids 25 % up for three days; " + _HOLDS),
    Entry("blocked suction", 36, "line-1", "run", 60, 40, "", 0.85, "yes", "flow down 15 %, suction down 4 psi; " + _HOLDS),
    Entry("out of range", 37, "line-1", "run", 60, 10, "polymer_solution_flow", 9999.0, "yes", _LOST),
    Entry("torque excursion", 43, "line-1", "run", 90, 30, "", 35.0, "yes", "torque up 35 points for half an hour; " + _HOLDS),
    Entry("flatline", 44, "line-1", "run", 60, 180, "sludge_flow", 0.0, "no", "feed flow frozen for three hours while running"),
    Entry("lab moisture for solids", 50, "line-1", "day", 0, 1440, "", 0.0, "no", "cake moisture typed as solids: no usable cake that day"),
    Entry("deadhead", 57, "line-1", "run", 90, 2, "", 0.0, "yes", "discharge closed for two minutes; " + _HOLDS),
    Entry("short cycling", 64, "line-1", "run", 60, 120, "", 0.0, "yes", "pump 8 minutes on, 7 off for two hours; " + _HOLDS),
    Entry("uncertain quality", 71, "line-1", "run", 30, 360, "sludge_flow", 0.0, "yes", "marked uncertain for six hours: used and counted"),
    Entry("local override", 72, "line-1", "run", 30, 60, "polymer_solution_flow", 0.0, "yes", "marked good with a longer quality word"),
    Entry("no record", 78, "line-1", "run", 60, 120, "", 0.0, "yes", "no record of any analog tag for two hours"),
)  # fmt: skip
_BRENHOLM = (
    Entry("out of range", 1, "line-1", "run", 300, 15, "sludge_flow", 99.0, "yes", _LOST),
    _file("duplicate file", 2, "yes", "the same file again a day later"),
    _file("columns in another order", 3, "yes", "columns reversed: names decide"),
    _file("late file", 5, "yes", "arrives nine days late"),
    _file("late file", 6, "yes", "arrives nine days late"),
    Entry("no record", 8, "line-1", "run", 300, 90, "sludge_flow", 0.0, "yes", "no record for an hour and a half"),
    _file("file re-sent with changes", 10, "yes", "first version has wrong feed flows, the second is right"),
    _file("unit row changed", 12, "no", "unit row says kPa, values stay bar: refused; start-up the day after", 1500),
    Entry("polymer outage", 15, "line-1", "run", 300, 30, "", 0.0, "yes", "no polymer for half an hour; " + _HOLDS),
    _file("decimal point file", 22, "no", "points for decimal commas: no number can be trusted; start-up the day after", 1500),
    Entry("flatline", 36, "line-1", "run", 300, 180, "sludge_flow", 0.0, "no", "feed flow frozen for three hours while running"),
    Entry("feed TS step", 71, "line-1", "day", 0, 4 * 1440, "", 1.25, "yes", "feed solids 25 % up for four days; " + _HOLDS),
    Entry("plugged tap", 92, "line-1", "day", 0, 2 * 1440, "pump_discharge_pressure", 0.0, "no", "frozen for two days: pump dP wrong"),
)  # fmt: skip
SCRIPT: dict[str, tuple[Entry, ...]] = {"alder-fork": _ALDER, "sorrel-draw": _SORREL, "brenholm": _BRENHOLM}
