"""Species and their numbers: the house's own over the shipped."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from types import MappingProxyType

from django.db.models import Count, Max, QuerySet, Sum

from apps.animals.choices import NumberOrigin
from apps.animals.models import Species, SpeciesNumber
from apps.core import clock
from apps.core.errors import Missing


def all_species() -> QuerySet[Species]:
    """Species by common name."""
    return Species.objects.order_by("common")


def species_by_name(name: str) -> Species | None:
    """A species by scientific name, common name or slug."""
    word = " ".join(name.split())
    found = Species.objects.filter(scientific__iexact=word).first() or Species.objects.filter(slug=word.lower()).first()
    return found or Species.objects.filter(common__iexact=word).first()


def near_species(name: str) -> list[str]:
    """The nearest known names, for an error's hint."""
    known = [word for row in all_species() for word in (row.scientific, row.common)]
    folded = {word.casefold(): word for word in known}
    return [folded[match] for match in difflib.get_close_matches(name.casefold(), list(folded), n=3, cutoff=0.5)]


# Which row stands: what the house set over what its records say, and that over what was shipped.
_RANKS = {NumberOrigin.SHIPPED: 0, NumberOrigin.RECORDS: 1, NumberOrigin.HOUSE: 2}


def number_rows(species: Species, on: date | None = None, *, with_records: bool = True) -> dict[str, SpeciesNumber]:
    """The row in force of every number: house over own records over shipped, the newest that is valid."""
    return dict(_rows_in_force(species.pk, on or clock.today(), with_records, _token(species)))


def _token(species: Species) -> tuple[float, ...]:
    """Changes whenever a number of the species does: one small query instead of two hundred rows."""
    seen = SpeciesNumber.objects.filter(species=species).aggregate(n=Count("pk"), last=Max("pk"), sum=Sum("value"))
    return seen["n"], seen["last"] or 0, seen["sum"] or 0.0


@lru_cache(maxsize=64)
def _rows_in_force(
    species_id: int, day: date, with_records: bool, token: tuple[float, ...]
) -> dict[str, SpeciesNumber]:
    found: dict[str, SpeciesNumber] = {}
    rows = SpeciesNumber.objects.filter(species_id=species_id, valid_from__lte=day).order_by("valid_from", "pk")
    for row in rows if with_records else rows.exclude(origin=NumberOrigin.RECORDS):
        standing = found.get(row.key)
        if standing is None or _RANKS[NumberOrigin(row.origin)] >= _RANKS[NumberOrigin(standing.origin)]:
            found[row.key] = row
    return found


def profile_numbers(species: Species, on: date | None = None, *, with_records: bool = True) -> Mapping[str, float]:
    """The numbers in force by key."""
    rows = number_rows(species, on, with_records=with_records)
    return MappingProxyType({key: row.value for key, row in rows.items()})


def species_number(species: Species, key: str) -> float:
    """One number. Raises Missing when the species has none: no advice is better than an invented one."""
    numbers = profile_numbers(species)
    if key not in numbers:
        raise Missing(f"{species} has no number “{key}”. Set it on the species page.", field=key)
    return numbers[key]
