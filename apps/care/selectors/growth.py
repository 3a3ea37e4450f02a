"""An animal's growth: its weights, what is usual at its age, its clutch-mates, and a loss of mass."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from apps.animals.models import Animal, Brood
from apps.animals.selectors import number_rows, profile_numbers
from apps.care.models import Weight
from apps.care.selectors.weights import chunks, sound_weights
from apps.core import clock
from apps.engines import feeding

GROWN_SOURCE = "body.full_g"


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for the species on a day, in grams."""

    on: date
    low_g: float
    middle_g: float
    high_g: float


@dataclass(slots=True)
class Growth:
    """Everything of one animal's growth. ``mates_lighter`` of ``mates_known`` weighed less at about the same age."""

    animal: Animal
    weights: list[Weight]
    mates: dict[str, list[tuple[date, float]]] = field(default_factory=dict)
    curve: feeding.GrowthCurve | None = None
    from_weight: bool = False
    last_usual: Usual | None = None
    loss: feeding.Loss | None = None
    mates_lighter: int = 0
    mates_known: int = 0
    source: str = ""

    @property
    def last(self) -> Weight | None:
        """The newest weight that counts."""
        return next((row for row in reversed(self.weights) if not row.doubtful), None)

    def usual_on(self, day: date) -> Usual | None:
        """The interval on a day; None before the curve begins or without figures."""
        begins = self.begins()
        if self.curve is None or begins is None or day < begins[0]:
            return None
        low, middle, high = feeding.expected_mass(self.curve, (day - begins[0]).days, from_g=begins[1])
        return Usual(day, low, middle, high)

    def begins(self) -> tuple[date, float | None] | None:
        """The day the curve begins on and its grams: hatching at the species' mass, else its first weight."""
        if self.animal.hatched_on is not None:
            return self.animal.hatched_on, None
        first = next((row for row in self.weights if not row.doubtful), None)
        return (clock.day_of(first.observed_at), first.mass_g) if first is not None else None


def growth_of(animal: Animal) -> Growth:
    """One animal (``species`` fetched) in a fixed number of queries."""
    weights = list(Weight.objects.filter(animal=animal, struck_at__isnull=True).order_by("observed_at", "pk"))
    numbers = profile_numbers(animal.species)
    rows = number_rows(animal.species)
    page = Growth(animal=animal, weights=weights, curve=feeding.growth_curve(numbers, animal.sex))
    page.from_weight = animal.hatched_on is None
    page.source = rows[GROWN_SOURCE].source if GROWN_SOURCE in rows else ""
    last = page.last
    if last is not None:
        page.last_usual = page.usual_on(clock.day_of(last.observed_at))
    page.loss = losses_of([animal]).get(animal.pk)
    _mates(page)
    return page


def _mates(page: Growth) -> None:
    animal, last = page.animal, page.last
    if animal.brood_id is None:
        return
    rows = sound_weights().filter(animal__brood=animal.brood_id).exclude(animal=animal.pk)
    for code, at, grams in rows.order_by("observed_at", "pk").values_list("animal__code", "observed_at", "mass_g"):
        page.mates.setdefault(code, []).append((clock.day_of(at), grams))
    if last is None:
        return
    day = clock.day_of(last.observed_at)
    near = [min(points, key=lambda point: abs((point[0] - day).days)) for points in page.mates.values()]
    near = [point for point in near if abs((point[0] - day).days) <= SAME_AGE_DAYS]
    page.mates_known = len(near)
    page.mates_lighter = sum(1 for _, grams in near if grams < last.mass_g)


# Weights this close in time are compared between clutch-mates; a comparison on the page, no advice rests on it.
SAME_AGE_DAYS = 21


def losses_of(animals: Iterable[Animal], as_of: date | None = None) -> dict[int, feeding.Loss]:
    """The loss of each animal (``species`` fetched) that has two weights to compare; fixed queries per 2,000."""
    rows = list(animals)
    day = as_of or clock.today()
    rules: dict[int, feeding.LossRule | None] = {}
    weights, laid = _weighed(rows), _layings(rows)
    found = {}
    for animal in rows:
        if animal.species_id not in rules:
            rules[animal.species_id] = _rule(animal)
        rule = rules[animal.species_id]
        loss = feeding.mass_loss(weights.get(animal.pk, ()), laid.get(animal.pk, ()), rule, day) if rule else None
        if loss is not None:
            found[animal.pk] = loss[0]
    return found


def _rule(animal: Animal) -> feeding.LossRule | None:
    try:
        return feeding.loss_rule(profile_numbers(animal.species))
    except KeyError:
        return None


def _weighed(animals: Sequence[Animal]) -> dict[int, list[feeding.Weight]]:
    day = clock.day_reader()
    found: dict[int, list[feeding.Weight]] = defaultdict(list)
    for part in chunks([animal.pk for animal in animals]):
        rows = sound_weights().filter(animal_id__in=part).order_by("observed_at", "pk")
        for animal, at, grams in rows.values_list("animal_id", "observed_at", "mass_g"):
            found[animal].append(feeding.Weight(day(at), grams))
    return found


def _layings(animals: Sequence[Animal]) -> dict[int, list[date]]:
    found: dict[int, list[date]] = defaultdict(list)
    for part in chunks([animal.pk for animal in animals]):
        for dam, on in Brood.objects.filter(dam_id__in=part).values_list("dam_id", "on"):
            found[dam].append(on)
    return found
