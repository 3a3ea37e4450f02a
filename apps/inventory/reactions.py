"""What selling does when something happened below."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.choices import Status
from apps.animals.events import AnimalLeft
from apps.animals.models import Animal
from apps.inventory.services.offers import offer_end_for


def offer_ends(event: AnimalLeft) -> None:
    """An animal that died or left otherwise is no longer on offer; of one that is missing the offer waits, unsellable
    until it is found.
    """
    if event.status == Status.MISSING:
        return
    animal = Animal.objects.filter(ref=event.animal_ref).first()
    if animal is not None:
        offer_end_for(by=system_person(), animal=animal)
