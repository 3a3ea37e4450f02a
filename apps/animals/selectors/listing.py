"""The list of animals: filters, and who is in which tub."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from apps.animals.choices import Purpose, Sex, Status
from apps.animals.models import Animal
from apps.animals.selectors.lineage import animals
from apps.core.codes import code_key
from apps.places.models import Rack, Tub


@dataclass(frozen=True)
class AnimalFilter:
    """What the list shows; an empty word filters nothing."""

    species: str = ""
    sex: str = ""
    status: str = Status.HERE
    purpose: str = ""
    text: str = ""

    @property
    def is_plain(self) -> bool:
        """Whether it is what the page opens with."""
        return self == AnimalFilter()


def animals_listed(wanted: AnimalFilter) -> QuerySet[Animal]:
    """Animals as filtered, by code. A word outside its list filters nothing."""
    found = animals().order_by("code_key")
    if wanted.species:
        found = found.filter(species__slug=wanted.species)
    if wanted.sex in Sex.values:
        found = found.filter(sex=wanted.sex)
    if wanted.status in Status.values:
        found = found.filter(status=wanted.status)
    if wanted.purpose in Purpose.values:
        found = found.filter(purpose=wanted.purpose)
    for word in wanted.text.split():
        found = found.filter(
            Q(code_key__contains=code_key(word))
            | Q(name__icontains=word)
            | Q(traits__icontains=word)
            | Q(tub__label__icontains=word)
        )
    return found


def status_counts() -> dict[str, int]:
    """How many animals stand in each status, most first."""
    return dict(Counter(dict(Animal.objects.order_by().values_list("status").annotate(Count("pk")))).most_common())


def animals_in(tubs: Iterable[Tub]) -> dict[int, list[Animal]]:
    """Who is in each of these tubs, by tub id."""
    found: dict[int, list[Animal]] = {}
    rows = Animal.objects.filter(tub__in=list(tubs)).select_related("species").order_by("code_key")
    for animal in rows:
        if animal.tub_id is not None:
            found.setdefault(animal.tub_id, []).append(animal)
    return found


def filled_positions() -> dict[int, set[tuple[int, int]]]:
    """The (level, column) of every tub with an animal, by rack id."""
    found: dict[int, set[tuple[int, int]]] = {}
    rows = Animal.objects.filter(tub__isnull=False).values_list("tub__rack_id", "tub__level", "tub__column")
    for rack_id, level, column in rows:
        found.setdefault(rack_id, set()).add((level, column))
    return found


def rack_by_ref(ref: str) -> Rack | None:
    """A rack with its place."""
    return Rack.objects.select_related("room__site", "room__health_group").filter(ref=ref).first()
