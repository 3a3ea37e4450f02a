"""Readiness: the house rule applied, each missing item named; one current row an animal."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import orjson

from apps.accounts.models import Person
from apps.accounts.services import service
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.core import clock
from apps.hatchlings.models import Readiness
from apps.hatchlings.selectors.raising import RULE_KEYS, Judged, judged_of


@service("readiness.refresh")
def readiness_refresh(*, by: Person, animal: Animal, request_key: str | None = None) -> Readiness:
    """Judge one animal anew; the same facts and rule change nothing."""
    fresh = Animal.objects.select_related("species").get(pk=animal.pk)
    return readiness_write(judged_of([fresh]))[0]


def readiness_write(judged: Iterable[Judged]) -> list[Readiness]:
    """Write the rows that changed; returns the row of every animal."""
    rows = list(judged)
    standing = {
        row.animal_id: row for row in Readiness.objects.filter(animal__in=[item.raised.animal.pk for item in rows])
    }
    versions: dict[int, str] = {}
    found = []
    for item in rows:
        animal = item.raised.animal
        version = versions.setdefault(animal.species_id, _rule_version(animal))
        row = standing.get(animal.pk)
        wanted = (item.is_ready, list(item.missing), version)
        if row is None or (row.is_ready, row.missing, row.rule_version) != wanted:
            row, _ = Readiness.objects.update_or_create(
                animal=animal,
                defaults={
                    "as_of": clock.now(),
                    "is_ready": item.is_ready,
                    "missing": list(item.missing),
                    "rule_version": version,
                },
            )
        found.append(row)
    return found


def _rule_version(animal: Animal) -> str:
    """The rule as numbers: a changed house rule gives another version."""
    numbers = profile_numbers(animal.species)
    rule = {key: numbers.get(key) for key in RULE_KEYS}
    return hashlib.sha256(orjson.dumps(rule, option=orjson.OPT_SORT_KEYS)).hexdigest()[:16]
