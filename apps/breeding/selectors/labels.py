"""Which female a label names: the tub she is in, her own code, or the address in a QR code."""

from __future__ import annotations

from apps.animals.choices import Sex, Status
from apps.animals.models import Animal
from apps.animals.selectors import animal_by_code
from apps.places.selectors import tub_by_label


def female_by_label(text: str) -> Animal | None:
    """The female of a tub's label or of a code; None when the text names none."""
    animal = animal_by_code(text)
    if animal is not None:
        return animal if animal.sex == Sex.FEMALE else None
    tub = tub_by_label(text)
    if tub is None:
        return None
    return Animal.objects.filter(tub=tub, sex=Sex.FEMALE, status=Status.HERE).select_related("species").first()
