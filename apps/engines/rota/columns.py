"""The plan columns near their price, and the mixed-integer model over them, solved by HiGHS.

max  sum c_p L_p
sum over plans of f L_p <= 1 (= 1 when she has pins)
sum over plans that use (m, t) L_p <= sum_j u_mtj              (u_mtj: his j-th visit of the week, u_mt1 >= u_mt2)
u over every four weeks, the worked past counted: u_1 <= 4 - rest;   visits in any run of weeks <= what days allow
L, u in {0, 1}
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from itertools import combinations, product

import highspy
import numpy as np

from .fill import Work, one_male_visits, two_male_visits
from .males import Males
from .plans import Plans
from .prices import FORBIDDEN_EDGE, Pricing
from .problem import DAYS_PER_WEEK, HISTORY_WEEKS, Floats, Ints, RotaProblem, Visit
from .two_males import two_male_plans

Plan = tuple[Visit, ...]
Column = Callable[..., int]


@dataclass
class Pool:
    """Plans that may enter the model; each once."""

    plans: Plans
    known: dict[Plan, float] = field(default_factory=dict)
    cut: bool = False

    def add(self, visits: list[Visit] | Plan) -> None:
        """One plan, with its worth."""
        key = tuple(sorted(Visit(v.female, v.male, v.week) for v in visits))
        if key and key not in self.known:
            self.known[key] = self.plans.value(key[0].female, list(key))

    def add_near(
        self,
        pricing: Pricing,
        prices: Floats,
        surplus: Floats,
        delta: float,
        most: int,
        until: float,
        *,
        two_delta: float | None = None,
    ) -> None:
        """Plans whose surplus at these prices is within `delta` of her best (with two males: `two_delta`, the same
        unless said); the nearest `most` of one male, `cut` says when those were not all. Past `until` (time.monotonic
        seconds) no more plans with two males: what is in the pool still needs time to be solved."""
        plans = self.plans
        reduced = plans.worth - pricing.pair_prices(prices) @ pricing.turned
        floor = (surplus - delta).astype(np.float32)
        floor = np.where(pricing.must, floor, np.maximum(floor, -delta))
        short = reduced - floor[plans.problem.pair_female][:, None]
        rows, chosen = np.nonzero((short >= 0) & (plans.worth > 0))
        if len(rows) > most:
            self.cut = True
            keep = np.argpartition(-short[rows, chosen], most)[:most]
            rows, chosen = rows[keep], chosen[keep]
        for pair, which in zip(rows.tolist(), chosen.tolist(), strict=True):
            visits = tuple(one_male_visits(plans, pair, which))
            if visits not in self.known:
                worth = float(plans.problem.pair_value[pair] * plans.gain[visits[0].female, which])
                self.known[visits] = worth + float(plans.bonus[pair] @ plans.sets[which])
        less = delta if two_delta is None else two_delta
        two_floor = np.where(pricing.must, surplus - less, np.maximum(surplus - less, 0.0))
        for _, pairs, _, sets, second in two_male_plans(plans, prices, two_floor):
            for one in sets.tolist():
                self.add(two_male_visits(plans, pairs, one, second[one]))
            if len(self.known) > 4 * most or time.monotonic() > until:
                break

    def add_everything(self, most: int) -> bool:
        """Every plan of every female, all splits between two males too, when they are at most `most`; else nothing."""
        plans, problem = self.plans, self.plans.problem
        sizes = plans.sets.sum(axis=1)
        splits = float((2.0**sizes - 2.0)[sizes > 1].sum())
        two = problem.rules.males_per_female_max > 1
        counts = [run.stop - run.start for run in plans.runs]
        if sum(n * len(plans.sets) + two * n * (n - 1) / 2 * splits for n in counts) > most:
            return False
        for run in plans.runs:
            for one, other in combinations(range(run.start, run.stop), 2):
                if two:
                    self._add_splits(one, other)
            for pair in range(run.start, run.stop):
                for chosen in np.flatnonzero(plans.worth[pair] > FORBIDDEN_EDGE).tolist():
                    self.add(one_male_visits(plans, pair, chosen))
        return True

    def _add_splits(self, one: int, other: int) -> None:
        plans = self.plans
        pins = plans.pinned.get(int(plans.problem.pair_female[one]), ())
        wanted = {(pin.male, pin.week) for pin in pins}
        for chosen, row in enumerate(plans.sets):
            places = np.flatnonzero(row).tolist()
            for bits in product((False, True), repeat=len(places)):
                second = np.zeros(len(row), dtype=bool)
                second[places] = bits
                pairs = [other if bit else one for bit in bits]
                if len(set(bits)) < 2 or not all(plans.allowed[p, t] for p, t in zip(pairs, places, strict=True)):
                    continue
                visits = two_male_visits(plans, (one, other), chosen, second)
                if wanted <= {(visit.male, visit.week) for visit in visits}:
                    self.add(visits)


@dataclass(frozen=True, slots=True)
class Solved:
    """What the solver found: the rota, None when nothing; `dual` bounds the worth over the pool's plans."""

    visits: list[Visit] | None
    dual: float
    optimal: bool


