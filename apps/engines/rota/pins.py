"""Which pins can be kept, one after another as they were made, and why the others cannot."""

from __future__ import annotations

from .males import Males
from .problem import Refusal, RotaProblem, Visit

PIN_REFUSALS = {
    "pair": "these two may not be planned together",
    "vetoed": "this visit is vetoed",
    "female": "she may not be visited in that week",
    "male": "he may not visit in that week",
    "week_twice": "she is pinned to another male in the same week",
    "visits": "she would have more visits than one plan may hold",
    "males": "she would have more males than one plan may hold",
    "work": "with his other pins he would not have the rest and the days between visits that the rules ask",
    "outside": "the week is not part of this plan",
}


def sort_pins(problem: RotaProblem, males: Males) -> tuple[tuple[Visit, ...], tuple[Refusal, ...]]:
    """(kept, refused), in the order of the pins. What is kept is possible together."""
    kept: list[Visit] = []
    refused: list[Refusal] = []
    pairs = set(zip(problem.pair_female.tolist(), problem.pair_male.tolist(), strict=True))
    vetoed = {(veto.female, veto.male, veto.week) for veto in problem.vetoes}
    counts = [[0] * problem.weeks for _ in range(problem.males)]
    for pin in problem.pins:
        why = _why_not(problem, pin, kept, pairs, vetoed)
        if not why:
            counts[pin.male][pin.week] += 1
            if not males.possible(pin.male, counts[pin.male]):
                counts[pin.male][pin.week] -= 1
                why = "work"
        if why:
            refused.append(Refusal(pin=pin, why=PIN_REFUSALS[why]))
        else:
            kept.append(pin)
    return tuple(kept), tuple(refused)


def _why_not(
    problem: RotaProblem,
    pin: Visit,
    kept: list[Visit],
    pairs: set[tuple[int, int]],
    vetoed: set[tuple[int, int, int]],
) -> str:
    if not 0 <= pin.week < problem.weeks:
        return "outside"
    if (pin.female, pin.male) not in pairs:
        return "pair"
    own = [other for other in kept if other.female == pin.female]
    checks = (
        ((pin.female, pin.male, pin.week) in vetoed, "vetoed"),
        (not problem.open_weeks[pin.female, pin.week], "female"),
        (problem.capacity[pin.male, pin.week] < 1, "male"),
        (pin.week in {other.week for other in own}, "week_twice"),
        (len(own) >= problem.rules.visits_per_female_max, "visits"),
        (len({other.male for other in own} | {pin.male}) > problem.rules.males_per_female_max, "males"),
    )
    return next((why for wrong, why in checks if wrong), "")
