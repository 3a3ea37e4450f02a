"""Plans with two males. For a given set of weeks the worth is a sum over the weeks, so the best split of a pair of
males is the better of the two in each week; all pairs of males of a female are looked at, females who cannot gain
by a second male are passed over by a bound that lets every week have its own male.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from .plans import PLACES, Plans
from .problem import Bools, Floats

NONE = -1e12


def best_two(plans: Plans, prices: Floats, single: Floats) -> Floats:
    """The best surplus of a two-male plan of each female where it can exceed `single`, else -inf."""
    found = np.full(plans.problem.females, -np.inf)
    for female, _, values, _, _ in two_male_plans(plans, prices, np.maximum(single, 0.0)):
        found[female] = max(found[female], float(values.max()))
    return found


def two_male_plans(
    plans: Plans, prices: Floats, floor: Floats
) -> Iterator[tuple[int, tuple[int, int], Floats, np.ndarray[tuple[int], np.dtype[np.intp]], Bools]]:
    """(female, (pair, pair), surplus by set, sets above her floor, second-male mask (S, 8)) of every pair of males
    with a plan whose surplus reaches her `floor`. A set on which one of the two has no week is a one-male plan and is
    left out, as is any week he may not have."""
    problem = plans.problem
    if problem.rules.males_per_female_max < 2:
        return
    padded = np.zeros((problem.males, problem.weeks + 1))
    padded[:, :-1] = prices
    sets = plans.sets > 0
    share = _shares(plans)
    for female, run in enumerate(plans.runs):
        if run.stop - run.start < 2 or not np.isfinite(floor[female]):
            continue
        rows = np.arange(run.start, run.stop)
        weeks = np.where(plans.weeks[female] < 0, problem.weeks, plans.weeks[female])
        net = plans.bonus[rows] - padded[problem.pair_male[rows][:, None], weeks[None, :]]
        net[~plans.allowed[rows]] = NONE
        own = problem.pair_value[rows, None, None] * share[female][None, :, :] + net[:, None, :]
        masked = np.where(sets[None, :, :], own, 0.0)
        if float(masked.max(axis=0).sum(axis=1).max()) < floor[female]:
            continue
        must, allowed_sets = _pins(plans, female, sets)
        for one, other in combinations(range(len(rows)), 2):
            if must is not None and must != {int(problem.pair_male[rows[one]]), int(problem.pair_male[rows[other]])}:
                if len(must) > 1 or not must & {
                    int(problem.pair_male[rows[one]]),
                    int(problem.pair_male[rows[other]]),
                }:
                    continue
            second = own[other] > own[one]
            second = _forced(plans, female, rows[one], rows[other], second)
            taken = sets & second
            mixed = taken.any(axis=1) & (sets & ~second).any(axis=1) & allowed_sets
            value = np.where(second, masked[other], masked[one]).sum(axis=1)
            good = np.flatnonzero(mixed & (value >= floor[female]) & (value > NONE / 2))
            if good.size:
                yield female, (int(rows[one]), int(rows[other])), value[good], good, taken


def _shares(plans: Plans) -> Floats:
    """(1 - penalty) P(S) q_t / q(S) for every female, set and place; 0 outside the set."""
    q = plans.chance[:, None, :] + 1e-12
    weight = np.where(plans.sets[None, :, :] > 0, q, 0.0)
    total = weight.sum(axis=2, keepdims=True)
    part = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0)
    found: Floats = (1.0 - plans.problem.rules.second_male_penalty) * plans.gain[:, :, None] * part
    return found


def _pins(plans: Plans, female: int, sets: Bools) -> tuple[set[int] | None, Bools]:
    """Males that must be in her plan, and the sets that hold all her pinned weeks."""
    own = plans.pinned.get(female)
    if own is None:
        return None, np.ones(len(sets), dtype=bool)
    held = np.ones(len(sets), dtype=bool)
    for pin in own:
        held &= sets[:, plans.place(female, pin.week)]
    return {pin.male for pin in own}, held


def _forced(plans: Plans, female: int, one: int, other: int, second: Bools) -> Bools:
    """The split with her pinned weeks given to the pinned male."""
    own = plans.pinned.get(female)
    if own is None:
        return second
    second = second.copy()
    males = plans.problem.pair_male
    for pin in own:
        if pin.male in (int(males[one]), int(males[other])):
            second[:, plans.place(female, pin.week)] = pin.male == int(males[other])
    assert second.shape[1] == PLACES
    return second
