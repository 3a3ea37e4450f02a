"""Intake of a bought animal: registered, in quarantine, its papers kept, a day set to keep or sell it. One act."""

from __future__ import annotations

from datetime import date

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.accounts.selectors import facility
from apps.accounts.services import audit_write, service
from apps.animals.choices import Decision, HoldWord, Origin, Purpose, Sex, Status
from apps.animals.models import Animal, Purchase, Species
from apps.animals.selectors.holds import place_holds
from apps.animals.selectors.purchases import purchases_to_decide
from apps.animals.services.holds import hold_place
from apps.animals.services.register import animal_register
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.documents.services import document_store, photo_clean
from apps.jobs.services import notice_queue
from apps.places.choices import RoomKind
from apps.places.models import Tub

INTAKE_SOURCE = "intake"


@service("animal.intake", may=Permission.ANIMALS_EDIT)
def animal_intake(
    *,
    by: Person,
    code: str,
    species: Species,
    seller: str,
    tub: Tub,
    bought_on: date | None = None,
    sex: Sex | str = Sex.UNKNOWN,
    hatched_on: date | None = None,
    traits: str = "",
    cost_minor: int | None = None,
    papers: bytes | None = None,
    decide_on: date | None = None,
    name: str = "",
    note: str = "",
    request_key: str | None = None,
) -> Purchase:
    """Register a bought animal into quarantine. Raises Invalid naming the field, CodeTaken, UnknownTrait, NotAllowed.

    The tub stands in an isolation room (then the room is in quarantine), in a place that is in quarantine already
    (its days begin anew), or in a rack where nobody else lives. ``papers`` is a photograph, kept re-encoded;
    ``cost_minor`` is in the facility's currency, and like the papers readable with the right to see money only.
    """
    check_may(by, Permission.TREATMENT_SET)
    who = " ".join(seller.split())
    day = bought_on or clock.today()
    _check_purchase(who, day, cost_minor, decide_on)
    tub = Tub.objects.select_related("rack__room").get(pk=tub.pk)
    _quarantine_begin(by, tub, code.strip(), who)
    animal = animal_register(
        by=by,
        code=code,
        species=species,
        sex=sex,
        origin=Origin.ACQUIRED,
        hatched_on=hatched_on,
        acquired_on=day,
        acquired_from=who,
        purpose=Purpose.STOCK,
        traits=traits,
        tub=tub,
        name=name,
        note=note,
    )
    row = Purchase.objects.create(
        animal=animal,
        seller=who,
        bought_on=day,
        cost_minor=cost_minor,
        currency=facility().currency,
        decide_on=decide_on,
        by=by,
    )
    if papers is not None:
        _keep_papers(by, row, papers)
    # the cost stays out of the audit row: whoever may read that need not see money
    audit_write(by=by, act="animal.intake", subject=animal, detail={"purchase": row.ref, "seller": who, "on": day})
    return Purchase.objects.select_related("animal", "papers").get(pk=row.pk)


def _check_purchase(seller: str, day: date, cost_minor: int | None, decide_on: date | None) -> None:
    """Raises Invalid naming the field."""
    if not seller or len(seller) > 120:
        raise Invalid("Say from whom it was bought, in at most 120 characters.", field="seller")
    if cost_minor is not None and not 0 <= cost_minor < 10**12:
        raise Invalid("A cost is zero or more.", field="cost_minor")
    if day > clock.today():
        raise Invalid("This day is still to come.", field="bought_on")
    if decide_on is not None and decide_on <= day:
        raise Invalid("Keep or sell is decided after it was bought.", field="decide_on")


def _keep_papers(by: Person, purchase: Purchase, papers: bytes) -> None:
    document = document_store(
        by=by,
        kind="purchase papers",
        subject_kind="purchase",
        subject_ref=purchase.ref,
        label=f"Papers of {purchase.animal.code} from {purchase.seller}",
        content=photo_clean(papers),
        mime="image/jpeg",
        filename=f"papers-{purchase.animal.ref}.jpg",
    )
    Purchase.objects.filter(pk=purchase.pk).update(papers=document)


def _quarantine_begin(by: Person, tub: Tub, code: str, seller: str) -> None:
    """The place of the tub in quarantine: one that stands is joined. Raises Invalid when others live beside it."""
    if any(hold.word == HoldWord.QUARANTINE for hold in place_holds(tub, clock.now())):
        return
    in_isolation = tub.rack.room.kind == RoomKind.ISOLATION
    if not in_isolation and Animal.objects.filter(tub__rack=tub.rack_id, status=Status.HERE).exists():
        raise Invalid(
            f"Others live in {tub.rack}, and would be in quarantine with it. Choose a tub of an isolation room, or a "
            "rack that stands empty.",
            field="tub",
        )
    hold_place(
        by=by,
        word=HoldWord.QUARANTINE,
        begins_at=clock.now(),
        ends_at=None,
        reason=f"bought animals, first {code} from {seller}"[:160],
        rack=None if in_isolation else tub.rack,
        room=tub.rack.room if in_isolation else None,
    )


@service("purchase.decide", may=Permission.ANIMALS_EDIT)
def purchase_decide(
    *, by: Person, purchase: Purchase, decision: Decision | str, request_key: str | None = None
) -> Purchase:
    """Keep it (then it is a holdback) or sell it (then it is stock). Raises Invalid, WrongState when decided."""
    if decision not in Decision.values:
        raise Invalid(f"Choose from {', '.join(Decision.values)}.", field="decision")
    changed = Purchase.objects.filter(pk=purchase.pk, decision="").update(
        decision=decision, decided_at=clock.now(), decided_by=by
    )
    if changed != 1:
        raise WrongState("This was decided already.")
    purpose = Purpose.HOLDBACK if decision == Decision.KEEP else Purpose.STOCK
    Animal.objects.filter(pk=purchase.animal_id).update(purpose=purpose)
    audit_write(by=by, act="purchase.decide", subject=purchase.animal, detail={"decision": str(decision)})
    return Purchase.objects.select_related("animal", "papers").get(pk=purchase.pk)


@service("purchases.tell", may=Permission.ANIMALS_EDIT)
def purchases_tell(*, by: Person, request_key: str | None = None) -> list[Purchase]:
    """Tell those who may decide, once for each animal whose day has come. Returns what was told."""
    told = [
        row
        for row in purchases_to_decide().filter(told_at__isnull=True)
        if Purchase.objects.filter(pk=row.pk, told_at__isnull=True).update(told_at=clock.now()) == 1
    ]
    if not told:
        return []
    lines = "\n".join(f"{row.animal.code}, bought {row.bought_on.isoformat()}" for row in told)
    for person in Person.objects.filter(is_active=True, is_system=False):
        if Permission.ANIMALS_EDIT in person.permissions:
            notice_queue(
                to=person.email,
                subject=f"Keep or sell: {len(told)} bought animal{'s' if len(told) != 1 else ''}",
                body=f"The day to decide has come for:\n{lines}\n",
            )
    return told
