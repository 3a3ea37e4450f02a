"""Rotas made female by female: greedy by marginal gain, guided by prices, and polished one plan at a time."""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterable

import numpy as np

from .males import Males
from .plans import PLACES, Plans
from .prices import Pricing
from .problem import Floats, Ints, Visit
from .two_males import two_male_plans

LOOK = 60


class Work:
    """A rota in the making: each female's plan, each male's weekly counts, and which further visit he could make."""

    def __init__(self, plans: Plans, males: Males) -> None:
        problem = plans.problem
        self.plans, self.males = plans, males
        self.of: dict[int, list[Visit]] = {}
        self.counts = [[0] * problem.weeks for _ in range(problem.males)]
        self.room = np.array([self._room(male) for male in range(problem.males)], dtype=bool).reshape(
            problem.males, problem.weeks + 1
        )

    def _room(self, male: int) -> list[bool]:
        counts, found = self.counts[male], []
        for week in range(len(counts)):
            counts[week] += 1
            found.append(self.males.possible(male, counts))
            counts[week] -= 1
        return [*found, False]

    def fits(self, visits: Iterable[Visit]) -> bool:
        """Whether the males can make all these visits besides what they have."""
        added: dict[int, list[int]] = {}
        for visit in visits:
            added.setdefault(visit.male, list(self.counts[visit.male]))[visit.week] += 1
        return all(self.males.possible(male, counts) for male, counts in added.items())

    def put(self, female: int, visits: list[Visit]) -> None:
        """Her plan from now on."""
        touched = set()
        for visit in self.of.pop(female, []):
            self.counts[visit.male][visit.week] -= 1
            touched.add(visit.male)
        for visit in visits:
            self.counts[visit.male][visit.week] += 1
            touched.add(visit.male)
        if visits:
            self.of[female] = visits
        for male in touched:
            self.room[male] = self._room(male)

    def visits(self) -> list[Visit]:
        """All visits, in order."""
        return sorted(visit for plan in self.of.values() for visit in plan)

    def value(self) -> float:
        """Worth with the bonus for kept visits."""
        return sum(self.plans.value(female, plan) for female, plan in self.of.items())


def one_male_visits(plans: Plans, pair: int, chosen: int) -> list[Visit]:
    """The visits of a one-male plan."""
    female, male = int(plans.problem.pair_female[pair]), int(plans.problem.pair_male[pair])
    return [Visit(female, male, int(plans.weeks[female, place])) for place in np.flatnonzero(plans.sets[chosen])]


def two_male_visits(plans: Plans, pairs: tuple[int, int], chosen: int, second: np.ndarray) -> list[Visit]:
    """The visits of a two-male plan; `second` says by place which of the two."""
    problem = plans.problem
    female = int(problem.pair_female[pairs[0]])
    return [
        Visit(female, int(problem.pair_male[pairs[1] if second[place] else pairs[0]]), int(plans.weeks[female, place]))
        for place in np.flatnonzero(plans.sets[chosen])
    ]


def best_plan(work: Work, female: int, prices: Floats | None = None, avoid: Visit | None = None) -> list[Visit]:
    """Her best one-male plan in what is free (her own visits taken out first), net of prices if given."""
    plans = work.plans
    run = plans.runs[female]
    if run.stop == run.start:
        return []
    weeks = plans.weeks[female]
    padded = np.where(weeks < 0, plans.problem.weeks, weeks)
    males = plans.problem.pair_male[run]
    closed = ~work.room[males[:, None], padded[None, :]]
    value = plans.worth[run].astype(np.float64)
    if prices is not None:
        cost = np.where(weeks[None, :] >= 0, prices[males[:, None], np.maximum(weeks, 0)[None, :]], 0.0)
        value = value - cost @ plans.sets.T
    if avoid is not None:
        closed = closed | ((males[:, None] == avoid.male) & (padded[None, :] == avoid.week))
    value[(closed.astype(np.float32) @ plans.sets.T) > 0] = -np.inf
    flat = value.ravel()
    order = np.argsort(flat)[::-1] if flat.size <= LOOK else _top(flat)
    for index in order:
        if flat[index] <= 0 and female not in plans.pinned:
            return []
        if flat[index] < -1e14:
            return []
        pair, chosen = divmod(int(index), value.shape[1])
        visits = one_male_visits(plans, run.start + pair, chosen)
        if work.fits(visits):
            return visits
    return []


def _top(flat: Floats) -> Ints:
    part = np.argpartition(flat, flat.size - LOOK)[-LOOK:]
    found: Ints = part[np.argsort(flat[part])[::-1]]
    return found


def pinned_first(work: Work) -> None:
    """Every pinned female gets her pins before anybody else gets anything; more is added later."""
    for female, pins in work.plans.pinned.items():
        work.put(female, [Visit(pin.female, pin.male, pin.week) for pin in pins])


