"""Judges a rota by the rules alone. It shares no code with what makes rotas and runs on all that is published."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence

from .problem import RotaProblem, Visit

WEEK = 7
TOLERANCE = 1e-6


def rota_faults(problem: RotaProblem, visits: Sequence[Visit], refused: Sequence[Visit] = ()) -> list[str]:
    """Every broken rule in words with places for names (``female 3``); empty when the rota keeps them all."""
    faults: list[str] = []
    meet = {(int(f), int(m)) for f, m in zip(problem.pair_female, problem.pair_male, strict=True)}
    vetoed = {(veto.female, veto.male, veto.week) for veto in problem.vetoes}
    for visit in visits:
        name = f"female {visit.female} with male {visit.male} in week {visit.week}"
        if not (0 <= visit.week < problem.weeks and 0 <= visit.day < WEEK):
            faults.append(f"{name}: outside the plan (day {visit.day})")
            continue
        if (visit.female, visit.male) not in meet:
            faults.append(f"{name}: the pair may not meet")
        if (visit.female, visit.male, visit.week) in vetoed:
            faults.append(f"{name}: vetoed")
        if not problem.open_weeks[visit.female][visit.week]:
            faults.append(f"{name}: she may not be visited")
    faults += _female_faults(problem, visits)
    faults += _male_faults(problem, visits)
    there = {(visit.female, visit.male, visit.week) for visit in visits}
    given_up = {(pin.female, pin.male, pin.week) for pin in refused}
    for pin in problem.pins:
        key = (pin.female, pin.male, pin.week)
        if key not in there and key not in given_up:
            faults.append(f"the pin of female {pin.female} with male {pin.male} in week {pin.week} is lost")
    return faults


def _female_faults(problem: RotaProblem, visits: Sequence[Visit]) -> list[str]:
    rules, faults = problem.rules, []
    hers: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        hers[visit.female].append(visit)
    for female, plan in hers.items():
        if len(plan) > rules.visits_per_female_max:
            faults.append(f"female {female}: {len(plan)} visits, at most {rules.visits_per_female_max}")
        if len({visit.male for visit in plan}) > rules.males_per_female_max:
            faults.append(f"female {female}: more than {rules.males_per_female_max} males")
        if len({visit.week for visit in plan}) < len(plan):
            faults.append(f"female {female}: two visits in one week")
        starts = sorted(WEEK * visit.week + visit.day for visit in plan)
        if starts[0] < problem.female_free_on[female]:
            faults.append(f"female {female}: day {starts[0]} is before she is free")
        faults += [
            f"female {female}: in two places on day {later}"
            for earlier, later in itertools.pairwise(starts)
            if later - earlier < rules.visit_days
        ]
    return faults


def _male_faults(problem: RotaProblem, visits: Sequence[Visit]) -> list[str]:
    rules, faults = problem.rules, []
    his: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        his[visit.male].append(visit)
    for male, plan in his.items():
        weekly = [0] * problem.weeks
        for visit in plan:
            if 0 <= visit.week < problem.weeks:
                weekly[visit.week] += 1
        for week, count in enumerate(weekly):
            most = min(int(problem.capacity[male][week]), rules.visits_per_week_max)
            if count > most:
                faults.append(f"male {male}: {count} visits in week {week}, at most {most}")
        starts = sorted(WEEK * visit.week + visit.day for visit in plan)
        if starts[0] < problem.free_on[male]:
            faults.append(f"male {male}: day {starts[0]} is before he is free")
        faults += [
            f"male {male}: {later - earlier} days from one visit's start to the next"
            for earlier, later in itertools.pairwise(starts)
            if later - earlier < rules.visit_days + rules.rest_days
        ]
        worked = [bool(past) for past in problem.worked[male]] + [count > 0 for count in weekly]
        for end in range(3, len(worked)):
            if worked[end] and sum(worked[end - 3 : end + 1]) > 4 - rules.rest_weeks_in_four:
                faults.append(f"male {male}: no rest in the four weeks up to week {end - 3}")
    return faults


def rota_value(problem: RotaProblem, visits: Sequence[Visit]) -> float:
    """What the rota is worth, computed female by female and scenario by scenario from the definition."""
    hers: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        hers[visit.female].append(visit)
    values = {
        (int(f), int(m)): float(v)
        for f, m, v in zip(problem.pair_female, problem.pair_male, problem.pair_value, strict=True)
    }
    miss, scenarios = 1.0 - problem.rules.success, problem.inside.shape[2]
    total = 0.0
    for female, plan in hers.items():
        gain = 0.0
        weight = dict.fromkeys(range(len(plan)), 1e-12)
        for scenario in range(scenarios):
            before = miss ** float(problem.past[female, scenario])
            count = sum(float(problem.inside[female, visit.week, scenario]) for visit in plan)
            gain += before * (1.0 - miss**count) / scenarios
            for number, visit in enumerate(plan):
                weight[number] += before * float(problem.inside[female, visit.week, scenario]) / scenarios
        mean = sum(weight[number] * values[female, visit.male] for number, visit in enumerate(plan))
        mean /= sum(weight.values())
        several = len({visit.male for visit in plan}) > 1
        total += gain * mean * (1.0 - problem.rules.second_male_penalty if several else 1.0)
    return total
