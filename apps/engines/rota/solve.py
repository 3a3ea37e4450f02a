"""The rota: greedy, then prices, then plan columns on the solver, as far as the time goes. Always a rota that keeps
every rule; how far it may be from the best one is stated beside it (docs/methods/rota.md)."""

from __future__ import annotations

import time
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from .columns import Pool, Solved, solve
from .days import set_days
from .fill import Work, add_second_males, greedy, polish, priced
from .males import Males
from .pins import sort_pins
from .plans import Plans, make_plans
from .prices import Pricing, proven_bound, search
from .problem import DeadlineExceeded, Floats, Ints, Rota, RotaProblem, Visit
from .reasons import reasons_of

PRICE_STEPS = 120
MORE_STEPS = 50
# how far below its price a plan may be to enter the pool, in shares of the median plan's worth; FAR lets in all
WIDTH, FAR = 0.06, 1e6
MOST_COLUMNS = 60_000
SMALL = 100
GOOD_GAP = SOLVER_GAP = 3e-4
# reasons have time of their own: a solver that used all of it must not leave visits without their why
REASON_SECONDS, REASON_SHARE = 2.0, 0.15
FREE_MALES, FREE_SECONDS, IDLE = 10, 6.0, 40
NEAR_SHARE = 0.5  # of the time, where every plan can be in the model afterwards
POOL_SHARE = 1 / 3  # of the time that is left, for gathering plans; the rest is for choosing among them
# a whole pattern also fills weeks that have no price yet
EDGE = 1e-3
SEED = 1


@dataclass
class _Best:
    """The best rota so far."""

    work: Work
    value: float

    def take(self, work: Work) -> None:
        value = work.value()
        if value > self.value + 1e-9:
            self.work, self.value = work, value


def plan_rota(
    problem: RotaProblem,
    *,
    seconds: float,
    start_prices: Floats | None = None,
    incumbent: tuple[Visit, ...] = (),
    with_reasons: bool = True,
    with_greedy: bool = True,
) -> Rota:
    """Plan the problem's weeks within `seconds`. `start_prices` and `incumbent` come from last week's rota.

    Raises DeadlineExceeded when not even a first rota was possible in the time.
    """
    began = time.monotonic()
    deadline = began + seconds
    males = Males(problem)
    pins, refused = sort_pins(problem, males)
    plans = make_plans(problem, pins)
    if time.monotonic() > deadline:
        raise DeadlineExceeded(f"no rota in {seconds:g} s; allow more time")
    best = _Best(Work(plans, males), 0.0)
    greedy_value = 0.0
    if with_greedy:
        best.take(_work_of(plans, males, greedy(plans, males)))
        greedy_value = plans.total(best.work.visits(), with_bonus=False)
    known = _still_possible(plans, males, incumbent)
    best.take(known)
    bound, prices, optimal = _improve(plans, males, best, known, start_prices, deadline)
    visits = set_days(problem, best.work.visits())
    final = _work_of(plans, males, list(visits))
    value = final.value()
    reasons = (
        reasons_of(final, prices, time.monotonic() + max(REASON_SECONDS, seconds * REASON_SHARE))
        if with_reasons
        else ()
    )
    bound = max(bound, value)
    return Rota(
        visits=tuple(visits),
        value=plans.total(visits, with_bonus=False),
        bound=bound,
        gap=0.0 if bound <= 0 else (bound - value) / bound,
        greedy_value=greedy_value,
        prices=prices,
        refused=refused,
        reasons=reasons,
        is_optimal=optimal or bound - value <= GOOD_GAP * max(bound, 1e-9),
        seconds=time.monotonic() - began,
    )


def _improve(
    plans: Plans, males: Males, best: _Best, known: Work, start: Floats | None, deadline: float
) -> tuple[float, Floats, bool]:
    """Prices, then columns with the males' weeks given, then a few males' weeks set free at a time; returns the proven
    bound, the prices, and whether the rota is proven best."""
    problem = plans.problem
    pricing = Pricing(plans)
    if not problem.pair_value.size:
        return 0.0, np.zeros((problem.males, problem.weeks)), True
    prices, _ = search(pricing, males, best.value, PRICE_STEPS, deadline, start)
    work = priced(plans, males, pricing, prices, deadline)
    best.take(work)
    bound, surplus = proven_bound(plans, males, prices)
    if time.monotonic() > deadline:
        return bound, prices, False
    pool = Pool(plans)
    for made in (best.work, work, known):
        for plan in made.of.values():
            pool.add(plan)
    middle = float(np.median(list(pool.known.values()))) if pool.known else 0.0
    if problem.females <= SMALL:
        return _small(pool, pricing, males, best, (prices, bound, surplus, middle), deadline)
    pattern = _completed(males, best.work, prices)
    given, _ = search(pricing, males, best.value, MORE_STEPS, deadline, prices, pattern)
    until = _pool_until(deadline)
    pool.add_near(pricing, given, pricing.best(given)[0], WIDTH * middle, MOST_COLUMNS, until)
    pool.add_near(pricing, prices, surplus, WIDTH * middle, MOST_COLUMNS, until)
    _try(pool, males, best, deadline, deadline - time.monotonic(), patterns=pattern)
    _free_some(pool, males, best, prices, bound, deadline)
    polish(best.work, deadline, rounds=1)
    add_second_males(best.work, prices, deadline)
    best.value = best.work.value()
    return bound, prices, False


