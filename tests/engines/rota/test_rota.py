"""The rota against exhaustive search, its own rules, and its bound."""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.engines.rota import RotaProblem, Visit, plan_rota, rota_faults, rota_value
from apps.engines.rota.columns import run_caps
from apps.engines.rota.days import set_days
from apps.engines.rota.males import Males
from tests.engines.rota.facilities import RULES, facility


def best_by_hand(problem: RotaProblem) -> float:
    """The worth of the best rota, by trying every plan of every female with every other (days left to `set_days`)."""
    options: list[list[tuple[Visit, ...]]] = []
    for female in range(problem.females):
        males = problem.pair_male[problem.pair_female == female].tolist()
        plans = []
        for choice in product([None, *males], repeat=problem.weeks):
            visits = tuple(Visit(female, male, week) for week, male in enumerate(choice) if male is not None)
            if len(visits) <= problem.rules.visits_per_female_max:
                plans.append(visits)
        options.append(plans)
    best = 0.0
    for combination in product(*options):
        together = [visit for plan in combination for visit in plan]
        dated = set_days(problem, together)
        if len(dated) == len(together) and not rota_faults(problem, dated):
            best = max(best, rota_value(problem, dated))
    return best


@pytest.mark.parametrize("seed", range(6))
def test_equal_to_exhaustive_search_on_tiny_facilities(seed: int) -> None:
    problem = facility(2, 3, 3, seed, pins=0.0, rules=replace(RULES, visits_per_female_max=2))
    found = plan_rota(problem, seconds=20)
    assert rota_faults(problem, found.visits) == []
    best = best_by_hand(problem)
    assert found.value == pytest.approx(best, rel=1e-6)
    assert found.bound >= best * (1 - 1e-7)


@pytest.mark.parametrize(("visit_days", "rest_days", "free"), [(2, 3, 0), (2, 3, 4), (1, 1, 0), (3, 4, 2), (2, 2, 6)])
def test_weekly_counts_are_possible_exactly_when_days_exist(visit_days: int, rest_days: int, free: int) -> None:
    """The automaton of a male against a search over all days, for every series of counts over four weeks."""
    rules = replace(RULES, visit_days=visit_days, rest_days=rest_days)
    problem = replace(
        facility(1, 3, 4, 1, rules=rules, pins=0.0, blocked=0.0),
        free_on=np.array([free]),
        worked=np.array([[True, True, False]]),
    )
    males = Males(problem)
    for counts in product(range(3), repeat=4):
        assert males.possible(0, counts) is _days_exist(problem, counts), counts


def _days_exist(problem: RotaProblem, counts: tuple[int, ...]) -> bool:
    worked = [*problem.worked[0].tolist(), *[count > 0 for count in counts]]
    for end in range(3, len(worked)):
        if worked[end] and sum(worked[end - 3 : end + 1]) > 3:
            return False

    def place(week: int, left: int, free: int) -> bool:
        if week == len(counts):
            return True
        if left == 0:
            return place(week + 1, counts[week + 1] if week + 1 < len(counts) else 0, free)
        return any(
            place(week, left - 1, day + problem.rules.cycle_days) for day in range(max(free, 7 * week), 7 * week + 7)
        )

    return place(0, counts[0], int(problem.free_on[0]))


def test_runs_of_weeks_hold_fewer_visits_than_their_parts() -> None:
    """Two days in and three of rest: two starts fit into a week, three into two weeks, five into three."""
    assert run_caps(facility(2, 2, 6)) == [(2, 3)]
    assert run_caps(facility(2, 2, 6, rules=replace(RULES, rest_days=0))) == []


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    males=st.integers(1, 5),
    females=st.integers(1, 9),
    weeks=st.integers(1, 8),
    pins=st.sampled_from([0.0, 0.4]),
)
def test_every_rota_keeps_every_rule_and_its_bound(
    seed: int, males: int, females: int, weeks: int, pins: float
) -> None:
    problem = facility(males, females, weeks, seed, pins=pins)
    found = plan_rota(problem, seconds=3)
    assert rota_faults(problem, found.visits, [refusal.pin for refusal in found.refused]) == []
    assert found.value == pytest.approx(rota_value(problem, found.visits), rel=1e-6, abs=1e-6)
    assert found.bound >= found.value - 1e-6
    assert 0.0 <= found.gap <= 1.0
    assert len(found.reasons) == len(found.visits)
    assert all(reason.worth >= 0 for reason in found.reasons)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), data=st.data())
