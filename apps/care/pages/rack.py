"""A rack drawn as it stands: one line per level, one tub per column, with what each tub is to get or got."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.care.models import MealOffer
from apps.care.pages.feeding_plan import food_words
from apps.care.pages.quick import when_words
from apps.care.policies import holds_words
from apps.care.selectors import last_meals_at, unchecked_offers
from apps.care.selectors.feeding import PlanLine, feeding_lines
from apps.care.selectors.late import is_late
from apps.care.selectors.racks import animals_of_rack
from apps.core import clock
from apps.core.formats import day_text
from apps.engines.feeding import PreyChoice
from apps.places.models import Rack, Tub


@dataclass(frozen=True, slots=True)
class TubCell:
    """One animal in its tub. ``value`` is what its tick box sends; an empty one cannot be tapped."""

    tub: Tub
    animal: Animal
    short_code: str
    value: str
    words: str
    mark: str
    tapped: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """One level of the rack, left to right; an empty tub is None."""

    number: int
    cells: list[list[TubCell]]


@dataclass(frozen=True, slots=True)
class RackPage:
    """The page."""

    rack: Rack
    levels: list[Level]
    prefix: str
    open_count: int
    tapped_count: int
    foods: list[FoodGroup] = field(default_factory=list)

    @property
    def free_count(self) -> int:
        """How many the button covers when nothing more is tapped."""
        return self.open_count - self.tapped_count

    @property
    def cells(self) -> list[TubCell]:
        """Every tub with an animal, in walking order."""
        return [cell for level in self.levels for place in level.cells for cell in place]


def code_prefix(codes: list[str]) -> str:
    """What all codes begin with up to their last dash, so the tubs can show the rest large."""
    heads = {code.rpartition("-")[0] for code in codes}
    if len(heads) == 1 and (head := next(iter(heads))):
        return f"{head}-"
    return ""


def _page(rack: Rack, animals: list[Animal], cell: Callable[[Animal, str], TubCell]) -> RackPage:
    prefix = code_prefix([animal.code for animal in animals])
    by_place: dict[tuple[int, int], list[TubCell]] = defaultdict(list)
    for animal in animals:
        assert animal.tub is not None  # the selector asked for those in the rack
        by_place[(animal.tub.level, animal.tub.column)].append(cell(animal, animal.code.removeprefix(prefix)))
    levels = [
        Level(number=level, cells=[by_place.get((level, column), []) for column in range(1, rack.columns + 1)])
        for level in range(1, rack.levels + 1)
    ]
    every = [one for cells in by_place.values() for one in cells]
    return RackPage(
        rack=rack,
        levels=levels,
        prefix=prefix,
        open_count=sum(1 for one in every if one.value),
        tapped_count=sum(1 for one in every if one.value and one.tapped),
    )


@dataclass(frozen=True, slots=True)
class FoodGroup:
    """One food the plan wants in this rack, and for how many. ``key`` is what the address carries."""

    key: str
    words: str
    animals: int
    chosen: bool
    initial: Mapping[str, object]


def food_key(choice: PreyChoice) -> str:
    """``rat-small-1-thawed``"""
    return f"{choice.prey}-{choice.size}-{choice.count}-{choice.presentation}".replace(" ", "_")


def food_groups(lines: Mapping[int, PlanLine], wanted: str = "") -> list[FoodGroup]:
    """The foods due in a rack today, most animals first; the one wanted is chosen, else the first."""
    choices: dict[str, list[PreyChoice]] = defaultdict(list)
    for line in lines.values():
        if line.is_due(clock.today()) and line.plan is not None and line.plan.choice is not None:
            choices[food_key(line.plan.choice)].append(line.plan.choice)
    ordered = sorted(choices.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    chosen = wanted if wanted in choices else next((key for key, _ in ordered), "")
    return [
        FoodGroup(
            key=key,
            words=food_words(group[0]),
            animals=len(group),
            chosen=key == chosen,
            initial={
                "prey": group[0].prey,
                "size": group[0].size,
                "prey_g": group[0].each_g,
                "count": group[0].count,
                "presentation": group[0].presentation,
            },
        )
        for key, group in ordered
    ]


def offered_to(rack: Rack, refs: set[str]) -> list[Animal]:
    """Of these animals those of the rack that can be fed, in walking order: nobody held, nobody whose last offer waits
    for its check. What a filled-in form needs, without the page's advice."""
    animals = [one for one in animals_of_rack(rack) if one.ref in refs]
    waiting, held = _kept_from_food(rack, animals)
    return [one for one in animals if one.pk not in waiting and one.pk not in held]


