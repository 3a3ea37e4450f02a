"""Plans of one female: a set of at most four weeks out of at most eight, by one male or two, and what a plan is worth.

With n(S, k) visits of S inside her window in scenario k, b the chance of one visit inside and l locks so far:
    P(S) = mean over k of (1 - b)^l(k) (1 - (1 - b)^n(S, k)),
so weeks of one female are not taken as independent. A plan of one male is worth v P(S). With two males each young's
sire is shared by the visits' chances q of lying inside: (1 - penalty) P(S) sum v_m q(S_m) / q(S).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
import numpy.typing as npt

from .problem import Floats, Ints, RotaProblem, Visit, by_female, pairs_of

PLACES = 8
FORBIDDEN = np.float32(-1e15)
CHUNK = 500


@lru_cache(maxsize=8)
def subsets(most: int) -> npt.NDArray[np.float32]:
    """All sets of at most `most` of the eight places, the empty one first: (S, 8) of 0 and 1."""
    rows = [set[int]()]
    for size in range(1, most + 1):
        rows += [set(found) for found in combinations(range(PLACES), size)]
    return np.array([[float(place in row) for place in range(PLACES)] for row in rows], dtype=np.float32)


@lru_cache(maxsize=8)
def subset_numbers(most: int) -> dict[int, int]:
    """The number of each of `subsets` by its places as bits."""
    return {sum(1 << place for place in np.flatnonzero(row).tolist()): i for i, row in enumerate(subsets(most))}


@dataclass(frozen=True, slots=True)
class Plans:
    """Tables of a problem. `weeks` (F, 8): her candidate weeks, -1 where she has fewer. `gain` (F, S): P(S).
    `chance` (F, 8): of that week lying inside. `worth` (A, S): value of the one-male plan with the bonus for kept
    visits, FORBIDDEN where it may not be. `bonus` (A, 8). `allowed` (A, 8). `pinned`: her pins, by female.
    `numbers`: each set's number by its places as bits."""

    problem: RotaProblem
    sets: npt.NDArray[np.float32]
    weeks: Ints
    gain: Floats
    chance: Floats
    worth: npt.NDArray[np.float32]
    bonus: Floats
    allowed: npt.NDArray[np.bool_]
    pinned: dict[int, tuple[Visit, ...]]
    runs: list[slice]
    bonus_each: float
    numbers: dict[int, int]

    def place(self, female: int, week: int) -> int:
        """The place of a week among her candidates, -1 when it is none."""
        own: list[int] = self.weeks[female].tolist()
        return own.index(week) if week in own else -1

    def pair(self, female: int, male: int) -> int:
        """The pair's number, -1 when they may not meet."""
        run = self.runs[female]
        found = np.flatnonzero(self.problem.pair_male[run] == male)
        return run.start + int(found[0]) if found.size else -1

    def value(self, female: int, visits: list[Visit], *, with_bonus: bool = True) -> float:
        """What her plan is worth."""
        if not visits:
            return 0.0
        places = [self.place(female, visit.week) for visit in visits]
        pairs = [self.pair(female, visit.male) for visit in visits]
        chosen = self.numbers[sum(1 << place for place in places)]
        q = self.chance[female, places] + 1e-12
        mean = float((self.problem.pair_value[pairs] * q).sum() / q.sum())
        total = float(self.gain[female, chosen]) * mean
        if len(set(pairs)) > 1:
            total *= 1.0 - self.problem.rules.second_male_penalty
        return total + (float(self.bonus[pairs, places].sum()) if with_bonus else 0.0)

    def total(self, visits: list[Visit] | tuple[Visit, ...], *, with_bonus: bool = True) -> float:
        """The whole rota."""
        plans = by_female(visits, self.problem.females)
        return sum(self.value(female, plan, with_bonus=with_bonus) for female, plan in enumerate(plans) if plan)


