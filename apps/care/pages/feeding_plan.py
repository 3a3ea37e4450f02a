"""The feeding plan and the thaw list as pages show them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from apps.animals.models import Animal
from apps.care.selectors.feeding import PlanLine, fed_animals, feeding_lines
from apps.care.selectors.prey import is_watched
from apps.care.selectors.racks import animals_of_rack
from apps.care.selectors.thaw import PreyCount, ThawList, prey_counts, thaw_list
from apps.core import clock
from apps.core.formats import computed_grams_text, day_text, grams_text, number_text
from apps.engines import feeding
from apps.places.models import Rack


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One animal's line in words. ``mark`` names the state shape."""

    animal: Animal
    mark: str
    state: str
    food: str
    share: str
    last: str
    weight: str
    takes: str
    because: tuple[str, ...]
    concern: str
    may_leave: bool
    watched: bool
    is_due: bool


@dataclass(frozen=True, slots=True)
class RackRow:
    """One rack of the overview."""

    rack: Rack
    animals: int
    due: int
    late: int
    held: int
    unchecked: int
    foods: list[PreyCount]


@dataclass(frozen=True, slots=True)
class PlanPage:
    """The overview: racks in walking order, and what somebody should look at."""

    on: date
    racks: list[RackRow]
    concerns: list[PlanRow]
    due: int
    late: int
    held: int
    unchecked: int
    later: int
    no_advice: int


def food_words(choice: feeding.PreyChoice | None) -> str:
    """``2 hopper mouse, thawed``; a dash when nobody knows."""
    if choice is None:
        return "nobody knows what it takes"
    many = f"{choice.count} " if choice.count != 1 else ""
    return f"{many}{choice.size} {choice.prey}, {choice.presentation}".replace("  ", " ")


def _amount_words(line: PlanLine) -> str:
    plan = line.plan
    if plan is None or plan.choice is None:
        return ""
    if plan.choice.share_pct is None or plan.low_g is None or plan.high_g is None:
        return "no weight"
    total, low, high = plan.choice.total_g, plan.low_g, plan.high_g
    span = (
        computed_grams_text(low)
        if round(low, 1) == round(high, 1)
        else f"{computed_grams_text(low)[:-2]} to {computed_grams_text(high)}"
    )
    share = number_text(plan.choice.share_pct, 1 if plan.choice.share_pct < 10 else 0)
    return f"{grams_text(total)}, {share} % of its mass; wanted {span}"


def plan_row(line: PlanLine, on: date) -> PlanRow:
    """One line in words."""
    mark, state = _state(line, on)
    last, plan = line.last, line.plan
    took = ""
    if last is not None:
        took = f"{last.outcome or 'offered'} {day_text(last.on)}"
    choice = plan.choice if plan is not None and line.is_due(on) else None
    return PlanRow(
        animal=line.animal,
        mark=mark,
        state=state,
        food=food_words(choice) if line.is_due(on) else "",
        share=_amount_words(line) if line.is_due(on) else "",
        last=took or "none",
        weight=f"{grams_text(line.weight.g)}, {day_text(line.weight.on)}" if line.weight else "none",
        takes="; ".join(taste.words for taste in line.tastes[:3]),
        because=(plan.because if plan is not None else ("This species has no feeding numbers.",))
        + (("In quarantine: fed last, with its own tools.",) if line.in_quarantine else ()),
        concern=plan.concern if plan is not None else "",
        may_leave=plan.may_leave if plan is not None else False,
        watched=choice is not None and is_watched(choice.prey, choice.presentation),
        is_due=line.is_due(on),
    )


def _state(line: PlanLine, on: date) -> tuple[str, str]:
    plan = line.plan
    if plan is None:
        return "open", "no advice"
    if line.is_due(on):
        days = plan.days_late(on)
        return ("late", f"{days} {'day' if days == 1 else 'days'} late") if days else ("due", "due")
    if plan.act == feeding.CHECK:
        return "offered", "not checked"
    if plan.act == feeding.HELD:
        return "hold", f"no food until {day_text(plan.due_on)}" if plan.due_on else "no food"
    return "silent", f"next {day_text(plan.due_on)}" if plan.due_on else "waits"


def rack_plan(rack: Rack, on: date | None = None) -> list[PlanRow]:
    """Every animal of a rack in walking order."""
    day = on or clock.today()
    return [plan_row(line, day) for line in feeding_lines(animals_of_rack(rack), day)]


def plan_page(on: date | None = None) -> PlanPage:
    """The whole house; a fixed number of queries for 2,000 animals."""
    day = on or clock.today()
    lines = feeding_lines(fed_animals(), day)
    groups: dict[int, list[PlanLine]] = defaultdict(list)
    for line in lines:
        if line.animal.tub is not None:
            groups[line.animal.tub.rack_id].append(line)
    racks = []
    for group in groups.values():
        tub = group[0].animal.tub
        assert tub is not None  # grouped by it
        due = [line for line in group if line.is_due(day)]
        racks.append(
            RackRow(
                rack=tub.rack,
                animals=len(group),
                due=len(due),
                late=sum(1 for line in due if line.plan is not None and line.plan.days_late(day)),
                held=_count(group, feeding.HELD),
                unchecked=_count(group, feeding.CHECK),
                foods=prey_counts(due),
            )
        )
    return PlanPage(
        on=day,
        racks=racks,
        concerns=[plan_row(line, day) for line in lines if line.plan is not None and line.plan.concern],
        due=sum(row.due for row in racks),
        late=sum(row.late for row in racks),
        held=sum(row.held for row in racks),
        unchecked=sum(row.unchecked for row in racks),
        later=len(lines) - sum(row.due + row.held + row.unchecked for row in racks),
        no_advice=sum(1 for line in lines if line.plan is None),
    )


def _count(lines: list[PlanLine], act: str) -> int:
    return sum(1 for line in lines if line.plan is not None and line.plan.act == act)


def thaw_page(on: date | None = None) -> ThawList:
    """Tonight's list over the whole house."""
    day = on or clock.today()
    return thaw_list(feeding_lines(fed_animals(), day), day)