def _small(
    pool: Pool,
    pricing: Pricing,
    males: Males,
    best: _Best,
    priced_as: tuple[Floats, float, Floats, float],
    deadline: float,
) -> tuple[float, Floats, bool]:
    """Every one-male plan, and of the two-male plans all or the near ones; all males free."""
    prices, bound, surplus, middle = priced_as
    # the plans near their price find a good rota soon; the whole model, begun from it, proves it or betters it
    pool.add_near(pricing, prices, surplus, WIDTH * middle, MOST_COLUMNS, _pool_until(deadline))
    _try(pool, males, best, deadline, (deadline - time.monotonic()) * NEAR_SHARE)
    whole = pool.add_everything(MOST_COLUMNS)
    if not whole:
        until = _pool_until(deadline)
        pool.add_near(pricing, prices, surplus, FAR * middle, MOST_COLUMNS * 4, until, two_delta=WIDTH * middle)
        whole = pricing.plans.problem.rules.males_per_female_max == 1 and not pool.cut
    found = _try(pool, males, best, deadline, (deadline - time.monotonic()) * 0.9)
    polish(best.work, deadline, rounds=1)
    best.value = best.work.value()
    # where the pool holds every plan there is, the solver's own bound is proven too
    if whole and found is not None:
        bound = min(bound, found.dual)
        return bound, prices, found.optimal
    return bound, prices, False


def _pool_until(deadline: float) -> float:
    """Until when plans may be gathered."""
    now = time.monotonic()
    return now + POOL_SHARE * (deadline - now)


def _free_some(pool: Pool, males: Males, best: _Best, prices: Floats, bound: float, deadline: float) -> None:
    """Again and again the weeks of a few males set free, the others' kept: small models, each solved fast."""
    rng = np.random.default_rng(SEED)
    count, idle = pool.plans.problem.males, 0
    while time.monotonic() < deadline - 0.5 and bound - best.value > GOOD_GAP * bound and idle < IDLE:
        free = set(rng.choice(count, min(FREE_MALES, count), replace=False).tolist())
        before = best.value
        pattern = _completed(males, best.work, prices)
        _try(pool, males, best, deadline, FREE_SECONDS, patterns=pattern, free=free)
        idle = 0 if best.value > before + 1e-9 else idle + 1


def _try(
    pool: Pool,
    males: Males,
    best: _Best,
    deadline: float,
    seconds: float,
    *,
    patterns: Ints | None = None,
    free: Collection[int] = (),
) -> Solved | None:
    left = min(seconds, deadline - time.monotonic() - 0.2)
    if left < 0.2:
        return None
    found = solve(pool, males, best.work, left, patterns=patterns, free=free, gap=SOLVER_GAP)
    if found.visits is None:
        return None
    best.take(_work_of(pool.plans, males, found.visits))
    return found


def _completed(males: Males, work: Work, prices: Floats) -> Ints:
    """The males' weeks of a rota, filled up to the best whole patterns at these prices."""
    return males.best_patterns(prices + EDGE, np.array(work.counts, dtype=np.int64))[0]


def _work_of(plans: Plans, males: Males, visits: list[Visit]) -> Work:
    work = Work(plans, males)
    by: dict[int, list[Visit]] = {}
    for visit in visits:
        by.setdefault(visit.female, []).append(visit)
    for female, plan in by.items():
        work.put(female, plan)
    return work


def _still_possible(plans: Plans, males: Males, incumbent: tuple[Visit, ...]) -> Work:
    """What of an earlier rota can still be, pins first."""
    work = Work(plans, males)
    for pins in plans.pinned.values():
        work.put(pins[0].female, [Visit(pin.female, pin.male, pin.week) for pin in pins])
    rules = plans.problem.rules
    for visit in sorted(incumbent, key=lambda visit: (visit.week, visit.female)):
        own = work.of.get(visit.female, [])
        pair, place = plans.pair(visit.female, visit.male), plans.place(visit.female, visit.week)
        if pair < 0 or place < 0 or not plans.allowed[pair, place] or len(own) >= rules.visits_per_female_max:
            continue
        if visit.week in {v.week for v in own} or not work.room[visit.male, visit.week]:
            continue
        if len({v.male for v in own} | {visit.male}) > rules.males_per_female_max:
            continue
        work.put(visit.female, sorted([*own, Visit(visit.female, visit.male, visit.week)]))
    return work
