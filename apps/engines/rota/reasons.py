"""Why each visit stands: what would be lost without it, what would take its place, and who would have had the slot."""

from __future__ import annotations

import time

import numpy as np

from .fill import Work, best_plan
from .problem import Floats, Reason, Visit


def reasons_of(work: Work, prices: Floats, deadline: float) -> tuple[Reason, ...]:
    """One reason for each visit of the rota, in the rota's order; what there is no time for says 0 and nobody."""
    visits = sorted(work.visits(), key=lambda visit: (visit.week, visit.day, visit.male, visit.female))
    values = np.array([work.plans.value(f, work.of.get(f, [])) for f in range(work.plans.problem.females)])
    found = []
    for visit in visits:
        if time.monotonic() > deadline:
            found.append(_reason(work, prices, visit, None))
        else:
            found.append(_reason(work, prices, visit, values))
    return tuple(found)


def _reason(work: Work, prices: Floats, visit: Visit, values: Floats | None) -> Reason:
    plans = work.plans
    price = float(prices[visit.male, visit.week])
    chance = float(plans.chance[visit.female, plans.place(visit.female, visit.week)])
    if values is None:
        return Reason(
            worth=0.0, instead=(), slot_price=price, runner_up=None, runner_up_gain=0.0, chance_in_window=chance
        )
    female = visit.female
    own = work.of[female]
    work.put(female, [])
    pinned = plans.pinned.get(female)
    other = [] if pinned else best_plan(work, female, avoid=visit)
    rest = [v for v in own if v != visit]
    kept_rest = plans.value(female, rest)
    if plans.value(female, other) < kept_rest:
        other = rest
    loss = max(0.0, float(values[female]) - plans.value(female, other))
    # with her whole plan taken out the slot is free for somebody else
    runner, gain = _runner_up(work, visit, values)
    work.put(female, own)
    return Reason(
        worth=loss,
        instead=tuple(other),
        slot_price=price,
        runner_up=runner,
        runner_up_gain=gain,
        chance_in_window=chance,
    )


def _runner_up(work: Work, visit: Visit, values: Floats) -> tuple[int | None, float]:
    """The female who would gain most by this slot, one-male plans of his only."""
    plans, problem = work.plans, work.plans.problem
    rows = np.flatnonzero(problem.pair_male == visit.male)
    females = problem.pair_female[rows]
    useful = (females != visit.female) & ~np.isin(females, list(plans.pinned))
    rows, females = rows[useful], females[useful]
    if not rows.size:
        return None, 0.0
    weeks = plans.weeks[females]
    padded = np.where(weeks < 0, problem.weeks, weeks)
    closed = (~work.room[visit.male][padded]) & (weeks != visit.week)
    here = weeks == visit.week
    worth = plans.worth[rows].astype(np.float64)
    worth[(closed.astype(np.float32) @ plans.sets.T) > 0] = -np.inf
    worth[(here.astype(np.float32) @ plans.sets.T) < 1] = -np.inf
    gain = worth.max(axis=1) - values[females]
    top = int(gain.argmax())
    return (int(females[top]), float(gain[top])) if gain[top] > 0 else (None, 0.0)