def greedy(plans: Plans, males: Males) -> list[Visit]:
    """The rota a careful person would make by hand: again and again the single visit that adds most."""
    work = Work(plans, males)
    pinned_first(work)
    heap: list[tuple[float, int, tuple[int, int] | None]] = []
    for female in range(plans.problem.females):
        gain, visit = _best_addition(work, female)
        if visit is not None:
            heap.append((-gain, female, visit))
    heapq.heapify(heap)
    while heap:
        _, female, found = heapq.heappop(heap)
        assert found is not None
        male, week = found
        if work.room[male, week]:
            work.put(female, sorted([*work.of.get(female, []), Visit(female, male, week)]))
        gain, visit = _best_addition(work, female)
        if visit is not None:
            heapq.heappush(heap, (-gain, female, visit))
    return work.visits()


def _best_addition(work: Work, female: int) -> tuple[float, tuple[int, int] | None]:
    """The visit that adds most to her plan, with what it adds."""
    plans, problem = work.plans, work.plans.problem
    own, run = work.of.get(female, []), plans.runs[female]
    if len(own) >= problem.rules.visits_per_female_max or run.stop == run.start:
        return 0.0, None
    weeks = plans.weeks[female]
    padded = np.where(weeks < 0, problem.weeks, weeks)
    males = problem.pair_male[run]
    open_ = work.room[males[:, None], padded[None, :]] & plans.allowed[run]
    places = [plans.place(female, visit.week) for visit in own]
    open_[:, places] = False
    with_her = {visit.male for visit in own}
    if len(with_her) >= problem.rules.males_per_female_max:
        open_[~np.isin(males, list(with_her))] = False
    if not open_.any():
        return 0.0, None
    q = plans.chance[female] + 1e-12
    pairs = [plans.pair(female, visit.male) for visit in own]
    had = float((problem.pair_value[pairs] * q[places]).sum()) if own else 0.0
    had_q = float(q[places].sum()) if own else 0.0
    kept = float(plans.bonus[pairs, places].sum()) if own else 0.0
    mask = sum(1 << place for place in places)
    # a place that is taken stands for itself; it is closed above
    gain = plans.gain[female, [plans.numbers[mask | 1 << place] for place in range(PLACES)]]
    total = gain * (had + problem.pair_value[run][:, None] * q) / (had_q + q)
    if with_her:
        other = ~np.isin(males, list(with_her)) if len(with_her) == 1 else np.ones(len(males), dtype=bool)
        total[other] *= 1.0 - problem.rules.second_male_penalty
    total += plans.bonus[run]
    total[~open_] = -np.inf
    place, top = divmod(int(total.T.argmax()), len(males))
    added = float(total[top, place]) + kept - plans.value(female, own)
    if added <= 1e-9:
        return 0.0, None
    return added, (int(males[top]), int(weeks[place]))


def priced(plans: Plans, males: Males, pricing: Pricing, prices: Floats, deadline: float) -> Work:
    """Females in the order of their surplus at these prices, each her best plan in what is free; then once more
    without prices, for what was left."""
    work = Work(plans, males)
    pinned_first(work)
    surplus, _, _ = pricing.best(prices)
    order = np.argsort(-surplus, kind="stable")
    for guide in (prices, None):
        for female in order:
            if time.monotonic() > deadline:
                return work
            own = work.of.get(int(female), [])
            if own and guide is not None and int(female) not in plans.pinned:
                continue
            _replan(work, int(female), guide)
    return work


def polish(work: Work, deadline: float, rounds: int = 3) -> None:
    """Every female's plan made anew in what is free, as long as that gains; two males are tried too."""
    for _ in range(rounds):
        before = work.value()
        for female in range(work.plans.problem.females):
            if time.monotonic() > deadline:
                return
            _replan(work, female, None)
        if work.value() <= before + 1e-9:
            break


def _replan(work: Work, female: int, prices: Floats | None) -> None:
    """Give her the best plan in what is free, her own visits freed first; never a worse one, never without her pins."""
    old = work.of.get(female, [])
    work.put(female, [])
    found = best_plan(work, female, prices)
    worth = work.plans.value(female, found)
    if old and (not found or worth <= work.plans.value(female, old)):
        found = old
    work.put(female, found)


def add_second_males(work: Work, prices: Floats, deadline: float) -> None:
    """Two-male plans that are worth more than what a female has, in what is free."""
    plans = work.plans
    floor = np.array([plans.value(female, work.of.get(female, [])) for female in range(plans.problem.females)])
    offers: dict[int, list[tuple[float, list[Visit]]]] = {}
    zero = np.zeros_like(prices)
    floor[floor <= 0] = np.inf
    for female, pairs, values, chosen, second in two_male_plans(plans, zero, floor):
        if time.monotonic() > deadline:
            return
        for value, which in zip(values, chosen, strict=True):
            offers.setdefault(female, []).append(
                (float(value), two_male_visits(plans, pairs, int(which), second[which]))
            )
    for female, rows in offers.items():
        old = work.of.get(female, [])
        work.put(female, [])
        for value, visits in sorted(rows, key=lambda row: -row[0]):
            if value > plans.value(female, old) + 1e-9 and work.fits(visits):
                old = visits
                break
        work.put(female, old)
