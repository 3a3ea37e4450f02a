"""Reads of animals and lineage."""

from __future__ import annotations

import re
from collections.abc import Iterable

from django.db.models import QuerySet

from apps.animals.choices import BroodKind, Status
from apps.animals.models import Animal, Brood, Species
from apps.core.codes import code_key

_NUMBERED = re.compile(r"^(?P<prefix>.*?)(?P<number>\d+)$")


def animals() -> QuerySet[Animal]:
    """All animals with what every list shows."""
    return Animal.objects.select_related("species", "tub__rack__room", "dam", "sire")


def animals_here() -> QuerySet[Animal]:
    """Animals that are here."""
    return animals().filter(status=Status.HERE)


def animal_by_code(text: str) -> Animal | None:
    """The animal of a code, a ref, or the address in a QR code (a tub's label is not an animal's)."""
    word = text.strip().rstrip("/").rsplit("/", 1)[-1]
    if not word:
        return None
    found = animals()
    row = found.filter(code_key=code_key(word)).first() or found.filter(ref=word).first()
    return record_of(row) if row is not None else None


def record_of(animal: Animal) -> Animal:
    """The record that an animal lives on under: itself, unless it was recorded twice and merged."""
    while animal.merged_into_id is not None:
        animal = animals().get(pk=animal.merged_into_id)
    return animal


def animals_by_codes(codes: Iterable[str]) -> dict[str, Animal]:
    """Animals by the comparison form of their code, in one query per 500."""
    keys = list({code_key(code) for code in codes if code.strip()})
    found: dict[str, Animal] = {}
    for start in range(0, len(keys), 500):
        rows = Animal.objects.select_related("species").filter(code_key__in=keys[start : start + 500])
        found.update({animal.code_key: record_of(animal) for animal in rows})
    return found


def next_code(species: Species) -> str:
    """The facility's next code of a species: the highest number so far, plus one, four digits at least."""
    prefix = f"{species.code_prefix}-"
    highest = 0
    for code in Animal.objects.filter(code__startswith=prefix).values_list("code", flat=True):
        tail = code[len(prefix) :]
        if tail.isdigit():
            highest = max(highest, int(tail))
    return f"{prefix}{highest + 1:04d}"


def next_brood_code(year: int, kind: BroodKind | str) -> str:
    """``C27-044`` for a clutch, ``L27-003`` for a litter: by the year of laying or birth."""
    prefix = f"{'C' if kind == BroodKind.CLUTCH else 'L'}{year % 100:02d}-"
    highest = 0
    for code in Brood.objects.filter(code__startswith=prefix).values_list("code", flat=True):
        tail = code[len(prefix) :]
        if tail.isdigit():
            highest = max(highest, int(tail))
    return f"{prefix}{highest + 1:03d}"


def ancestors_of(animal: Animal, *, most: int = 10_000) -> set[int]:
    """Ids of every known ancestor, level by level (one query a generation)."""
    seen: set[int] = set()
    level = {pk for pk in (animal.dam_id, animal.sire_id) if pk is not None}
    while level and len(seen) < most:
        seen |= level
        rows = Animal.objects.filter(pk__in=level).values_list("dam_id", "sire_id")
        level = {pk for row in rows for pk in row if pk is not None} - seen
    return seen


def brood_by_code(text: str) -> Brood | None:
    """The brood of a code or a ref."""
    word = text.strip()
    found = Brood.objects.select_related("dam", "species")
    return found.filter(code_key=code_key(word)).first() or found.filter(ref=word).first()
