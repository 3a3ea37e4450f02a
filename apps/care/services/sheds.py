"""Sheds: opaque eyes forbid handling until the shed."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import UUID

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import HoldWord
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.animals.services import hold_place, holds_lift_by_source
from apps.care.choices import HealthSign, ShedStage
from apps.care.events import ShedRecorded
from apps.care.models import HealthNote, Shed
from apps.care.policies import check_female
from apps.care.services.facts import client_uuid, fact_again, fact_write, seen_at
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.formats import day_text
from apps.jobs.services import event_publish

SHED_SOURCE = "shed"


def opaque_hold_place(*, by: Person, shed: Shed) -> None:
    """No handling from opaque eyes to the shed; at most the species' longest time, lest a missed shed bars it."""
    days = profile_numbers(shed.animal.species).get("hold.opaque_days")
    until = shed.observed_at + timedelta(days=days) if days is not None else None
    if until is not None and until <= clock.now():
        return
    limit = f", at most {days:g} days" if days is not None else ""
    hold_place(
        by=by,
        word=HoldWord.OPAQUE,
        begins_at=shed.observed_at,
        ends_at=until,
        reason=f"eyes clouded on {day_text(clock.local(shed.observed_at))}; until the shed{limit} (house rule)",
        animal=shed.animal,
        source_kind=SHED_SOURCE,
        source_ref=str(shed.pk),
    )


def opaque_holds_lift(*, by: Person, animal: Animal, before: datetime) -> None:
    """A shed ends every opaque hold that began before it."""
    opaque = Shed.objects.filter(animal=animal, stage=ShedStage.OPAQUE, observed_at__lte=before)
    sources = {str(pk) for pk in opaque.values_list("pk", flat=True)}
    running = animal.holds.filter(word=HoldWord.OPAQUE, lifted_at__isnull=True, source_kind=SHED_SOURCE)
    for ref in running.values_list("source_ref", flat=True):
        if ref in sources:
            holds_lift_by_source(by=by, source_kind=SHED_SOURCE, source_ref=ref)


@service("shed.record", may=Permission.CARE_RECORD)
def shed_record(
    *,
    by: Person,
    animal: Animal,
    stage: str,
    complete: bool | None = None,
    is_pre_lay: bool = False,
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> Shed:
    """Opaque eyes or a shed. An incomplete shed opens a health note (stuck shed); a shed ends the opaque hold."""
    if stage not in ShedStage.values:
        raise Invalid(f"Choose from {', '.join(ShedStage.values)}.", field="stage")
    if stage == ShedStage.OPAQUE and (complete is not None or is_pre_lay):
        field = "is_pre_lay" if is_pre_lay else "complete"
        raise Invalid("Opaque eyes are not a shed yet: leave this empty until it has shed.", field=field)
    if is_pre_lay:
        check_female(animal)
    uuid = client_uuid(client_id)
    earlier = fact_again(Shed, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    shed = fact_write(
        Shed,
        by=by,
        animal=animal,
        moment=moment,
        stage=stage,
        complete=complete,
        is_pre_lay=is_pre_lay,
        client_id=uuid,
    )
    if stage == ShedStage.OPAQUE:
        later = Shed.objects.filter(
            animal=animal, stage=ShedStage.SHED, observed_at__gte=moment, struck_at__isnull=True
        )
        if not later.exists():
            opaque_hold_place(by=by, shed=shed)
    else:
        opaque_holds_lift(by=by, animal=animal, before=moment)
        if complete is False:
            fact_write(
                HealthNote,
                by=by,
                animal=animal,
                moment=moment,
                signs=[HealthSign.STUCK_SHED.value],
                text=f"Shed of {day_text(clock.local(moment))} did not come off whole.",
            )
    audit_write(
        by=by,
        act="shed.record",
        subject=animal,
        detail={"shed": shed.pk, "stage": stage, "complete": complete, "pre_lay": is_pre_lay, "observed_at": moment},
    )
    event_publish(ShedRecorded(animal_ref=animal.ref))
    return shed
