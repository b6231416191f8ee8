"""Inference from the plan's own draw: randomisation test, studentised, inverted for the interval; carry-over by the same draw.

The order of arms was drawn from a list of possible orders, so each of them was as likely as the one that came. Under "the arms differ by
tau and by nothing else" the responses under any other order are known: take tau off where the new arm ran. The interval holds every tau
that this test does not reject at 1 - level. No assumption on drift or noise. Fisher 1935; Bojinov, Simchi-Levi, Zhao 2023 (switchback
experiments). With fewer than 6 pairs no tau can be rejected at 5 %: 2 / 2^5 = 6 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from pipelines.compare.gls import Array

Orders = NDArray[np.int8]  # one row a possible order, one column a unit (day, block): 1 where arm_to runs
MOST_ORDERS = 4096  # all of them are tried up to so many; beyond, so many are drawn by the plan's seed
LEAST_SETS = 6  # with fewer no test can reject at 5 %
_STEPS = 40  # bisection steps for an end of the interval
_WIDEST = 40.0  # ends are sought within so many standard errors


@dataclass(frozen=True)
class RandomisationResult:
    """Estimate and interval of arm_to - arm_from; `p_value` is that of no difference; `orders` how many orders were tried."""

    estimate: float
    low: float
    high: float
    p_value: float
    orders: int


def orders_of_sets(sets: Array, arms: NDArray[np.int8]) -> Orders:
    """Return every order in which the two halves of each set are swapped or not; the first row is the order given.

    `sets`: number of the set of each unit. Up to 12 sets, which gives `MOST_ORDERS`; more raise ValueError: draw them with `drawn_orders`.
    """
    names = np.unique(sets)
    if 2 ** len(names) > MOST_ORDERS:
        raise ValueError(f"{len(names)} sets have more than {MOST_ORDERS} orders; draw some")
    swaps = np.array(list(product((0, 1), repeat=len(names))), dtype=np.int8)
    at = np.searchsorted(names, sets)
    return np.asarray(swaps[:, at] ^ arms[None, :], dtype=np.int8)


def drawn_orders(sets: Array, arms: NDArray[np.int8], seed: int, count: int = MOST_ORDERS - 1) -> Orders:
    """Return the order given and `count` others drawn by seed, each set swapped with probability one half."""
    names = np.unique(sets)
    swaps = np.random.default_rng(seed).integers(0, 2, (count, len(names)), dtype=np.int8)
    at = np.searchsorted(names, sets)
    return np.vstack([arms[None, :], swaps[:, at] ^ arms[None, :]]).astype(np.int8)


def possible_orders(sets: Array, arms: NDArray[np.int8], seed: int) -> Orders:
    """Return all orders of a plan of sets, or the given one and a seeded draw where there are too many."""
    few = 2 ** len(np.unique(sets)) <= MOST_ORDERS
    return orders_of_sets(sets, arms) if few else drawn_orders(sets, arms, seed)


def set_differences(y: Array, orders: Orders, sets: Array) -> Array:
    """Return for each order and set the mean of arm_to less that of arm_from (orders x sets); every set must hold both arms."""
    names = np.unique(sets)
    member = (sets[:, None] == names[None, :]).astype(float)
    new = orders @ member
    sum_new = (orders * y[None, :]) @ member
    return np.asarray(sum_new / new - ((y @ member)[None, :] - sum_new) / (member.sum(0)[None, :] - new))


def _studentised(y: Array, orders: Orders, sets: Array | None) -> Array:
    """Return the difference of arms over its standard error, for each order: over sets, or over units when there are no sets."""
    if sets is not None:
        d = set_differences(y, orders, sets)
        spread = d.std(1, ddof=1) / np.sqrt(d.shape[1])
        return np.asarray(d.mean(1) / np.maximum(spread, 1e-12))
    new, old = orders.sum(1), (1 - orders).sum(1)
    one, other = (orders @ y) / new, ((1 - orders) @ y) / old
    squares = (orders @ (y * y)) / new - one**2, ((1 - orders) @ (y * y)) / old - other**2
    variance = np.maximum(squares[0], 0.0) / np.maximum(new - 1, 1) + np.maximum(squares[1], 0.0) / np.maximum(old - 1, 1)
    return np.asarray((one - other) / np.sqrt(np.maximum(variance, 1e-24)))


def p_value(y: Array, orders: Orders, sets: Array | None, tau: float = 0.0) -> float:
    """Return the share of orders whose statistic is at least as far from 0 as that of the first row, after tau is taken off."""
    statistic = np.abs(_studentised(y - tau * orders[0], orders, sets))
    return float((statistic >= statistic[0] * (1.0 - 1e-9)).mean())


def infer(y: Array, orders: Orders, sets: Array | None, level: float = 0.95) -> RandomisationResult:
    """Return estimate, interval and p-value; the first row of `orders` is the order that ran. An end is infinite where no tau is rejected."""
    estimate, error = _estimate(y, orders[:1], sets)
    alpha = 1.0 - level

    def end(sign: float) -> float:
        inside, outside = estimate, estimate + sign * _WIDEST * error
        if p_value(y, orders, sets, outside) > alpha:
            return sign * np.inf
        for _ in range(_STEPS):
            middle = 0.5 * (inside + outside)
            inside, outside = (middle, outside) if p_value(y, orders, sets, middle) > alpha else (inside, middle)
        return outside

    return RandomisationResult(estimate, end(-1.0), end(1.0), p_value(y, orders, sets), len(orders))


def _estimate(y: Array, first: Orders, sets: Array | None) -> tuple[float, float]:
    if sets is not None:
        d = set_differences(y, first, sets)[0]
        return float(d.mean()), max(float(d.std(ddof=1) / np.sqrt(len(d))), 1e-9)
    one, other = y[first[0] == 1], y[first[0] == 0]
    error = np.sqrt(one.var(ddof=1) / len(one) + other.var(ddof=1) / len(other))
    return float(one.mean() - other.mean()), max(float(error), 1e-9)


def carry_over_p(y: Array, orders: Orders, tau: float) -> float:
    """Return the p-value of "the arm of the unit before leaves nothing behind": the lagged arm's slope, referred to the plan's own orders.

    Units in order of time. tau, the difference of arms, is taken off first; small values speak of carry-over.
    """
    rest = y[1:] - tau * orders[0, 1:]
    rest = rest - rest.mean()
    lagged, now = orders[:, :-1].astype(float), orders[:, 1:].astype(float)
    lagged, now = lagged - lagged.mean(1, keepdims=True), now - now.mean(1, keepdims=True)
    alone = lagged - now * ((lagged * now).sum(1) / np.maximum((now * now).sum(1), 1e-12))[:, None]
    size = np.sqrt((alone * alone).sum(1))
    statistic = np.abs(np.divide(alone @ rest, size, out=np.zeros(len(size)), where=size > 1e-9))
    return float((statistic >= statistic[0] * (1.0 - 1e-9)).mean())
