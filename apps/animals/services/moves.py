"""Where an animal is, and whether it is here at all."""

from __future__ import annotations

from datetime import date

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.accounts.services import audit_write, service
from apps.animals.choices import HandlingAct, Status
from apps.animals.errors import HandlingHeld
from apps.animals.events import AnimalLeft
from apps.animals.models import Animal, Placement
from apps.animals.policies import check_handling, check_may_status, check_place_open, check_present, check_status
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.jobs.services import event_publish
from apps.places.models import Tub
from apps.places.selectors import same_health_group

# It went to somebody else; what sells it asks the same before it does.
HANDED_ON = frozenset({Status.SOLD, Status.GIVEN_AWAY, Status.LOANED})


@service("animal.move", may=Permission.ANIMALS_MOVE)
def animal_move(
    *, by: Person, animal: Animal, tub: Tub, reason: str = "", across: str = "", request_key: str | None = None
) -> Placement:
    """Put an animal into a tub. Raises HandlingHeld, WrongState.

    Across health groups, and into a rack or room in quarantine or held for disease, it is refused with the reason,
    unless ``across`` says why the breeding lead or an owner wants it all the same: that is kept on record.
    """
    animal = Animal.objects.select_related("tub__rack__room").get(pk=animal.pk)
    tub = Tub.objects.select_related("rack__room").get(pk=tub.pk)
    check_present(animal)
    if animal.tub_id == tub.pk:
        raise WrongState(f"{animal.code} is in {tub.label} already.", field="tub")
    if animal.tub is not None:
        check_handling(animal, HandlingAct.MOVE)
    if across.strip():
        check_may(by, Permission.TREATMENT_SET)
    else:
        _check_same_group(animal, tub)
        check_place_open(tub)
    placement = place(by, animal, tub, reason)
    detail = {"from": animal.tub.label if animal.tub else None, "to": tub.label, "reason": reason}
    if across.strip():
        detail["across"] = across.strip()[:160]
    audit_write(by=by, act="animal.move", subject=animal, detail=detail)
    return placement


def _left_against_hold(animal: Animal, status: Status) -> dict[str, str]:
    """What forbade it, for the record: an animal that has gone is gone, and that is written down in any case."""
    if status not in HANDED_ON:
        return {}
    try:
        check_handling(animal, HandlingAct.SELL)
    except HandlingHeld as held:
        return {"against_hold": held.message}
    return {}


def _check_same_group(animal: Animal, tub: Tub) -> None:
    if not same_health_group(animal.tub, tub):
        raise HandlingHeld(
            f"{tub.label} is in another health group ({tub.rack.room.health_group}). Animals and tools do not cross; "
            "the breeding lead may move it all the same, saying why.",
            field="tub",
        )


def place(by: Person, animal: Animal, tub: Tub | None, reason: str) -> Placement:
    """End the open stay and begin the next; the caller has checked and audits."""
    moment = clock.now()
    Placement.objects.filter(animal=animal, until__isnull=True).update(until=moment)
    Animal.objects.filter(pk=animal.pk).update(tub=tub)
    if tub is None:
        last = Placement.objects.filter(animal=animal).order_by("-since").first()
        return last or Placement(animal=animal)
    return Placement.objects.create(animal=animal, tub=tub, since=moment, by=by, reason=reason[:80])


@service("animal.status")
def animal_status_set(
    *, by: Person, animal: Animal, status: Status, on: date, note: str = "", request_key: str | None = None
) -> Animal:
    """An animal left, came back, died. Leaving empties its tub. Raises WrongState, Invalid."""
    animal = Animal.objects.get(pk=animal.pk)
    if animal.status == status:
        return animal
    check_may_status(by, animal, Status(status))
    check_status(animal, Status(status))
    if on > clock.today():
        raise Invalid("This day lies in the future.", field="on")
    if animal.hatched_on is not None and on < animal.hatched_on:
        raise Invalid(f"{animal.code} hatched on {animal.hatched_on}; nothing happened to it before.", field="on")
    changed = Animal.objects.filter(pk=animal.pk, status=animal.status).update(status=status, status_since=on)
    if changed != 1:
        raise WrongState(f"{animal.code} was changed meanwhile. Look again.")
    if status != Status.HERE and status != Status.MISSING:
        place(by, animal, None, status)
    detail = {"before": animal.status, "after": status, "on": on, "note": note}
    audit_write(by=by, act="animal.status", subject=animal, detail=detail | _left_against_hold(animal, Status(status)))
    if status != Status.HERE:
        event_publish(AnimalLeft(animal_ref=animal.ref, status=Status(status).value))
    return Animal.objects.get(pk=animal.pk)