class _Rows:
    """Rows of the model in the making: bounds, and entries by column."""

    def __init__(self) -> None:
        self.low: list[float] = []
        self.high: list[float] = []
        self.entries: list[tuple[int, int, float]] = []

    def add(self, low: float, high: float, entries: list[tuple[int, float]]) -> None:
        row = len(self.low)
        self.low.append(low)
        self.high.append(high)
        self.entries += [(row, column, value) for column, value in entries]


def run_caps(problem: RotaProblem) -> list[tuple[int, int]]:
    """(length in weeks, most visits) of runs of weeks in which the days allow fewer than the shorter runs say."""
    rules = problem.rules
    longest = HISTORY_WEEKS if rules.rest_weeks_in_four > 0 else problem.weeks
    cap = {1: min(rules.visits_per_week_max, (DAYS_PER_WEEK - 1) // rules.cycle_days + 1)}
    binding = []
    for length in range(2, min(longest, problem.weeks) + 1):
        own = (DAYS_PER_WEEK * length - 1) // rules.cycle_days + 1
        parts = min(cap[part] + cap[length - part] for part in range(1, length))
        cap[length] = min(own, parts)
        if own < parts:
            binding.append((length, own))
    return binding


def solve(
    pool: Pool,
    males: Males,
    start: Work,
    seconds: float,
    *,
    patterns: Ints | None = None,
    free: Collection[int] = (),
    gap: float = 1e-4,
) -> Solved:
    """The best rota out of the pool's plans, begun from `start`. With `patterns` (M, W) the weekly counts of every
    male are given but for those that are `free`; then the answer says nothing of other patterns."""
    problem = pool.plans.problem
    for own in start.of.values():
        pool.add(own)
    columns = list(pool.known.items())
    deadline = time.monotonic() + seconds
    most = males.most
    first = len(columns)
    cell = problem.weeks * most

    def worked(male: int, week: int, level: int = 0) -> int:
        return first + male * cell + week * most + level

    rows = _Rows()
    of_female: dict[int, list[tuple[int, float]]] = {}
    of_slot: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for number, (plan, _) in enumerate(columns):
        of_female.setdefault(plan[0].female, []).append((number, 1.0))
        for visit in plan:
            of_slot.setdefault((visit.male, visit.week), []).append((number, 1.0))
    for female, found in of_female.items():
        rows.add(1.0 if female in pool.plans.pinned else 0.0, 1.0, found)
    for (male, week), found in of_slot.items():
        rows.add(-np.inf, 0.0, [*found, *[(worked(male, week, level), -1.0) for level in range(most)]])
    _male_rows(problem, rows, worked, most)
    size = first + problem.males * cell
    lower, upper = _bounds(problem, males, set(of_slot), worked, size, patterns, free)
    worth = np.zeros(size)
    worth[:first] = [value for _, value in columns]
    initial = np.zeros(size)
    chosen = {tuple(sorted(plan)) for plan in start.of.values()}
    initial[[number for number, (plan, _) in enumerate(columns) if plan in chosen]] = 1.0
    for male, counts in enumerate(start.counts):
        for week, count in enumerate(counts):
            for level in range(count):
                initial[worked(male, week, level)] = 1.0
    initial = np.minimum(np.maximum(initial, lower), upper)
    values, dual, optimal = _highs(worth, lower, upper, rows, initial, max(0.5, deadline - time.monotonic()), gap)
    if values is None:
        return Solved(None, dual, False)
    visits = [visit for number in np.flatnonzero(values[:first] > 0.5) for visit in columns[number][0]]
    return Solved(visits, dual, optimal)


def _bounds(
    problem: RotaProblem,
    males: Males,
    used: set[tuple[int, int]],
    worked: Column,
    size: int,
    patterns: Ints | None,
    free: Collection[int],
) -> tuple[Floats, Floats]:
    """0 and 1, but for weeks that no plan uses or he may not work, and for the weeks that are given."""
    lower, upper = np.zeros(size), np.ones(size)
    for male in range(problem.males):
        for week in range(problem.weeks):
            for level in range(males.most):
                column = worked(male, week, level)
                if level >= problem.capacity[male, week] or (male, week) not in used:
                    upper[column] = 0.0
                elif patterns is not None and male not in free:
                    # given weeks are constants: nothing to branch on
                    upper[column] = lower[column] = float(level < patterns[male, week])
    return lower, upper


def _male_rows(problem: RotaProblem, rows: _Rows, worked: Column, most: int) -> None:
    rules = problem.rules
    allowed = HISTORY_WEEKS + 1 - rules.rest_weeks_in_four
    caps = run_caps(problem)
    for male in range(problem.males):
        for week in range(problem.weeks):
            for level in range(1, most):
                rows.add(0.0, np.inf, [(worked(male, week, level - 1), 1.0), (worked(male, week, level), -1.0)])
            past = problem.worked[male, week:].sum() if week < HISTORY_WEEKS else 0
            inside = [(worked(male, w), 1.0) for w in range(max(0, week - HISTORY_WEEKS), week + 1)]
            if len(inside) + past > allowed:
                rows.add(-np.inf, float(max(0, allowed - past)), inside)
            for length, cap in caps:
                if week + length <= problem.weeks:
                    run = [(worked(male, w, level), 1.0) for w in range(week, week + length) for level in range(most)]
                    rows.add(-np.inf, float(cap), run)
        free = int(problem.free_on[male])
        for length in range(1, min(HISTORY_WEEKS, problem.weeks) + 1 if free else 1):
            days = DAYS_PER_WEEK * length - 1 - free
            cap = 0 if days < 0 else days // rules.cycle_days + 1
            rows.add(
                -np.inf, float(cap), [(worked(male, w, level), 1.0) for w in range(length) for level in range(most)]
            )


def _highs(
    worth: Floats, lower: Floats, upper: Floats, rows: _Rows, initial: Floats, seconds: float, gap: float
) -> tuple[Floats | None, float, bool]:
    """Run the solver; (values, dual bound, proven optimal)."""
    size = len(worth)
    entries = np.array(rows.entries, dtype=np.float64).reshape(-1, 3)
    order = np.lexsort((entries[:, 0], entries[:, 1]))
    entries = entries[order]
    starts = np.searchsorted(entries[:, 1], np.arange(size + 1))
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = size, len(rows.low)
    model.col_cost_, model.col_lower_, model.col_upper_ = worth, lower, upper
    model.row_lower_, model.row_upper_ = np.array(rows.low), np.array(rows.high)
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = starts.astype(np.int32)
    model.a_matrix_.index_ = entries[:, 0].astype(np.int32)
    model.a_matrix_.value_ = entries[:, 2].copy()
    model.integrality_ = [highspy.HighsVarType.kInteger] * size
    model.sense_ = highspy.ObjSense.kMaximize
    solver = highspy.Highs()  # type: ignore[no-untyped-call]
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("log_to_console", False)
    # the number of threads is fixed by the first solve of a process: always one, so that every run is alike
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("time_limit", float(seconds))
    solver.setOptionValue("mip_rel_gap", gap)
    solver.setOptionValue("random_seed", 1)
    solver.passModel(model)
    begin = highspy.HighsSolution()
    begin.col_value = initial.tolist()
    solver.setSolution(begin)
    solver.run()
    status = solver.getModelStatus()
    info = solver.getInfo()
    known = {highspy.HighsModelStatus.kOptimal, highspy.HighsModelStatus.kTimeLimit}
    if status not in known or info.primal_solution_status != 2:
        return None, float("inf"), False
    values = np.array(solver.getSolution().col_value)
    return values, float(info.mip_dual_bound), status == highspy.HighsModelStatus.kOptimal
