"""Holds: dated restrictions, written by the floors that know."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.accounts.services import audit_write, service
from apps.animals.choices import ENDED_BY_PEOPLE, HoldWord
from apps.animals.models import Animal, Hold
from apps.animals.policies import check_lift
from apps.core import clock
from apps.core.errors import Invalid
from apps.places.models import Rack, Room


@service("hold.place")
def hold_place(
    *,
    by: Person,
    word: HoldWord,
    begins_at: datetime,
    ends_at: datetime | None,
    reason: str,
    animal: Animal | None = None,
    rack: Rack | None = None,
    room: Room | None = None,
    source_kind: str = "",
    source_ref: str = "",
    request_key: str | None = None,
) -> Hold:
    """Write a hold down. The same source and word gives the hold that stands. Raises Invalid, NotAllowed.

    A hold that follows from a recorded fact names it as its source; without one it is a person's word, which takes
    the right to set treatments and quarantine.
    """
    if not source_kind:
        check_may(by, Permission.TREATMENT_SET)
    if sum(thing is not None for thing in (animal, rack, room)) != 1:
        raise Invalid("A hold is on one animal, one rack or one room.", field="animal")
    if ends_at is not None and ends_at < begins_at:
        raise Invalid("A hold cannot end before it begins.", field="ends_at")
    if word in ENDED_BY_PEOPLE and ends_at is not None:
        raise Invalid(
            f"A hold for {HoldWord(word).value} has no end of its own: somebody releases it.", field="ends_at"
        )
    if source_kind:
        standing = Hold.objects.filter(
            word=word, source_kind=source_kind, source_ref=source_ref, animal=animal, lifted_at__isnull=True
        ).first()
        if standing is not None:
            return standing
    hold = Hold.objects.create(
        animal=animal,
        rack=rack,
        room=room,
        word=word,
        begins_at=begins_at,
        ends_at=ends_at,
        reason=reason[:160],
        source_kind=source_kind,
        source_ref=source_ref,
        by=by,
    )
    if not source_kind:
        # a hold that follows from a fact is explained by that fact's own audit row
        audit_write(by=by, act="hold.place", subject=hold, detail={"word": word, "reason": reason})
    return hold


@dataclass(frozen=True)
class FactHold:
    """A hold that follows from a fact that was just written, so that no other stands for it yet."""

    animal: Animal
    begins_at: datetime
    ends_at: datetime | None
    reason: str
    source_ref: str


@service("holds.place-for-facts")
def holds_place_for_facts(
    *, by: Person, word: HoldWord, source_kind: str, items: list[FactHold], request_key: str | None = None
) -> list[Hold]:
    """Many holds of fresh facts in one statement (a rack that was fed); explained by the facts' own audit row."""
    return Hold.objects.bulk_create(
        [
            Hold(
                animal=item.animal,
                word=word,
                begins_at=item.begins_at,
                ends_at=item.ends_at,
                reason=item.reason[:160],
                source_kind=source_kind,
                source_ref=item.source_ref,
                by=by,
            )
            for item in items
        ],
        batch_size=500,
    )


@service("hold.lift")
def hold_lift(*, by: Person, hold: Hold, request_key: str | None = None) -> Hold:
    """End a hold now. Raises NotAllowed."""
    check_lift(by, hold)
    return hold_close(by, hold)


def hold_close(by: Person, hold: Hold) -> Hold:
    """End a hold; the caller has judged that ``by`` may."""
    changed = Hold.objects.filter(pk=hold.pk, lifted_at__isnull=True).update(lifted_at=clock.now(), lifted_by=by)
    if changed:
        audit_write(by=by, act="hold.lift", subject=hold, detail={"word": hold.word})
    return Hold.objects.get(pk=hold.pk)


def holds_lift_by_source(*, by: Person, source_kind: str, source_ref: str) -> list[Hold]:
    """End every hold that a fact caused; returns them."""
    return holds_lift_by_sources(by=by, source_kind=source_kind, source_refs=[source_ref])


@service("holds.lift-by-source")
def holds_lift_by_sources(
    *, by: Person, source_kind: str, source_refs: list[str], request_key: str | None = None
) -> list[Hold]:
    """End every hold that one of these facts caused (a rack whose meals were left); returns them."""
    rows = list(Hold.objects.filter(source_kind=source_kind, source_ref__in=source_refs, lifted_at__isnull=True))
    Hold.objects.filter(pk__in=[row.pk for row in rows]).update(lifted_at=clock.now(), lifted_by=by)
    return rows
