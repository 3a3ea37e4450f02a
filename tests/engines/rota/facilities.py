"""Invented facilities for the rota: how many, how scarce, one seed each. Nothing here is how the planner works."""

from __future__ import annotations

from typing import Any

import numpy as np

from apps.engines.rota import RotaProblem, RotaRules, Visit

SCENARIOS = 31
# The shipped house rules of the ball python (fixtures/reference/species/python-regius.yaml).
RULES = RotaRules(
    success=0.55,
    visits_per_week_max=2,
    rest_weeks_in_four=1,
    visits_per_female_max=4,
    males_per_female_max=2,
    second_male_penalty=0.1,
    visit_days=2,
    rest_days=3,
    keep_bonus_share=0.05,
)


def facility(
    males: int,
    females: int,
    weeks: int = 12,
    seed: int = 1,
    *,
    rules: RotaRules = RULES,
    pins: float = 0.02,
    blocked: float = 0.04,
) -> RotaProblem:
    """Each female suits 3 to 15 males of lognormal value; her window's centre is uncertain by 0.7 to 2.5 weeks and it
    is 3 to 7 weeks long; a share of male-weeks is blocked, a share of females pinned, the past weeks were worked."""
    rng = np.random.default_rng(seed)
    centre = rng.uniform(0, weeks, females)
    spread, length = rng.uniform(0.7, 2.5, females), rng.integers(3, 8, females)
    quantiles = (np.arange(SCENARIOS) + 0.5) / SCENARIOS
    draws = np.sort(rng.normal(size=(200, 1)), axis=0)
    normal = np.quantile(draws, quantiles)
    middle = centre[:, None] + spread[:, None] * normal[None, :]
    mids = np.arange(weeks)[None, :, None] + 0.5
    inside = (np.abs(mids - middle[:, None, :]) <= length[:, None, None] / 2).astype(np.float32)
    rows, columns, values = [], [], []
    base = rng.lognormal(6.2, 0.5, females)
    for female in range(females):
        count = min(males, int(rng.integers(3, 16)))
        chosen = np.sort(rng.choice(males, count, replace=False))
        rows += [female] * count
        columns += chosen.tolist()
        values += (base[female] * rng.lognormal(0, 0.35, count)).tolist()
    capacity = np.full((males, weeks), rules.visits_per_week_max)
    capacity[rng.random((males, weeks)) < blocked] = 0
    worked = rng.random((males, 3)) < 0.6
    pinned = []
    for chosen_one in np.flatnonzero(rng.random(females) < pins).tolist():
        own = [column for row, column in zip(rows, columns, strict=True) if row == chosen_one]
        week = int(inside[chosen_one].mean(axis=1).argmax())
        pinned.append(Visit(int(chosen_one), int(own[0]), week))
    return _problem(females, males, weeks, inside, rows, columns, values, capacity, worked, rules, tuple(pinned))


def _problem(
    females: int,
    males: int,
    weeks: int,
    inside: Any,
    rows: list[int],
    columns: list[int],
    values: list[float],
    capacity: Any,
    worked: Any,
    rules: RotaRules,
    pins: tuple[Visit, ...] = (),
    **more: Any,
) -> RotaProblem:
    given: dict[str, Any] = {
        "past": np.zeros((females, inside.shape[2]), dtype=np.float32),
        "open_weeks": np.ones((females, weeks), dtype=bool),
        "free_on": np.zeros(males, dtype=np.int64),
        "female_free_on": np.zeros(females, dtype=np.int64),
        **more,
    }
    return RotaProblem(
        females=females,
        males=males,
        weeks=weeks,
        inside=inside,
        pair_female=np.array(rows, dtype=np.int64),
        pair_male=np.array(columns, dtype=np.int64),
        pair_value=np.array(values, dtype=np.float64),
        capacity=capacity.astype(np.int64),
        worked=worked,
        rules=rules,
        pins=pins,
        **given,
    )
