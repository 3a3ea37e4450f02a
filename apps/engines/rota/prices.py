"""Lagrange prices of a male's week, and the proven bound that comes with them.

For any prices y >= 0 of (male, week): L(y) = sum over females of max(0, best plan - its prices) + sum over males of the
best pattern of weeks at these prices. L(y) is at least the worth of every rota (weak duality; Fisher 1981, Management
Science 27(1):1-18). The search runs in single precision; a bound that is published is computed again in double.
"""

from __future__ import annotations

import time

import numpy as np
import numpy.typing as npt

from .males import Males
from .plans import PLACES, Plans
from .problem import Bools, Floats, Ints
from .two_males import best_two

DEFLECT = 0.35
NEAR = 0.97
START_STEP, SHRINK, PATIENCE = 1.3, 0.6, 5


class Pricing:
    """The female side of the price search."""

    def __init__(self, plans: Plans) -> None:
        problem = plans.problem
        self.plans = plans
        self.pair_weeks = np.where(
            plans.weeks[problem.pair_female] < 0, problem.weeks, plans.weeks[problem.pair_female]
        )
        self.starts = np.array([run.start for run in plans.runs if run.stop > run.start], dtype=np.intp)
        self.with_pairs = np.array([f for f, run in enumerate(plans.runs) if run.stop > run.start], dtype=np.intp)
        self.must = np.zeros(problem.females, dtype=bool)
        self.must[list(plans.pinned)] = True
        self.turned = np.ascontiguousarray(plans.sets.T)
        self.only = slice(None)

    def pair_prices(self, prices: Floats) -> npt.NDArray[np.float32]:
        """Price of each of her weeks for each pair (A, 8)."""
        problem = self.plans.problem
        padded = np.zeros((problem.males, problem.weeks + 1), dtype=np.float32)
        padded[:, :-1] = prices
        found: npt.NDArray[np.float32] = padded[problem.pair_male[:, None], self.pair_weeks]
        return found

    def best(self, prices: Floats) -> tuple[Floats, Ints, Ints]:
        """Surplus, pair and set of the best one-male plan of each female; surplus 0 where none is worth its price."""
        reduced = self.plans.worth - self.pair_prices(prices) @ self.turned
        chosen = reduced.argmax(axis=1)
        value = reduced[np.arange(len(chosen)), chosen] if len(chosen) else np.zeros(0, dtype=np.float32)
        females = self.plans.problem.females
        surplus, pair, which = np.zeros(females), np.full(females, -1), np.zeros(females, dtype=np.int64)
        if not self.starts.size:
            return surplus, pair, which
        top = np.maximum.reduceat(value, self.starts)
        counts = np.diff([*self.starts, len(value)])
        hit = np.flatnonzero(value == np.repeat(top, counts))
        owner = self.plans.problem.pair_female[hit]
        first = hit[np.unique(owner, return_index=True)[1]]
        good = (top > 0) | (self.must[self.with_pairs] & (top > -1e14))
        rows = self.with_pairs[good]
        surplus[rows] = top[good]
        pair[rows] = first[good]
        which[rows] = chosen[first[good]]
        return surplus, pair, which


def usage(plans: Plans, pair: Ints, which: Ints) -> Floats:
    """How often each male's week is taken when every female has her best plan (M, W)."""
    problem = plans.problem
    rows = np.flatnonzero(pair >= 0)
    taken = plans.sets[which[rows]] > 0
    weeks = plans.weeks[rows]
    males = np.repeat(problem.pair_male[pair[rows]][:, None], PLACES, axis=1)
    count = np.zeros((problem.males, problem.weeks))
    np.add.at(count, (males[taken], weeks[taken]), 1.0)
    return count


def search(
    pricing: Pricing,
    males: Males,
    target: float,
    steps: int,
    deadline: float,
    start: Floats | None = None,
    patterns: Ints | None = None,
) -> tuple[Floats, float]:
    """Prices found by a deflected subgradient with Polyak's step, and the one-male part of their bound. With
    `patterns` the males' weeks are given (M, W) and the prices are those of that smaller problem."""
    problem = pricing.plans.problem
    prices = np.zeros((problem.males, problem.weeks)) if start is None else start.copy()
    best_prices, best = prices.copy(), np.inf
    step, since, direction = START_STEP, 0, np.zeros_like(prices)
    blocked: Bools = problem.capacity <= 0
    for _ in range(steps):
        surplus, pair, which = pricing.best(prices)
        if patterns is None:
            pattern, worth = males.best_patterns(prices)
        else:
            pattern, worth = patterns, float((patterns * prices).sum())
        bound = float(surplus.sum()) + worth
        if bound < best - 1e-6 * abs(best if np.isfinite(best) else 1.0):
            best, best_prices, since = bound, prices.copy(), 0
        else:
            since += 1
            if since >= PATIENCE:
                step, since = step * SHRINK, 0
        if time.monotonic() > deadline or step < 1e-3:
            break
        slope = pattern - usage(pricing.plans, pair, which)
        slope[blocked] = 0.0
        direction = slope + DEFLECT * direction
        size = float((direction**2).sum())
        if size == 0.0:
            break
        # the best rota is rarely further below the bound than this: a target too low makes the steps too long
        aim = max(target, NEAR * best)
        prices = np.maximum(0.0, prices - step * (bound - aim) / size * direction)
    return best_prices, best


def proven_bound(plans: Plans, males: Males, prices: Floats) -> tuple[float, Floats]:
    """L(y) in double precision with one-male and two-male plans, and each female's best surplus at these prices."""
    pricing = Pricing(plans)
    single = _exact_single(plans, pricing, prices)
    double = best_two(plans, prices, single)
    surplus = np.maximum(single, double)
    must = pricing.must
    surplus = np.where(must, surplus, np.maximum(surplus, 0.0))
    surplus[surplus < -1e14] = 0.0
    _, worth = males.best_patterns(prices)
    return float(surplus.sum()) + worth, surplus


def _exact_single(plans: Plans, pricing: Pricing, prices: Floats) -> Floats:
    """The best one-male surplus of each female in double precision; -inf where she has none."""
    problem = plans.problem
    found = np.full(problem.females, -np.inf)
    if not problem.pair_value.size:
        return found
    padded = np.zeros((problem.males, problem.weeks + 1))
    padded[:, :-1] = prices
    sets = plans.sets.astype(np.float64)
    best = np.empty(len(problem.pair_value))
    for low in range(0, len(best), 4000):
        rows = slice(low, low + 4000)
        net = plans.bonus[rows] - padded[problem.pair_male[rows][:, None], pricing.pair_weeks[rows]]
        value = problem.pair_value[rows, None] * plans.gain[problem.pair_female[rows]] + net @ sets.T
        value[plans.worth[rows] <= FORBIDDEN_EDGE] = -np.inf
        best[rows] = value.max(axis=1)
    np.maximum.at(found, problem.pair_female, best)
    return found


FORBIDDEN_EDGE = -1e14
