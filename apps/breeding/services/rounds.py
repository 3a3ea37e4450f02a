"""Scan rounds: a list of females in walking order, worked through in one session."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.db.models import Max

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.models import Animal
from apps.breeding.choices import NoReading
from apps.breeding.errors import AlreadyRead
from apps.breeding.models import Scan, ScanRound, ScanRoundLine, Season
from apps.breeding.policies import check_female, check_here, check_round_open
from apps.breeding.selectors.seasons import breeding_females
from apps.breeding.services.care_words import care_words_note
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.turns import take_turn
from apps.places.models import Room


@service("scan-round.open", may=Permission.SCANS_RECORD)
def scan_round_open(
    *,
    by: Person,
    rooms: Sequence[Room] | None = None,
    females: Sequence[Animal] | None = None,
    note: str = "",
    request_key: str | None = None,
) -> ScanRound:
    """Open a round: the given females, or every breeding female in the rooms (all rooms when none is named).

    The list is in walking order. Raises Invalid naming ``rooms`` or ``females``, WrongState when one of the rooms has
    an open round.
    """
    chosen = _chosen(rooms, females)
    places = list(rooms) if rooms is not None else sorted(_rooms_of(chosen), key=lambda room: room.pk)
    busy = ScanRound.objects.filter(closed_at__isnull=True, rooms__in=places).distinct().first() if places else None
    if busy is not None:
        raise WrongState(
            f"Scan round {busy.number} is open in one of these rooms. Go on with it, or close it first.", field="rooms"
        )
    with transaction.atomic():
        take_turn("scan rounds")
        number = (ScanRound.objects.aggregate(last=Max("number"))["last"] or 0) + 1
        round = ScanRound.objects.create(number=number, opened_at=clock.now(), opened_by=by, note=note.strip()[:160])
        round.rooms.set(places)
        ScanRoundLine.objects.bulk_create(
            ScanRoundLine(round=round, female=female, order=order) for order, female in enumerate(chosen, 1)
        )
    audit_write(by=by, act="scan-round.open", subject=round, detail={"females": len(chosen)})
    # a meal within the rest before a scan waits: the feeding plan hears of the round at once
    care_words_note(list(Season.objects.filter(female__in=chosen).select_related("female__species")))
    return round


@service("scan-round.close", may=Permission.SCANS_RECORD)
def scan_round_close(*, by: Person, round: ScanRound, request_key: str | None = None) -> ScanRound:
    """Close the round; females without a reading stay listed as such. Raises WrongState when closed already."""
    changed = ScanRound.objects.filter(pk=round.pk, closed_at__isnull=True).update(closed_at=clock.now(), closed_by=by)
    if changed != 1:
        raise WrongState(f"Scan round {round.number} is closed already.")
    round.refresh_from_db()
    audit_write(by=by, act="scan-round.close", subject=round, detail={"scans": round.scans.count()})
    return round


@service("scan.skip", may=Permission.SCANS_RECORD)
def scan_skip(
    *,
    by: Person,
    round: ScanRound,
    female: Animal,
    reason: NoReading,
    note: str = "",
    request_key: str | None = None,
) -> ScanRoundLine:
    """No reading for a stated reason. Raises Invalid naming ``reason`` or ``note``, AlreadyRead, WrongState."""
    check_round_open(round)
    if reason not in NoReading.values:
        raise Invalid(f"Choose a reason: {', '.join(NoReading.values)}.", field="reason")
    if reason == NoReading.OTHER and not note.strip():
        raise Invalid("Say in a few words why there is no reading.", field="note")
    line = line_of(round=round, female=female)
    if Scan.objects.filter(round=round, animal=female, struck_at__isnull=True).exists():
        raise AlreadyRead("She has a reading in this round. Strike that out first.", field="female")
    ScanRoundLine.objects.filter(pk=line.pk).update(no_reading=reason, no_reading_note=note.strip()[:80])
    line.refresh_from_db()
    audit_write(
        by=by,
        act="scan.skip",
        subject=round,
        label=f"{round}: {female.code}",
        detail={"female": female.ref, "reason": str(reason), "note": note.strip()[:80]},
    )
    return line


@service("scan.unskip", may=Permission.SCANS_RECORD)
def scan_unskip(*, by: Person, round: ScanRound, female: Animal, request_key: str | None = None) -> ScanRoundLine:
    """Take a “no reading” back; she is due again. Raises WrongState when the round is closed."""
    check_round_open(round)
    line = line_of(round=round, female=female)
    ScanRoundLine.objects.filter(pk=line.pk).update(no_reading="", no_reading_note="")
    line.refresh_from_db()
    audit_write(
        by=by,
        act="scan.unskip",
        subject=round,
        label=f"{round}: {female.code}",
        detail={"female": female.ref},
    )
    return line


def line_of(*, round: ScanRound, female: Animal) -> ScanRoundLine:
    """Her line on the round; a female found on the way is put at its end."""
    found = ScanRoundLine.objects.filter(round=round, female=female).first()
    if found is not None:
        return found
    check_female(female)
    check_here(female, clock.today(), field="female")
    take_turn(f"lines of scan round {round.pk}")
    last = round.lines.aggregate(last=Max("order"))["last"] or 0
    return ScanRoundLine.objects.create(round=round, female=female, order=last + 1)


def _chosen(rooms: Sequence[Room] | None, females: Sequence[Animal] | None) -> list[Animal]:
    if females is None:
        chosen = list(breeding_females(rooms))
        if not chosen:
            raise Invalid("There is no breeding female in these rooms. Choose others.", field="rooms")
        return chosen
    if len({female.pk for female in females}) != len(females):
        raise Duplicate("A female stands on the list twice.", field="females")
    for female in females:
        check_female(female, field="females")
        check_here(female, clock.today(), field="females")
    order = {
        pk: place
        for place, pk in enumerate(
            breeding_females().filter(pk__in=[f.pk for f in females]).values_list("pk", flat=True)
        )
    }
    chosen = sorted(females, key=lambda female: (order.get(female.pk, len(order)), female.code_key))
    if not chosen:
        raise Invalid("Name at least one female.", field="females")
    return chosen


def _rooms_of(females: Sequence[Animal]) -> set[Room]:
    ids = {female.tub_id for female in females if female.tub_id is not None}
    return set(Room.objects.filter(racks__tubs__in=ids).distinct())