def make_plans(problem: RotaProblem, pins: tuple[Visit, ...]) -> Plans:
    """All tables. `pins` are those that can be kept."""
    rules = problem.rules
    sets = subsets(min(rules.visits_per_female_max, PLACES))
    pinned = {visit.female: tuple(p for p in pins if p.female == visit.female) for visit in pins}
    weeks = _candidates(problem, pinned)
    gain, chance = _gains(problem, sets, weeks)
    runs = pairs_of(problem)
    pair_weeks = weeks[problem.pair_female]
    allowed = pair_weeks >= 0
    allowed &= problem.capacity[problem.pair_male[:, None], np.maximum(pair_weeks, 0)] > 0
    for veto in problem.vetoes:
        run = runs[veto.female]
        rows = run.start + np.flatnonzero(problem.pair_male[run] == veto.male)
        allowed[rows[:, None], np.flatnonzero(weeks[veto.female] == veto.week)[None, :]] = False
    bonus = np.zeros(allowed.shape)
    best_gain = gain[problem.pair_female].max(axis=1, initial=0.0)
    served = problem.pair_value * best_gain
    each = rules.keep_bonus_share * float(np.median(served[served > 0])) if (served > 0).any() else 0.0
    for visit in problem.kept:
        run = runs[visit.female]
        rows = run.start + np.flatnonzero(problem.pair_male[run] == visit.male)
        bonus[rows[:, None], np.flatnonzero(weeks[visit.female] == visit.week)[None, :]] = each
    worth = (problem.pair_value[:, None] * gain[problem.pair_female]).astype(np.float32)
    if problem.kept:
        worth += bonus.astype(np.float32) @ sets.T
    worth[((~allowed).astype(np.float32) @ sets.T) > 0] = FORBIDDEN
    worth[:, 0] = FORBIDDEN
    for female, own in pinned.items():
        run = runs[female]
        rows = np.arange(run.start, run.stop)
        males = {pin.male for pin in own}
        worth[rows[~np.isin(problem.pair_male[rows], list(males))]] = FORBIDDEN
        if len(males) > 1:
            worth[rows] = FORBIDDEN
        for pin in own:
            place = int(np.flatnonzero(weeks[female] == pin.week)[0])
            worth[np.ix_(rows, np.flatnonzero(sets[:, place] == 0))] = FORBIDDEN
    numbers = subset_numbers(min(rules.visits_per_female_max, PLACES))
    return Plans(problem, sets, weeks, gain, chance, worth, bonus, allowed, pinned, runs, each, numbers)


def _candidates(problem: RotaProblem, pinned: dict[int, tuple[Visit, ...]]) -> Ints:
    """The eight open weeks most likely inside, in order; pinned weeks first of all."""
    likely = problem.inside.mean(axis=2).astype(np.float64)
    likely[~problem.open_weeks] = -1.0
    for female, own in pinned.items():
        likely[female, [pin.week for pin in own]] = 2.0
    order = np.argsort(-likely, axis=1, kind="stable")[:, :PLACES]
    kept = np.take_along_axis(likely, order, axis=1) > 0
    found = np.full((problem.females, PLACES), -1, dtype=np.int64)
    found[:, : order.shape[1]] = np.where(kept, order, problem.weeks)
    found[found < 0] = problem.weeks
    found.sort(axis=1)
    found[found == problem.weeks] = -1
    return found


def _gains(problem: RotaProblem, sets: npt.NDArray[np.float32], weeks: Ints) -> tuple[Floats, Floats]:
    """P(S) and q for every female; sets that use a missing place are worth nothing."""
    left = np.log1p(-problem.rules.success) if problem.rules.success < 1 else -50.0
    gain = np.empty((problem.females, len(sets)))
    chance = np.empty((problem.females, PLACES))
    for start in range(0, problem.females, CHUNK):
        rows = slice(start, min(start + CHUNK, problem.females))
        own = np.take_along_axis(problem.inside[rows], np.maximum(weeks[rows], 0)[:, :, None], axis=1)
        own = own * (weeks[rows] >= 0)[:, :, None]
        before = np.exp(left * problem.past[rows].astype(np.float64))
        # counts are small whole numbers in single precision, the chances are not
        counted = np.einsum("sp,fpk->fsk", sets, own, optimize=True).astype(np.float64)
        missed = np.exp(left * counted) * before[:, None, :]
        gain[rows] = before.mean(axis=1)[:, None] - missed.mean(axis=2)
        chance[rows] = (own * before[:, None, :]).mean(axis=2)
    np.maximum(gain, 0.0, out=gain)
    return gain, chance
