"""Many meals that happened, from a file: written in bulk, with the holds that are still in force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.care.choices import MealOutcome, Presentation
from apps.care.events import MealChecked
from apps.care.models import MealCheck, MealOffer
from apps.care.services.facts import seen_at
from apps.care.services.meals import check_prey, fed_hold_place, regurgitation_note_and_hold, regurgitation_over
from apps.core import clock
from apps.jobs.services import event_publish


@dataclass(frozen=True)
class MealItem:
    """One meal of a bulk entry. ``outcome`` is empty while nobody has checked; ``offer`` is one recorded before."""

    animal: Animal
    offered_at: datetime
    prey: str
    size: str = ""
    prey_g: float | None = None
    count: int = 1
    presentation: str = Presentation.THAWED
    outcome: str = ""
    checked_at: datetime | None = None
    offer: MealOffer | None = None


@service("meals.record", may=Permission.CARE_RECORD)
def meals_record(
    *, by: Person, items: list[MealItem], source: str = "", request_key: str | None = None
) -> list[MealOffer]:
    """Write meals that happened (a file's chunk): one transaction, one audit row, one event per animal checked.

    An item whose ``offer`` stands already only adds its check. A regurgitation whose days without food are over
    leaves the record alone: no note is opened for what ended long ago.
    """
    for item in items:
        check_prey(prey=item.prey, size=item.size, prey_g=item.prey_g, count=item.count, presentation=item.presentation)
    fresh = [item for item in items if item.offer is None]
    made = MealOffer.objects.bulk_create([_offer(by, item) for item in fresh], batch_size=500)
    offers = {id(item): offer for item, offer in zip(fresh, made, strict=True)}
    offers |= {id(item): item.offer for item in items if item.offer is not None}
    checked = [item for item in items if item.outcome]
    checks = MealCheck.objects.bulk_create([_check(by, item, offers[id(item)]) for item in checked], batch_size=500)
    for item, check in zip(checked, checks, strict=True):
        if item.outcome == MealOutcome.REGURGITATED and not regurgitation_over(check):
            regurgitation_note_and_hold(by=by, offer=offers[id(item)], animal=item.animal, check=check)
    numbers: dict[int, Mapping[str, float]] = {}
    for item in items:
        if item.animal.species_id not in numbers:
            numbers[item.animal.species_id] = profile_numbers(item.animal.species)
        if item.outcome != MealOutcome.LEFT:
            fed_hold_place(by=by, offer=offers[id(item)], numbers=numbers[item.animal.species_id])
    rows = [offers[id(item)] for item in items]
    if rows:
        audit_write(
            by=by,
            act="meals.record",
            subject=items[0].animal,
            label=f"{len(rows)} meals {source}".strip(),
            detail={"rows": len(rows), "checked": len(checks), "first": rows[0].pk, "last": rows[-1].pk},
        )
    for ref in sorted({item.animal.ref for item in checked}):
        event_publish(MealChecked(animal_ref=ref))
    return rows


def _offer(by: Person, item: MealItem) -> MealOffer:
    return MealOffer(
        animal=item.animal,
        observed_at=seen_at(item.animal, item.offered_at),
        recorded_at=clock.now(),
        by=by,
        prey=item.prey,
        size=item.size,
        prey_g=item.prey_g,
        count=item.count,
        presentation=item.presentation,
    )


def _check(by: Person, item: MealItem, offer: MealOffer) -> MealCheck:
    moment = max(item.checked_at or offer.observed_at, offer.observed_at)
    return MealCheck(
        animal=item.animal,
        observed_at=seen_at(item.animal, moment),
        recorded_at=clock.now(),
        by=by,
        offer=offer,
        outcome=item.outcome,
    )
