"""A rack drawn as it stands: one line per level, one tub per column, with what each tub is to get or got."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta

from apps.animals.choices import HandlingAct
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.care.models import MealOffer
from apps.care.pages.quick import when_words
from apps.care.policies import holds_words
from apps.care.selectors import last_meals_at, unchecked_offers
from apps.care.selectors.racks import animals_of_rack
from apps.core import clock
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


def offer_page(rack: Rack, tapped: set[str] | None = None) -> RackPage:
    """The first pass. Held animals and those with an unchecked offer cannot be fed; the recently fed are tapped.

    ``tapped`` are the refs a refused form had tapped; it replaces the proposal.
    """
    animals = list(animals_of_rack(rack))
    ids = [animal.pk for animal in animals]
    waiting = {offer.animal_id: offer for offer in unchecked_offers().filter(animal__tub__rack=rack)}
    last = last_meals_at(ids)
    held = holds_words(animals, HandlingAct.FEED)
    numbers: dict[int, Mapping[str, float]] = {}

    def cell(animal: Animal, short: str) -> TubCell:
        assert animal.tub is not None
        if animal.species_id not in numbers:
            numbers[animal.species_id] = profile_numbers(animal.species)
        if animal.pk in waiting:
            words = f"offered {when_words(waiting[animal.pk].observed_at)}"
            return TubCell(animal.tub, animal, short, "", words, "offered", False, "not checked yet")
        if animal.pk in held:
            return TubCell(animal.tub, animal, short, "", "no food", "hold", False, held[animal.pk])
        rest = numbers[animal.species_id].get("feeding.min_interval_days")
        fed = last.get(animal.pk)
        recent = rest is not None and fed is not None and clock.now() - fed < timedelta(days=rest)
        skip = animal.ref in tapped if tapped is not None else recent
        words = f"fed {when_words(fed)}" if recent and fed is not None else "offer"
        return TubCell(animal.tub, animal, short, animal.ref, words, "due", skip)

    return _page(rack, animals, cell)


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
        words = f"{mine[0]}, {when_words(mine[0].observed_at)}"
        return TubCell(animal.tub, animal, short, value, words, "offered", value in (tapped or set()))

    return _page(rack, animals, cell)
