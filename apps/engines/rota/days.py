"""On which day of its week each visit begins: as early as he, and she, are free, and never so late that his next
visit no longer fits."""

from __future__ import annotations

from itertools import permutations

from .problem import DAYS_PER_WEEK, RotaProblem, Visit


def set_days(problem: RotaProblem, visits: list[Visit]) -> list[Visit]:
    """The visits with their days, in order. One that collides with her visit of the week before (she is in one place
    at a time too) and has no other day is left out."""
    cycle, stay = problem.rules.cycle_days, problem.rules.visit_days
    latest = _latest(problem, visits)
    free = [int(days) for days in problem.free_on]
    hers = [int(days) for days in problem.female_free_on]
    found: list[Visit] = []
    for week in range(problem.weeks):
        by_male: dict[int, list[Visit]] = {}
        for visit in visits:
            if visit.week == week:
                by_male.setdefault(visit.male, []).append(visit)
        # the tightest first
        for male in sorted(by_male, key=lambda male: (-len(by_male[male]), male)):
            own, limits = by_male[male], latest[male, week]
            starts = _starts(own, limits, max(free[male], DAYS_PER_WEEK * week), hers, cycle)
            for visit, start in starts:
                found.append(Visit(visit.female, male, week, start - DAYS_PER_WEEK * week))
                hers[visit.female] = start + stay
                free[male] = start + cycle
    return sorted(found, key=lambda visit: (visit.week, visit.day, visit.male, visit.female))


def _latest(problem: RotaProblem, visits: list[Visit]) -> dict[tuple[int, int], list[int]]:
    """The latest possible starts (days of the plan) of each male's visits of each week, the first visit first."""
    cycle = problem.rules.cycle_days
    counts: dict[int, dict[int, int]] = {}
    for visit in visits:
        weeks = counts.setdefault(visit.male, {})
        weeks[visit.week] = weeks.get(visit.week, 0) + 1
    found: dict[tuple[int, int], list[int]] = {}
    for male, weeks in counts.items():
        limit = DAYS_PER_WEEK * problem.weeks + cycle
        for week in sorted(weeks, reverse=True):
            starts: list[int] = []
            for _ in range(weeks[week]):
                limit = min(DAYS_PER_WEEK * (week + 1) - 1, limit - cycle)
                starts.insert(0, limit)
            found[male, week] = starts
    return found


def _starts(own: list[Visit], limits: list[int], free: int, hers: list[int], cycle: int) -> list[tuple[Visit, int]]:
    """The order of his females that keeps most visits and ends first."""
    best: list[tuple[Visit, int]] = []
    for order in permutations(own):
        at, made = free, []
        for visit, limit in zip(order, limits, strict=True):
            start = max(at, hers[visit.female])
            if start <= limit:
                made.append((visit, start))
                at = start + cycle
        if len(made) > len(best) or (len(made) == len(best) and made and made[-1][1] < best[-1][1]):
            best = made
    return best
