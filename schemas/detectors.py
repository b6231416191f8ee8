"""The detectors of the watch: one declaration each, published as the table `detectors`.

Numbers are those of the event catalogue of this trade (sensors 1 to 17, process and equipment 20 to 54); causes and checks are
common practice, no source. A caution stands where the check itself can hurt someone or break the pump; it is printed with the check
wherever a flag is shown.
"""

from __future__ import annotations

from dataclasses import dataclass

NOTE, THIS_WEEK, TODAY = "note", "check this week", "check today"
LOCK_OUT = "Stop, isolate, relieve pressure and lock out before opening a pump, valve or line."
NOT_CLOSED = "Never run the pump against a closed valve."
NOT_DRY = "Never run the pump dry."
SLIPPERY = "Spilled polymer is slippery: use dry absorbent, wear eye protection."


@dataclass(frozen=True)
class Detector:
    """One rule: its severity (the highest it gives), the roles it looks at, and what to do about its flags."""

    name: str
    number: int | None
    severity: str
    roles: str
    method: str
    causes: str
    check: str
    caution: str = ""
    explained_by: tuple[str, ...] = ()  # detectors whose flags, where they overlap, are the cause of this one's
    is_lasting: bool = False  # stays until someone mends it: flags of days that follow each other are one cause

    @property
    def suggestion(self) -> str:
        """Return what to look at first, with the caution where there is one."""
        return f"{self.check}. {self.caution}" if self.caution else self.check


