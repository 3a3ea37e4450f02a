"""Parcels of a record that turns out to be another; part of a correction's transaction."""

from __future__ import annotations

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.services.rehome import previewed
from apps.shipping.models import ParcelAnimal


def parcel_conflicts(kept: Animal, gone: Animal) -> list[str]:
    """Two parcels for one animal, by name."""
    rows = {
        row.animal_id: row.parcel
        for row in ParcelAnimal.objects.filter(animal__in=[kept, gone], removed_at__isnull=True).select_related(
            "parcel"
        )
    }
    if len(rows) < 2:
        return []
    return [f"{kept.code} is in {rows[kept.pk]}, {gone.code} in {rows[gone.pk]}. Take it out of one parcel first."]


def parcel_rehome(*, by: Person, gone: Animal, kept: Animal, preview: bool = False) -> None:
    """Its place in parcels becomes the kept record's."""
    with previewed(preview):
        ParcelAnimal.objects.filter(animal=gone).update(animal=kept)
