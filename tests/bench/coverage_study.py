"""Coverage of nominal 95 % intervals, false proof and power of every design: simulated trials with known truth, noise not assumed.

Run `python -m tests.bench.coverage_study --trials 1000 --out FILE` from the top of the sources; the table is kept in COVERAGE.md. Seeds
are fixed by cell, so a cell can be run alone.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from pipelines.compare import before_after, cosines, dose_curve, gls, length, randomisation, sequential, shear
from tests.compare import worlds

TAU = -0.25  # true step of ln dose
Row = tuple[str, str, str, int, float, float]  # design, method, noise, trials, coverage, median half width


def seeded(*words: object) -> np.random.Generator:
    """Return the generator of a cell."""
    return np.random.default_rng(zlib.crc32(repr(words).encode()))


def pairs(trials: int, count: int) -> Iterator[Row]:
    """Randomised pairs of days: the order of each pair drawn anew in each trial; the truth is inside where it is not rejected."""
    sets = np.repeat(np.arange(count), 2)
    for name, noise in worlds.NOISES.items():
        rng = seeded("pairs", count, name)
        y, hits, half = worlds.SD * noise(rng, 2 * count, trials), 0, []
        for k in range(trials):
            first = rng.integers(0, 2, count)
            arms = np.column_stack([first, 1 - first]).ravel().astype(np.int8)
            orders = randomisation.possible_orders(sets, arms, k)
            seen = y[:, k] + TAU * arms
            hits += randomisation.p_value(seen, orders, sets, TAU) > 0.05
            if k < 40:
                found = randomisation.infer(seen, orders, sets)
                half.append((found.high - found.low) / 2.0)
        yield f"{count} pairs of days", "randomisation test", name, trials, hits / trials, float(np.median(half))


def blocks(trials: int, sets_count: int, days: int) -> Iterator[Row]:
    """Pairs of blocks of days, order drawn inside each pair, first day of a block dropped; block means are the units."""
    sets = np.repeat(np.arange(sets_count), 2)
    for name, noise in worlds.NOISES.items():
        rng = seeded("blocks", sets_count, days, name)
        y, hits, half = worlds.SD * noise(rng, 2 * sets_count * days, trials), 0, []
        means = y.reshape(2 * sets_count, days, trials)[:, 1:].mean(1)
        for k in range(trials):
            first = rng.integers(0, 2, sets_count)
            arms = np.column_stack([first, 1 - first]).ravel().astype(np.int8)
            orders = randomisation.possible_orders(sets, arms, k)
            seen = means[:, k] + TAU * arms
            hits += randomisation.p_value(seen, orders, sets, TAU) > 0.05
            if k < 40:
                found = randomisation.infer(seen, orders, sets)
                half.append((found.high - found.low) / 2.0)
        yield f"{sets_count} pairs of {days}-day blocks", "randomisation test", name, trials, hits / trials, float(np.median(half))


def step(trials: int, n: int) -> Iterator[Row]:
    """Before/after on n days in two equal periods: default, plug-in, second opinion, the widest."""
    is_after = np.repeat([0.0, 1.0], n // 2)
    x = before_after.design(is_after)
    grid = gls.Grid(np.arange(n, dtype=float), x)
    for name, noise in worlds.NOISES.items():
        y = worlds.SD * noise(seeded("step", n, name), n, trials) + TAU * is_after[:, None]
        yield from _methods(f"before/after, {n} days", name, trials, grid, x, y)
    late = worlds.trimmed(seeded("step late", n), np.repeat([0.0, 1.0], [n // 2, n // 2 + 10]), trials, TAU)  # ten days of transition
    y = np.vstack([late[: n // 2], late[n // 2 + 10 :]])
    times = np.concatenate([np.arange(n // 2), np.arange(n // 2) + n // 2 + 10]).astype(float)
    yield from _methods(f"before/after, {n} days", "operators who trim", trials, gls.Grid(times, x), x, y)


def _methods(design: str, noise: str, trials: int, grid: gls.Grid, x: worlds.Array, y: worlds.Array) -> Iterator[Row]:
    found = {
        "REML averaged": grid.intervals(y, 1), "REML plug-in": grid.plug_in(y, 1), "cosines": cosines.intervals(x, y, 1),
    }  # fmt: skip
    one, other = found["REML averaged"], found["cosines"]
    wide = other[2] - other[1] > one[2] - one[1]
    found["widest (default)"] = tuple(np.where(wide, b, a) for a, b in zip(one, other, strict=True))
    for method, (_, low, high) in found.items():
        inside = (low <= TAU) & (high >= TAU)
        yield design, method, noise, trials, float(inside.mean()), float(np.median(high - low) / 2.0)


QUIET_DAYS = 640  # before a trial of 60: 20 sham switches whose spans overlap by half at most
CHUNK = 250  # trials whose sham switches are fitted at once


def calibrated(trials: int, n: int, quiet: int = QUIET_DAYS) -> Iterator[Row]:
    """Before/after on n days that follow `quiet` days without a change: the widest of default, cosines and sham switches."""
    is_after = np.repeat([0.0, 1.0], n // 2)
    x = before_after.design(is_after)
    grid = gls.Grid(np.arange(n, dtype=float), x)
    for name, noise in worlds.NOISES.items():
        y = worlds.SD * noise(seeded("calibrated", n, quiet, name), quiet + n, trials)
        inside, halves, method = 0, [], "widest with sham switches"
        for start in range(0, trials, CHUNK):
            low, high = _with_shams(grid, x, y[:quiet, start : start + CHUNK], y[quiet:, start : start + CHUNK])
            inside += int(((low <= 0.0) & (high >= 0.0)).sum())
            halves.append((high - low) / 2.0)
        yield (
            f"before/after, {n} days, {quiet} quiet before",
            method,
            name,
            trials,
            inside / trials,
            float(np.median(np.concatenate(halves))),
        )


def _with_shams(grid: gls.Grid, x: worlds.Array, past: worlds.Array, y: worlds.Array) -> tuple[worlds.Array, worlds.Array]:
    """Return the ends of the interval that stands, as `before_after.step` takes it, for each trial at once."""
    n = len(y)
    spacing = max(before_after.LEAST_SPACING, -(-n // 2))
    starts = range(0, len(past) - n + 1, spacing)
    shams = np.concatenate([past[s : s + n] for s in starts], axis=1)
    mean, low, high = grid.intervals(shams, 1)
    ratios = (np.abs(mean) / np.maximum(mean - low, high - mean)).reshape(len(starts), -1)
    factors = np.array([before_after.sham_factor(r) for r in ratios.T], dtype=float)
    mean, low, high = grid.intervals(y, 1)
    half = factors * np.maximum(mean - low, high - mean)
    _, c_low, c_high = cosines.intervals(x, y, 1)
    cosine_wider = c_high - c_low > high - low
    low, high = np.where(cosine_wider, c_low, low), np.where(cosine_wider, c_high, high)
    sham_wider = 2.0 * half > high - low
    return np.where(sham_wider, mean - half, low), np.where(sham_wider, mean + half, high)


def control(trials: int, n: int) -> Iterator[Row]:
    """Two lines that share two thirds of their noise; the difference is judged like before/after."""
    is_after = np.repeat([0.0, 1.0], n // 2)
    x = before_after.design(is_after)
    grid = gls.Grid(np.arange(n, dtype=float), x)
    for name, noise in worlds.NOISES.items():
        rng = seeded("control", n, name)
        own = [worlds.SD * np.sqrt(1.0 / 3.0) * noise(rng, n, trials) for _ in range(2)]
        y = own[0] - own[1] + TAU * is_after[:, None]  # what the lines share falls out
        for row in _methods(f"control line, {n} days", name, trials, grid, x, y):
            if row[1] == "widest (default)":
                yield row


def ladder(trials: int, design: str, sets: int, theta: float, gain: float, rungs: worlds.Array = worlds.RUNGS) -> Iterator[Row]:
    """Relative potency by jackknife of sets."""
    words = {
        "pairs": "pairs of days, one step each",
        "within": "days with both arms and all steps",
        "weeks": "pairs of weeks, five steps each",
    }
    for noise in ("usual", "heavy", "drift", "bias"):
        rng, hits, half, missed = seeded("ladder", design, sets, noise, len(rungs), theta), 0, [], 0
        for _ in range(trials):
            steps = worlds.ladder(rng, design, sets, theta, gain, noise, rungs)
            try:
                curve = dose_curve.fit(steps)
                _, pseudo = dose_curve.pseudo_values(steps, curve)
            except np.linalg.LinAlgError:
                missed += 1
                continue
            _, low, high = dose_curve.interval_t(pseudo, dose_curve.model_error(steps, curve))
            hits += low <= -theta <= high
            half.append((high - low) / 2.0)
        done = trials - missed
        top = "150" if rungs is worlds.WIDE_RUNGS else "120"
        yield (
            f"dose ladder to {top} %, {sets} {words[design]}",
            "jackknife of sets or curvature, t",
            noise,
            done,
            hits / done,
            float(np.median(half)),
        )


def valve(trials: int, sets: int, kappa: float, theta: float) -> Iterator[Row]:
    """Apparent loss per kPa from valve steps within sets, the arm beside it."""
    for noise in ("usual", "heavy", "drift", "bias"):
        rng, hits, half = seeded("valve", sets, noise, kappa, theta), 0, []
        for _ in range(trials):
            found = shear.of_steps(*worlds.valve_steps(rng, sets, kappa, theta, noise)).kappa
            assert found is not None
            hits += found.low <= kappa <= found.high
            half.append((found.high - found.low) / 2.0)
        name = f"valve steps, {sets} days, {100 * kappa:.2f} % per kPa, arm {theta:.2f}"
        yield (
            name,
            "dose curve with energy, jackknife of sets or curvature, t (half width in % per kPa)",
            noise,
            trials,
            hits / trials,
            100.0 * float(np.median(half)),
        )


def running(trials: int, count: int) -> Iterator[Row]:
    """Running figure of pairs, read after each pair: share of trials in which it never misses the truth."""
    for name, noise in worlds.NOISES.items():
        rng = seeded("running", count, name)
        y = worlds.SD * noise(rng, 2 * count, trials)
        sign = np.where(rng.random((count, trials)) < 0.5, 1.0, -1.0)
        d = sign * (y[1::2] - y[::2])
        hits, half = 0, []
        for k in range(trials):
            hits += sequential.log_wealth(d[:, k], np.zeros(1)).max() < np.log(20.0)  # 0 is never left by the interval
            if k < 40:
                _, low, high = sequential.interval(d[:, k])
                half.append((high - low) / 2.0)
        yield (
            f"running figure, {count} pairs, read {count} times",
            "fair bets on the drawn order",
            name,
            trials,
            hits / trials,
            float(np.median(half)),
        )


def worse(trials: int, sets: int = 8) -> Iterator[str]:
    """A plant like the third of the demonstration: 4 % more dose, cake 0.6 point lower. How often is it called a saving, all gates passed?"""
    rng, shown, dose_alone = seeded("worse", sets), 0, 0
    for _ in range(trials):
        steps = worlds.ladder(rng, "pairs", sets, float(np.log(0.96)), -0.6)
        curve = dose_curve.fit(steps)
        _, pseudo = dose_curve.pseudo_values(steps, curve)
        _, _, high = dose_curve.interval_t(pseudo, dose_curve.model_error(steps, curve))
        statistic = dose_curve.cake_gain(None, 93.0)
        _, gains = dose_curve.pseudo_values(steps, curve, statistic)
        _, low, _ = dose_curve.interval_t(gains, dose_curve.model_error(steps, curve, statistic), 0.90)
        dose_alone += high < 0.0
        shown += high < 0.0 and low > -0.5
    yield f"| worse plant ({sets} pairs, 4 % more dose, cake 0.6 lower): dose saving shown by the interval alone | {trials:,} | {dose_alone} |"
    yield f"| the same with the cake gate: called a saving | {trials:,} | {shown} |"


def margin(trials: int, sets: int = 12) -> Iterator[str]:
    """Cake lower by exactly the margin of 0.5 point, SD of a day 0.8: how often does the gate pass?"""
    index = np.repeat(np.arange(sets), 2)
    for name in ("AR 0.5", "half AR 0.8, half white", "heavy tails", "slow drift"):
        rng, passed = seeded("margin", name), 0
        y = 0.8 * worlds.NOISES[name](rng, 2 * sets, trials)
        for k in range(trials):
            first = rng.integers(0, 2, sets)
            arms = np.column_stack([first, 1 - first]).ravel().astype(np.int8)
            seen = y[:, k] - 0.5 * arms
            orders = randomisation.possible_orders(index, arms, k)
            above = randomisation.set_differences(seen, orders[:1], index).mean() > -0.5
            passed += above and randomisation.p_value(seen, orders, index, -0.5) <= 0.10
        yield f"| cake at exactly the margin, {sets} pairs, {name}: gate passed | {trials:,} | {passed} |"


def power(trials: int) -> Iterator[str]:
    """Power that trial-length promises for drawn pairs, against fresh trials judged by the full randomisation test."""
    found = length.Scatter(0.12, 0.6, 0.7, 60)
    needed = length.sets_needed(found, 0.105, 1)
    assert needed is not None
    sets, promised = needed
    index, rng, shown = np.repeat(np.arange(sets), 2), seeded("power"), 0
    y = length.paths(rng, found, 2 * sets, trials)
    for k in range(trials):
        first = rng.integers(0, 2, sets)
        arms = np.column_stack([first, 1 - first]).ravel().astype(np.int8)
        seen = y[:, k] + 0.105 * arms
        orders = randomisation.possible_orders(index, arms, k)
        above = randomisation.set_differences(seen, orders[:1], index).mean() > 0.0
        shown += above and randomisation.p_value(seen, orders, index) <= 0.05
    yield f"| saving of 10 %, {sets} pairs: promised power {100 * promised:.1f} %, shown | {trials:,} | {shown} |"


def cells(trials: int) -> dict[str, Callable[[], Iterator[Row]]]:
    """Return every cell by name."""
    return {
        "pairs": lambda: (row for n in (8, 12, 20) for row in pairs(trials, n)),
        "blocks": lambda: blocks(trials, 8, 5),
        "step": lambda: (row for n in (60, 120, 200) for row in step(trials, n)),
        "calibrated": lambda: calibrated(trials, 60),
        "control": lambda: control(trials, 120),
        "running": lambda: running(trials, 40),
        "ladder": lambda: (
            row
            for arguments in (
                ("pairs", 8, float(np.log(0.96)), -0.6), ("pairs", 12, 0.335, 0.8), ("pairs", 16, 0.0, 0.0), ("within", 8, 0.335, 0.8),
                ("weeks", 6, 0.227, 1.2),
            )
            for row in ladder(trials, *arguments)
        ),
        "valve": lambda: (row for kappa, theta in ((0.00174, 0.0), (0.0, 0.2)) for row in valve(trials, 6, kappa, theta)),
        "wide": lambda: ladder(trials, "within", 8, 0.335, 0.8, worlds.WIDE_RUNGS),
    }  # fmt: skip


def main() -> None:
    """Run the cells asked for and write the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--trials", type=int, default=1000)
    ask.add_argument("--cells", nargs="*")
    ask.add_argument("--out", type=Path)
    ask.add_argument("--verdicts", action="store_true", help="false proof, gate at the margin, and power instead of coverage")
    given = ask.parse_args()
    if given.verdicts:
        for row in (row for cell in (worse, margin, power) for row in cell(given.trials)):
            sys.stdout.write(row + "\n")
        return
    made = cells(given.trials)
    rows = ["| design | method | noise | trials | coverage | median half width |", "|---|---|---|---|---|---|"]
    for name in given.cells or made:
        for design, method, noise, trials, share, half in made[name]():
            rows.append(f"| {design} | {method} | {noise} | {trials:,} | {100 * share:.1f} % | {half:.3f} |")
            sys.stderr.write(rows[-1] + "\n")
    text = "\n".join(rows) + "\n"
    if given.out:
        given.out.write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()