_FLOWS = "sludge_flow, polymer_neat_flow, polymer_solution_flow"
_MIXING = "sludge_flow, mixing_upstream_pressure, mixing_downstream_pressure"
_ALL = (
    Detector("flatline", 1, TODAY, "sludge_flow, pump_discharge_pressure, mixing_upstream_pressure", "range over 30 min against linked signals",
             "frozen input, communication, plugged tap", "compare with the local display; then signal path and pressure tap",
             "Isolate the tap and relieve its pressure before flushing it.", is_lasting=True),
    Detector("spikes", 2, THIS_WEEK, _FLOWS, "median of 11 min, 6 robust sigma", "electrical noise, gas bubbles", "look at the trend at one second; then earthing and shielding", explained_by=("meter doubted",)),
    Detector("out of range", 3, TODAY, "any analog role", "transmitter range and failure current", "wiring, transmitter", "check wiring and transmitter with a loop test", is_lasting=True),
    Detector("clipped", 4, THIS_WEEK, "any analog role", "99.5 % of the span for more than 5 min", "range too small",
             "widen the transmitter range, and note the date in the plant file", is_lasting=True),
    Detector("meter doubted", 5, TODAY, "sludge_flow, polymer flows, feed_solids", "register, pump, reference flow, tickets, stock and laboratory against the meter, by week",
             "range changed, wrong unit, coating, gas, wear", "compare range and unit with the transmitter; test the meter by tank drop or drawdown", NOT_CLOSED),
    Detector("flow per revolution off", 5, THIS_WEEK, "sludge_flow, pump_speed", "flow per revolution of a day, 15 % off the median of 14 days of the arrangement",
             "range of the meter changed, gas, rags, wear", "compare range and unit with the transmitter; test the meter by tank drop", NOT_CLOSED,
             explained_by=("meter doubted", "totaliser ratio", "flatline", "blocked suction", "dry run", "short cycling"), is_lasting=True),
    Detector("flow per revolution drifts", 6, NOTE, "sludge_flow, pump_speed", "EWMA 0.1 of whitened daily residuals, 3 sigma and 2 %, dated by CUSUM",
             "coating or gas at the meter, wear of the pump", "test the meter by tank drop; look at the wear or slip index", NOT_CLOSED, explained_by=("meter doubted",)),
    Detector("zero offset", 7, NOTE, _FLOWS, "median after 30 min of standstill", "zero drift, backflow", "check the zero of the meter, and whether the line drains through it", is_lasting=True),
    Detector("negative flow", 7, NOTE, _FLOWS, "flow below zero while running", "backflow, wires changed over", "look for backflow, a leaking check valve, or wires changed over",
             LOCK_OUT, is_lasting=True),
    Detector("stuck run bit", 8, THIS_WEEK, "pump_run", "vote of flow, speed and power against the bit", "relay, hand mode, mapping",
             "look at the local panel: hand mode, relay, or a tag of another pump", is_lasting=True),
    Detector("totaliser reset", 9, NOTE, "sludge_total, polymer_total", "increments", "reset by hand", "ask who reset the register; read it on site"),
    Detector("totaliser jump", 9, THIS_WEEK, "sludge_total, polymer_total", "increments against the largest rate", "meter or head replaced",
             "read the register on site; look whether the meter or its head was replaced"),
    Detector("totaliser ratio", 5, THIS_WEEK, "sludge_total, polymer_total", "register over integral of the meter, 0.97 to 1.03 a day", "range or multiplier",
             "compare range and multiplier of meter and register; one of the two may be scaled wrongly", is_lasting=True, explained_by=("meter doubted",)),
    Detector("clock error", 10, TODAY, "pump_run, sludge_flow", "lag of flow edges behind the run bit; rows that go back in time", "clocks, summer time",
             "compare the clocks of logger and control system; look for a change of summer time", is_lasting=True),
    Detector("resampled", None, NOTE, "sludge_flow, pump_discharge_pressure, mixing_upstream_pressure", "repeats on a fixed grid", "log of changes written as if measured",
             "ask for the values as logged, or state the deadband of the log in the plant file", is_lasting=True),
    Detector("set-point as value", None, THIS_WEEK, _FLOWS, "no variation while linked signals move", "wrong tag exported",
             "look in the export which tag is the measured value; the plant file may name the set-point", is_lasting=True),
    Detector("data gap", 13, TODAY, "sludge_flow and the polymer flow of the dose", "no record for more than 30 min of running, or of the whole line for 12 h",
             "export job, network", "look whether the export or the network stopped; ask for the missing hours", explained_by=("out of range",)),
    Detector("solids balance open", 16, THIS_WEEK, "tickets, laboratory, sludge_flow", "week outside 0.90 to 1.10", "feed TS sampling, tickets, feed meter",
             "check feed sampling and the tickets of the week; test the feed meter by tank drop", NOT_CLOSED, explained_by=("meter doubted",)),
    Detector("dry run", 20, TODAY, "pump_run, pump_speed, sludge_flow, pump_suction_pressure, pump_power", "pump turns without flow", "empty tank, closed suction",
             "check suction valve and tank level before the next start; then the wearing parts of the pump", f"{NOT_DRY} {LOCK_OUT}"),
    Detector("blocked suction", 21, TODAY, "sludge_flow, pump_suction_pressure", "residual of the suction pressure on flow squared, and flow down",
             "rags, closed valve, thick sludge", "check the strainer and the suction valve; back-flush by the plant's procedure", f"{NOT_DRY} {LOCK_OUT}"),
    Detector("deadhead", 23, TODAY, "pump_run, sludge_flow, pump_discharge_pressure", "pump turns without flow and the discharge pressure is above its usual",
             "closed valve, plug", "stop the pump; check the line-up of the discharge valves", f"{NOT_CLOSED} A line may stay under pressure behind a plug. {LOCK_OUT}"),
    Detector("polymer outage", 26, TODAY, _FLOWS, "sludge fed without polymer for 3 min", "empty tote, air-lock, trip",
             "check polymer supply, pump and suction; measure the pump with its calibration column", SLIPPERY, explained_by=("flatline",)),
    Detector("polymer left on", 27, THIS_WEEK, _FLOWS, "polymer flows for 5 min without sludge", "interlock", "check the interlock of polymer pump and feed pump; look where the polymer went",
             SLIPPERY),
    Detector("weak solution", 32, THIS_WEEK, "polymer_neat_flow, polymer_solution_flow, polymer_solution_strength", "strength by mass balance or analyser, 15 % from its set value for 30 min",
             "water pressure, neat pump, check valve", "measure the neat pump with its calibration column; check the make-down water", SLIPPERY, is_lasting=True),
    Detector("dose low", 30, THIS_WEEK, "dose of the day", "two days 25 % or more below the median of 14 unflagged days of the arrangement", "weak solution, outage, feed TS up",
             "check polymer strength and supply; look at floc and cake", SLIPPERY, explained_by=("polymer outage", "weak solution", "meter doubted")),
    Detector("overdosing", 31, THIS_WEEK, "dose of the day", "three days 25 % or more above the median of 14 unflagged days of the arrangement", "habit, feed TS entry, strength",
             "step the dose down by 5 to 10 %, each step held for several residence times, until cake or filtrate leaves its band",
             "Stay within permit and handling limits and stop when cake or filtrate leaves them.", explained_by=("meter doubted",)),
    Detector("tank level low", 24, TODAY, "tank_level, pump_run", "below 5 % for 5 min while the pump turns", "tank nearly empty, level meter", "check the tank before the pump runs dry; check the level meter",
             NOT_DRY, is_lasting=True),
    Detector("torque high", 37, TODAY, "device_torque", "above 90 %, or 25 points above its usual, for 5 min", "thick feed, overload", "reduce the feed; look at differential speed and feed TS",
             "Never open the unit before it has stopped and is locked out.", is_lasting=True),
    Detector("head box high", 38, TODAY, "headbox_level", "above 90 %, or 25 points above its usual, for 15 min", "screen or belt blinded, dose too low, overload", "look at the floc and the screen; reduce the feed",
             "Keep clear of moving parts: stop and lock out before reaching in.", is_lasting=True, explained_by=("polymer outage", "weak solution")),
    Detector("seal water low", 44, TODAY, "seal_water_flow", "below 70 % of its usual for 2 min while the pump turns", "valve closed, strainer, supply", "restore the seal water; check the temperature of the seal",
             LOCK_OUT, is_lasting=True),
    Detector("mixing pressure high", 41, THIS_WEEK, _MIXING, "residual of the pressure drop on flow squared", "operator, rags, weight moved", "check valve position; open and flush the mixing point",
             f"{NOT_CLOSED} {LOCK_OUT}", is_lasting=True, explained_by=("flatline", "meter doubted", "blocked suction")),
    Detector("mixing pressure low", 42, THIS_WEEK, _MIXING, "residual of the pressure drop on flow squared", "valve stuck open, wear",
             "check whether the mixing valve closes; look at the floc in the first drainage zone", f"{NOT_CLOSED} {LOCK_OUT}", is_lasting=True, explained_by=("flatline", "meter doubted")),
    Detector("wash water low", 47, THIS_WEEK, "wash_water_flow", "below 85 % of its usual while running, 10 min", "strainer, booster, nozzles", "check strainer, booster pump and nozzles",
             "Keep clear of belts and rollers: stop and lock out before reaching in.", is_lasting=True),
    Detector("vibration high", 53, TODAY, "pump_vibration", "above its limit for 5 min while the pump turns", "bearing, seal, rags, cavitation", "have the pump inspected; compare with the limit agreed for this pump",
             LOCK_OUT, is_lasting=True),
    Detector("short cycling", 48, THIS_WEEK, "pump_run", "more than 4 starts within an hour, or 3 runs of less than 10 min in a day", "level control, trips", "look at the level control and at the trips of the day"),
)  # fmt: skip
DETECTORS: dict[str, Detector] = {d.name: d for d in _ALL}