def test_the_bound_never_falls_below_another_rota(seed: int, data: st.DataObject) -> None:
    """No handful of visits that keeps the rules is worth more than the bound stated."""
    problem = facility(3, 6, 5, seed, pins=0.0)
    found = plan_rota(problem, seconds=0.5, with_reasons=False)
    pairs = list(zip(problem.pair_female.tolist(), problem.pair_male.tolist(), strict=True))
    chosen = data.draw(st.lists(st.tuples(st.sampled_from(pairs), st.integers(0, 4)), max_size=8, unique=True))
    other = set_days(problem, [Visit(female, male, week) for (female, male), week in chosen])
    if rota_faults(problem, other) == []:
        assert rota_value(problem, other) <= found.bound * (1 + 1e-7) + 1e-6


def test_pins_are_kept_vetoes_are_not_planned_and_what_cannot_be_is_named() -> None:
    problem = facility(3, 8, 6, 5, pins=0.0, blocked=0.0)
    female, male = int(problem.pair_female[0]), int(problem.pair_male[0])
    first = plan_rota(problem, seconds=3)
    veto = replace(first.visits[0], day=-1)
    pins = (Visit(female, male, 4), Visit(female, male, 4), Visit(female, 99, 3), Visit(female, male, 17))
    found = plan_rota(replace(problem, pins=pins, vetoes=(veto,)), seconds=3)
    there = {(visit.female, visit.male, visit.week) for visit in found.visits}
    assert (female, male, 4) in there
    assert (veto.female, veto.male, veto.week) not in there
    assert [refusal.why for refusal in found.refused] == [
        "she is pinned to another male in the same week",
        "these two may not be planned together",
        "the week is not part of this plan",
    ]
    assert rota_faults(replace(problem, pins=pins, vetoes=(veto,)), found.visits, pins[1:]) == []


def test_a_blocked_week_a_rest_and_a_busy_male_are_kept() -> None:
    problem = facility(2, 6, 5, 8, pins=0.0, blocked=0.0)
    capacity = problem.capacity.copy()
    capacity[0, 2] = 0
    problem = replace(problem, capacity=capacity, free_on=np.array([6, 0]), worked=np.array([[False] * 3, [True] * 3]))
    found = plan_rota(problem, seconds=3)
    assert rota_faults(problem, found.visits) == []
    assert not [visit for visit in found.visits if visit.male == 0 and visit.week == 2]
    assert not [visit for visit in found.visits if visit.male == 1 and visit.week == 0]
    assert all(visit.day == 6 for visit in found.visits if visit.male == 0 and visit.week == 0)


def test_a_plan_made_anew_keeps_the_week_when_little_changed() -> None:
    problem = facility(6, 40, 8, 3, pins=0.0)
    first = plan_rota(problem, seconds=2, with_reasons=False)
    rng = np.random.default_rng(4)
    shaken = replace(problem, pair_value=problem.pair_value * rng.uniform(0.97, 1.03, len(problem.pair_value)))
    kept = tuple(replace(visit, day=-1) for visit in first.visits if visit.week == 0)
    loose = plan_rota(shaken, seconds=2, with_reasons=False)
    steady = plan_rota(
        replace(shaken, kept=kept), seconds=2, start_prices=first.prices, incumbent=first.visits, with_reasons=False
    )
    same = {(visit.female, visit.male) for visit in kept}

    def left(visits: tuple[Visit, ...]) -> int:
        return len(same & {(visit.female, visit.male) for visit in visits if visit.week == 0})

    assert left(steady.visits) >= left(loose.visits)
    assert left(steady.visits) >= 0.9 * len(same)


