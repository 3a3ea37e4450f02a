"""What care does when something happened."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.models import Animal
from apps.care.events import FactStruck, WeightRecorded
from apps.care.services import mass_judge


def mass_look(event: WeightRecorded | FactStruck) -> None:
    """Judge the animal's mass anew."""
    if isinstance(event, FactStruck) and event.kind != "weight":
        return
    animals = list(Animal.objects.filter(ref=event.animal_ref).select_related("species"))
    mass_judge(by=system_person(), animals=animals)
