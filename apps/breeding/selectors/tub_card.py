"""What stands on an animal's card: its newest meals, masses, scans and visits. A fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from django.db.models import F, Model, Prefetch, QuerySet, Window
from django.db.models.functions import RowNumber

from apps.animals.models import Animal, Hold
from apps.animals.selectors import holds_in_force
from apps.breeding.models import Lock, Scan, Visit
from apps.care.models import Weight
from apps.care.selectors.meals import Meal, meal_of, offers_with_checks
from apps.care.selectors.weights import sound_weights
from apps.core import clock

MEALS, WEIGHTS, SCANS, VISITS = 8, 4, 8, 8
RowT = TypeVar("RowT", bound=Model)


@dataclass(slots=True)
class CardFacts:
    """One animal's newest facts, each list newest first."""

    animal: Animal
    holds: list[Hold] = field(default_factory=list)
    meals: list[Meal] = field(default_factory=list)
    weights: list[Weight] = field(default_factory=list)
    scans: list[Scan] = field(default_factory=list)
    visits: list[Visit] = field(default_factory=list)


def card_facts(animals: Sequence[Animal]) -> list[CardFacts]:
    """The cards of these animals, in their order."""
    ids = [animal.pk for animal in animals]
    meals = _each(_newest(offers_with_checks().filter(animal__in=ids), MEALS), lambda row: row.animal_id)
    weights = _each(_newest(sound_weights().filter(animal__in=ids), WEIGHTS), lambda row: row.animal_id)
    scans = _each(
        _newest(Scan.objects.filter(animal__in=ids, struck_at__isnull=True), SCANS), lambda row: row.animal_id
    )
    visits = _visits(ids)
    holds = holds_in_force(animals, clock.now())
    return [
        CardFacts(
            animal=animal,
            holds=holds.get(animal.pk, []),
            meals=[meal_of(offer) for offer in meals[animal.pk]],
            weights=weights[animal.pk],
            scans=scans[animal.pk],
            visits=visits[animal.pk],
        )
        for animal in animals
    ]


def _visits(ids: Sequence[int]) -> dict[int, list[Visit]]:
    """By animal, whether it stayed or was brought; an animal is one or the other, so the lists need no merging."""
    rows = (
        Visit.objects.filter(struck_at__isnull=True)
        .select_related("female", "male")
        .prefetch_related(Prefetch("locks", Lock.objects.filter(struck_at__isnull=True).order_by("seen_at")))
    )
    females = _newest(rows.filter(female__in=ids), VISITS, per="female_id", moment="began_at")
    males = _newest(rows.filter(male__in=ids), VISITS, per="male_id", moment="began_at")
    found = _each(females, lambda row: row.female_id)
    for animal_id, visits in _each(males, lambda row: row.male_id).items():
        # one recorded with the wrong sex once may stand on both sides
        found[animal_id] = sorted([*found[animal_id], *visits], key=lambda row: row.began_at, reverse=True)[:VISITS]
    return found


def _newest(rows: QuerySet[RowT], count: int, *, per: str = "animal_id", moment: str = "observed_at") -> Iterable[RowT]:
    """The newest ``count`` rows of each animal."""
    order = [F(moment).desc(), F("pk").desc()]
    nth = Window(RowNumber(), partition_by=[F(per)], order_by=order)
    return rows.annotate(nth=nth).filter(nth__lte=count).order_by(f"-{moment}", "-pk")


def _each(rows: Iterable[RowT], animal_id: Callable[[RowT], int]) -> dict[int, list[RowT]]:
    found: dict[int, list[RowT]] = defaultdict(list)
    for row in rows:
        found[animal_id(row)].append(row)
    return found