def _kept_from_food(rack: Rack, animals: list[Animal]) -> tuple[dict[int, MealOffer], dict[int, str]]:
    """Who of a rack waits for a check, and who of these animals is held and why, by animal id."""
    waiting = {offer.animal_id: offer for offer in unchecked_offers().filter(animal__tub__rack=rack)}
    return waiting, holds_words(animals, HandlingAct.FEED)


def offer_page(rack: Rack, tapped: set[str] | None = None, food: str = "") -> RackPage:
    """The first pass. Held animals and those with an unchecked offer cannot be fed; who is not due, or is to have
    another food by the plan, is tapped.

    ``tapped`` are the refs a refused form had tapped; it replaces the proposal. ``food`` is the group on the cart.
    """
    animals = list(animals_of_rack(rack))
    waiting, held = _kept_from_food(rack, animals)
    last = last_meals_at([animal.pk for animal in animals])
    lines = {line.animal.pk: line for line in feeding_lines(animals)}
    foods = food_groups(lines, food)
    chosen = next((group.key for group in foods if group.chosen), "")
    numbers: dict[int, Mapping[str, float]] = {}

    def cell(animal: Animal, short: str) -> TubCell:
        assert animal.tub is not None
        if animal.pk in waiting:
            offer = waiting[animal.pk]
            words = f"offered {when_words(offer.observed_at)}{', late' if is_late(offer) else ''}"
            return TubCell(animal.tub, animal, short, "", words, "offered", False, "not checked yet")
        if animal.pk in held:
            return TubCell(animal.tub, animal, short, "", "no food", "hold", False, held[animal.pk])
        if animal.species_id not in numbers:
            numbers[animal.species_id] = profile_numbers(animal.species)
        words, propose = _proposal(lines[animal.pk], last.get(animal.pk), numbers[animal.species_id], chosen)
        skip = animal.ref in tapped if tapped is not None else propose
        return TubCell(animal.tub, animal, short, animal.ref, words, "due", skip)

    page = _page(rack, animals, cell)
    return replace(page, foods=foods)


def _proposal(line: PlanLine, fed: datetime | None, numbers: Mapping[str, float], chosen: str) -> tuple[str, bool]:
    """What the tub says, and whether it is tapped to be skipped: the plan decides, the recently fed always rest."""
    rest = numbers.get("feeding.min_interval_days")
    if rest is not None and fed is not None and clock.now() - fed < timedelta(days=rest):
        return f"fed {when_words(fed)}", True
    plan = line.plan
    if plan is None:
        return "offer", False
    if not line.is_due(clock.today()):
        return f"next {day_text(plan.due_on)}" if plan.due_on else "waits", True
    if plan.choice is None or food_key(plan.choice) == chosen:
        return "offer", False
    return food_words(plan.choice), True


def check_page(rack: Rack, tapped: set[str] | None = None) -> RackPage:
    """The second pass: every unchecked offer of the rack; tapped ones were left."""
    offers: dict[int, list[MealOffer]] = defaultdict(list)
    for offer in unchecked_offers().filter(animal__tub__rack=rack):
        offers[offer.animal_id].append(offer)
    animals = list(animals_of_rack(rack))

    def cell(animal: Animal, short: str) -> TubCell:
        assert animal.tub is not None
        mine = offers.get(animal.pk)
        if not mine:
            return TubCell(animal.tub, animal, short, "", "nothing offered", "", False)
        # several offers of one evening are answered together: their numbers travel as one value
        value = ".".join(str(offer.pk) for offer in mine)
        words = f"{mine[0]}, {when_words(mine[0].observed_at)}{', late' if is_late(mine[0]) else ''}"
        return TubCell(animal.tub, animal, short, value, words, "offered", value in (tapped or set()))

    return _page(rack, animals, cell)
