"""Which animal a label names: the tub it is in, its own code, or the address in a QR code."""

from __future__ import annotations

from apps.animals.choices import Sex, Status
from apps.animals.models import Animal
from apps.animals.selectors import animal_by_code
from apps.places.selectors import tub_by_label


def animal_by_label(text: str) -> Animal | None:
    """The animal of a code or of a tub's label (the female, where two are in it); None when the text names none."""
    animal = animal_by_code(text)
    if animal is not None:
        return animal
    tub = tub_by_label(text)
    if tub is None:
        return None
    there = Animal.objects.filter(tub=tub, status=Status.HERE).select_related("species").order_by("code_key")
    return there.filter(sex=Sex.FEMALE).first() or there.first()