def test_the_deadline_is_kept_and_a_rota_comes_all_the_same() -> None:
    problem = facility(30, 300, 12, 2)
    began = time.monotonic()
    found = plan_rota(problem, seconds=2.0, with_greedy=False, with_reasons=False)
    assert time.monotonic() - began < 8.0
    assert found.visits
    assert rota_faults(problem, found.visits, [refusal.pin for refusal in found.refused]) == []


def test_a_solver_that_used_all_its_time_still_gives_reasons() -> None:
    problem = facility(10, 60, 10, 4)
    found = plan_rota(problem, seconds=1.5)
    assert sum(reason.worth > 0 for reason in found.reasons) > 0.8 * len(found.visits)


def test_a_better_male_and_a_likelier_week_are_never_worth_less() -> None:
    problem = facility(3, 5, 5, 12, pins=0.0)
    found = plan_rota(problem, seconds=3, with_reasons=False)
    dearer = replace(problem, pair_value=problem.pair_value * 1.5)
    surer = replace(problem, inside=np.ones_like(problem.inside))
    assert rota_value(dearer, found.visits) == pytest.approx(1.5 * found.value)
    assert rota_value(surer, found.visits) >= found.value
    assert rota_value(problem, found.visits[1:]) <= found.value + 1e-9


class TestTheCheckerSeesEveryBrokenRule:
    """Each rule broken by hand is named, so a rota without faults keeps them all."""

    @pytest.fixture
    def problem(self) -> RotaProblem:
        problem = facility(3, 4, 6, 1, pins=0.0, blocked=0.0)
        pairs = [(female, male) for female in range(4) for male in range(3)]
        return replace(
            problem,
            pair_female=np.array([female for female, _ in pairs]),
            pair_male=np.array([male for _, male in pairs]),
            pair_value=np.ones(len(pairs)),
            worked=np.zeros((3, 3), dtype=bool),
        )

    @pytest.mark.parametrize(
        ("visits", "words"),
        [
            ([(0, 0, 0, 0), (1, 0, 0, 4)], "4 days from one visit's start"),
            ([(0, 0, 0, 0), (1, 0, 0, 5), (2, 0, 0, 6)], "3 visits in week 0"),
            ([(0, 0, 0, 0), (0, 1, 0, 3)], "two visits in one week"),
            ([(0, 0, 0, 6), (0, 1, 1, 0)], "in two places"),
            ([(0, 0, 0, 0), (0, 1, 1, 0), (0, 2, 2, 0)], "more than 2 males"),
            ([(0, 0, w, 0) for w in range(4)], "no rest in the four weeks"),
            ([(0, 0, 0, 0), (0, 0, 1, 0), (0, 0, 2, 0), (0, 0, 4, 0), (0, 0, 5, 0)], "5 visits, at most 4"),
            ([(0, 0, 9, 0)], "outside the plan"),
            ([(0, 0, 0, 7)], "outside the plan"),
        ],
    )
    def test_rule(self, problem: RotaProblem, visits: list[tuple[int, int, int, int]], words: str) -> None:
        assert any(words in fault for fault in rota_faults(problem, [Visit(*visit) for visit in visits]))

    def test_holds_vetoes_strangers_and_lost_pins(self, problem: RotaProblem) -> None:
        open_weeks, capacity = problem.open_weeks.copy(), problem.capacity.copy()
        open_weeks[0, 1], capacity[1, 2] = False, 0
        problem = replace(
            problem,
            open_weeks=open_weeks,
            capacity=capacity,
            vetoes=(Visit(2, 2, 3),),
            pins=(Visit(3, 0, 5),),
            female_free_on=np.array([0, 0, 0, 3]),
        )
        faults = rota_faults(problem, [Visit(0, 0, 1, 0), Visit(1, 1, 2, 0), Visit(2, 2, 3, 0), Visit(3, 2, 0, 1)])
        for words in ("may not be visited", "at most 0", "vetoed", "lost", "before she is free"):
            assert any(words in fault for fault in faults), words
        assert rota_faults(problem, [], [Visit(3, 0, 5)]) == []
