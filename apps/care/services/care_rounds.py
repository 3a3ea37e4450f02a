"""Rounds in a room: opened by one, continued by anybody, racks claimed, closed with a hand-over."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.care.choices import DueKind, SkipReason
from apps.care.models import CareRound, CareSkip, RoundClaim
from apps.care.policies import check_round_open, check_undo
from apps.care.selectors.hand_over import hand_over
from apps.care.services.facts import client_uuid, fact_again, fact_write, seen_at
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.turns import take_turn
from apps.places.models import Rack, Room, Tub

LONGEST_NOTE = 1000


@service("round.open", may=Permission.CARE_RECORD)
def round_open(*, by: Person, room: Room, request_key: str | None = None) -> CareRound:
    """Open the room's round of today, or give the one that is open: a colleague continues it.

    One left open on an earlier day is handed over first, as it stands. Raises Invalid for a room without a rack.
    """
    if not room.racks.exists():
        raise Invalid(f"{room.name} has no rack, so there is no round to walk in it.", field="room")
    standing = CareRound.objects.filter(room=room, closed_at__isnull=True).select_related("room").first()
    if standing is not None:
        if standing.day == clock.today():
            return standing
        _hand_over(by=by, care_round=standing, note="Left open; handed over when the next round was opened.")
    take_turn("care-round")
    number = (CareRound.objects.aggregate(n=Max("number"))["n"] or 0) + 1
    try:
        with transaction.atomic():
            made = CareRound.objects.create(
                number=number, room=room, day=clock.today(), opened_at=clock.now(), opened_by=by
            )
    except IntegrityError:
        # a colleague opened it in the same second: continue theirs
        return CareRound.objects.get(room=room, closed_at__isnull=True)
    audit_write(by=by, act="round.open", subject=made, label=f"{made} of {room.name}")
    return made


@service("round.claim", may=Permission.CARE_RECORD)
def round_claim(
    *,
    by: Person,
    care_round: CareRound,
    rack: Rack,
    tub: Tub | None = None,
    take_over: bool = False,
    request_key: str | None = None,
) -> RoundClaim:
    """Take a rack, or one tub of it. Raises Duplicate when a colleague has it (``take_over`` takes it from them)."""
    check_round_open(CareRound.objects.select_related("closed_by").get(pk=care_round.pk))
    if rack.room_id != care_round.room_id:
        raise Invalid(f"{rack.name} is not in {care_round.room.name}, the room of this round.", field="rack")
    if tub is not None and tub.rack_id != rack.pk:
        raise Invalid(f"{tub.label} is not in {rack.name}.", field="tub")
    take_turn(f"round-claim-{care_round.pk}")
    held = RoundClaim.objects.filter(round=care_round, rack=rack, tub=tub, released_at__isnull=True)
    standing = held.select_related("by").first()
    if standing is not None and standing.by_id == by.pk:
        return standing
    if standing is not None:
        if not take_over:
            since = f"{clock.local(standing.at):%H:%M}"
            raise Duplicate(
                f"{standing.by.name} has {tub or rack} since {since}. Take another, or take it over.", field="rack"
            )
        held.update(released_at=clock.now())
    claim = RoundClaim.objects.create(round=care_round, rack=rack, tub=tub, by=by, at=clock.now())
    detail = {"rack": rack.name, "tub": tub.label if tub else None, "from": standing.by.name if standing else None}
    audit_write(by=by, act="round.claim", subject=care_round, detail=detail)
    return claim


@service("round.release", may=Permission.CARE_RECORD)
def round_release(*, by: Person, claim: RoundClaim, request_key: str | None = None) -> RoundClaim:
    """Give a claimed rack or tub back; a second time changes nothing."""
    changed = RoundClaim.objects.filter(pk=claim.pk, released_at__isnull=True).update(released_at=clock.now())
    if changed:
        audit_write(by=by, act="round.release", subject=claim.round, detail={"rack": claim.rack.name})
    return RoundClaim.objects.select_related("round", "rack", "tub", "by").get(pk=claim.pk)


@service("skip.record", may=Permission.CARE_RECORD)
def skip_record(
    *,
    by: Person,
    animal: Animal,
    reason: str,
    kind: str = "",
    words: str = "",
    observed_at: datetime | None = None,
    client_id: UUID | str | None = None,
    request_key: str | None = None,
) -> CareSkip:
    """Leave due work today, with the reason; it is due again tomorrow. ``kind`` empty: everything due at the tub.

    It joins the open round of the animal's room. Raises Invalid (``kind``, ``reason``, ``words``), WrongState.
    """
    if kind and kind not in DueKind.values:
        raise Invalid(f"Choose from {', '.join(DueKind.values)}, or leave it empty for all.", field="kind")
    if reason not in SkipReason.values:
        raise Invalid(f"Choose a reason: {', '.join(SkipReason.values)}.", field="reason")
    said = words.strip()
    if reason == SkipReason.OTHER and not said:
        raise Invalid("“Other” needs words: write why it was left.", field="words")
    if len(said) > 120:
        raise Invalid("Words have at most 120 characters.", field="words")
    uuid = client_uuid(client_id)
    earlier = fact_again(CareSkip, animal, uuid)
    if earlier is not None:
        return earlier
    moment = seen_at(animal, observed_at)
    room_id = animal.tub.rack.room_id if animal.tub is not None else None
    open_round = CareRound.objects.filter(room_id=room_id, closed_at__isnull=True).first() if room_id else None
    skip = fact_write(
        CareSkip,
        by=by,
        animal=animal,
        moment=moment,
        kind=kind,
        reason=reason,
        words=said,
        round=open_round,
        client_id=uuid,
    )
    audit_write(by=by, act="skip.record", subject=animal, detail={"kind": kind or "all", "reason": reason})
    return skip


@service("round.close", may=Permission.CARE_RECORD)
def round_close(*, by: Person, care_round: CareRound, note: str = "", request_key: str | None = None) -> CareRound:
    """Hand the round over: what was done, skipped and why, left over, which alarms were seen. Raises WrongState."""
    said = note.strip()
    if len(said) > LONGEST_NOTE:
        raise Invalid(f"A note has at most {LONGEST_NOTE:,} characters.", field="note")
    current = CareRound.objects.select_related("room__site", "closed_by", "opened_by").get(pk=care_round.pk)
    check_round_open(current)
    return _hand_over(by=by, care_round=current, note=said)


def _hand_over(*, by: Person, care_round: CareRound, note: str) -> CareRound:
    summary = hand_over(care_round)
    changed = CareRound.objects.filter(pk=care_round.pk, closed_at__isnull=True).update(
        closed_at=max(clock.now(), care_round.opened_at), closed_by=by, note=note, summary=summary
    )
    if changed != 1:
        raise WrongState("A colleague handed this round over meanwhile. Look at it again.", field="round")
    RoundClaim.objects.filter(round=care_round, released_at__isnull=True).update(released_at=clock.now())
    label = f"{care_round} of {care_round.room.name}"
    audit_write(by=by, act="round.close", subject=care_round, label=label, detail={"left": summary["left_count"]})
    return CareRound.objects.select_related("room__site", "opened_by", "closed_by").get(pk=care_round.pk)


@service("round.reopen", may=Permission.CARE_RECORD)
def round_reopen(*, by: Person, care_round: CareRound, request_key: str | None = None) -> CareRound:
    """Take a hand-over back within its minutes. Raises WrongState when they are over or a newer round is open."""
    current = CareRound.objects.select_related("room").get(pk=care_round.pk)
    check_undo(current.closed_at, "A hand-over")
    if CareRound.objects.filter(room=current.room, closed_at__isnull=True).exists():
        raise WrongState(f"A newer round of {current.room.name} is open. Continue that one.", field="round")
    changed = CareRound.objects.filter(pk=current.pk, closed_at=current.closed_at).update(
        closed_at=None, closed_by=None, summary={}
    )
    if changed != 1:
        raise WrongState("This round was changed meanwhile. Look again.", field="round")
    audit_write(by=by, act="round.reopen", subject=current)
    return CareRound.objects.select_related("room__site", "opened_by", "closed_by").get(pk=current.pk)


def rounds_close_old(*, by: Person) -> int:
    """Rounds of an earlier day are handed over as they stand; safe to repeat. Returns how many."""
    rows = CareRound.objects.filter(closed_at__isnull=True, day__lt=clock.today()).select_related("room__site")
    closed = 0
    for row in rows:
        with transaction.atomic():
            _hand_over(by=by, care_round=row, note="Left open; handed over when its day ended.")
        closed += 1
    return closed
