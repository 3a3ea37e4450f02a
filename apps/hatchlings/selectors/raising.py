"""The raising board: each young with what it still lacks; reads in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import QuerySet

from apps.animals.choices import Purpose, Status
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.care.choices import MealOutcome, ShedStage
from apps.care.models import HealthNote, Shed
from apps.care.selectors.meals import meals_of
from apps.care.selectors.weights import latest_weights
from apps.core import clock
from apps.hatchlings.models import Readiness

RULE_KEYS = ("ready.meals_in_a_row", "ready.min_weight_g", "ready.min_days", "ready.first_shed")


@dataclass(frozen=True)
class Raised:
    """What the sale rule looks at."""

    animal: Animal
    age_days: int | None
    mass_g: float | None
    meals_in_a_row: int
    has_shed: bool
    has_eaten: bool
    offered: int
    open_note: bool


@dataclass(frozen=True)
class Judged:
    """Whether a young is ready, and each missing item by name."""

    raised: Raised
    is_ready: bool
    missing: tuple[str, ...]


def young_here() -> QuerySet[Animal]:
    """Young bred here that are not kept for breeding, oldest first."""
    return (
        Animal.objects.filter(status=Status.HERE, purpose=Purpose.STOCK, brood__isnull=False)
        .select_related("species", "tub__rack__room", "brood", "dam", "sire")
        .order_by("hatched_on", "code")
    )


def raised_of(animals: Iterable[Animal]) -> list[Raised]:
    """The facts of the rule for many animals."""
    rows = list(animals)
    ids = [animal.pk for animal in rows]
    weights = latest_weights(ids)
    meals = meals_of(ids)
    shed = set(
        Shed.objects.filter(animal__in=ids, stage=ShedStage.SHED, struck_at__isnull=True).values_list(
            "animal_id", flat=True
        )
    )
    noted = set(
        HealthNote.objects.filter(animal__in=ids, closed_at__isnull=True, struck_at__isnull=True).values_list(
            "animal_id", flat=True
        )
    )
    today = clock.today()
    return [
        Raised(
            animal=animal,
            age_days=(today - animal.hatched_on).days if animal.hatched_on is not None else None,
            mass_g=weights[animal.pk].mass_g if animal.pk in weights else None,
            meals_in_a_row=_in_a_row([meal.outcome for meal in meals.get(animal.pk, [])]),
            has_shed=animal.pk in shed,
            has_eaten=any(meal.outcome == MealOutcome.ATE for meal in meals.get(animal.pk, [])),
            offered=len(meals.get(animal.pk, [])),
            open_note=animal.pk in noted,
        )
        for animal in rows
    ]


def judged_of(animals: Iterable[Animal]) -> list[Judged]:
    """Every animal against its species' rule."""
    rules: dict[int, Mapping[str, float]] = {}
    found = []
    for raised in raised_of(animals):
        species = raised.animal.species
        if species.pk not in rules:
            rules[species.pk] = profile_numbers(species)
        missing = missing_items(raised, rules[species.pk])
        found.append(Judged(raised, not missing, missing))
    return found


def missing_items(raised: Raised, numbers: Mapping[str, float]) -> tuple[str, ...]:
    """What the house rule still asks for; a species without a rule is never ready by rule."""
    if any(key not in numbers for key in RULE_KEYS):
        return ("no sale rule for this species",)
    missing = []
    meals, least_g, days = (numbers[key] for key in RULE_KEYS[:3])
    if numbers["ready.first_shed"] and not raised.has_shed:
        missing.append("first shed")
    if raised.meals_in_a_row < meals:
        missing.append(f"{meals - raised.meals_in_a_row:.0f} of {meals:.0f} meals in a row")
    if raised.mass_g is None:
        missing.append("a weight")
    elif raised.mass_g < least_g:
        missing.append(f"{least_g - raised.mass_g:.0f} g to {least_g:.0f} g")
    if raised.age_days is None or raised.age_days < days:
        missing.append(f"{days:.0f} days of age")
    if raised.open_note:
        missing.append("an open health note")
    return tuple(missing)


def mass_question(animal: Animal, mass_g: float | None) -> str:
    """What is odd about a weight at hatching, or nothing; the numbers are the profile's, and the weight is kept."""
    if mass_g is None:
        return ""
    numbers = profile_numbers(animal.species)
    low, high = numbers.get("young.mass_low_g"), numbers.get("young.mass_high_g")
    if low is None or high is None or low <= mass_g <= high:
        return ""
    return (
        f"{animal.code}: {mass_g:g} g is outside {low:g} to {high:g} g for a hatchling. "
        "Weigh again; a wrong entry is struck out on its page."
    )


def is_ready(animal: Animal) -> bool:
    """Whether the animal meets the house rule now, from the facts (not from the stored row)."""
    fresh = Animal.objects.select_related("species").get(pk=animal.pk)
    return judged_of([fresh])[0].is_ready


def readiness_of(animals: Iterable[Animal]) -> dict[int, Readiness]:
    """The stored rows by animal id."""
    return {row.animal_id: row for row in Readiness.objects.filter(animal__in=[animal.pk for animal in animals])}


def _in_a_row(outcomes: Iterable[str | None]) -> int:
    """Eaten meals at the end of the list, oldest first; an unchecked offer counts as nothing."""
    count = 0
    for outcome in reversed([outcome for outcome in outcomes if outcome is not None]):
        if outcome != MealOutcome.ATE:
            break
        count += 1
    return count
