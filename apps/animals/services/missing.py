"""An animal that is not in its tub: an alarm until it is found, and where it was found."""

from __future__ import annotations

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.policies import check_present
from apps.animals.services.moves import animal_status_set, place
from apps.core import clock
from apps.core.errors import WrongState
from apps.jobs.services import alarm_raise, alarm_resolve
from apps.places.models import Tub

ALARM_KIND = "animal"
CONDITION = "not in its tub"
# common practice, no source
WHAT_TO_DO = (
    "Close the room's doors and tell everybody who works in it. Look in the tubs beside it, behind and under the rack, "
    "and in warm dark places near the floor. Scan the card of what you find before you put it anywhere. "
    "A large constrictor is handled by two persons; a venomous species only by whoever is trained for it."
)


def tub_left(*, by: Person, animal: Animal) -> Animal:
    """It is not in its tub: missing, with an alarm, and its tub kept as the place it was last known.

    Part of a correction's transaction. Raises WrongState for an animal that is not here.
    """
    check_present(animal)
    place_words = f" {animal.tub.label}" if animal.tub is not None else ""
    changed = animal_status_set(by=by, animal=animal, status=Status.MISSING, on=clock.today(), request_key=None)
    alarm_raise(
        by=by,
        kind=ALARM_KIND,
        subject_ref=animal.ref,
        condition=CONDITION,
        label=f"{animal.code} is not in its tub{place_words}",
        detail=WHAT_TO_DO,
    )
    return changed


def found_again(*, by: Person, animal: Animal, tub: Tub, where: str) -> Animal:
    """It was found, and is in this tub now: the alarm ends. Raises WrongState unless it is missing."""
    if animal.status != Status.MISSING:
        raise WrongState(f"{animal.code} is {animal.status}, not missing.", field="first")
    animal_status_set(by=by, animal=animal, status=Status.HERE, on=clock.today(), note=where, request_key=None)
    if animal.tub_id != tub.pk or not animal.placements.filter(until__isnull=True).exists():
        place(by, animal, tub, f"found: {where}")
    alarm_resolve(by=by, kind=ALARM_KIND, subject_ref=animal.ref, condition=CONDITION)
    return Animal.objects.get(pk=animal.pk)
