"""Quarantines and their clocks: a hold on an animal, a rack or a room, counted from the last animal that joined."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Q

from apps.animals.choices import HoldWord, Status
from apps.animals.models import Animal, Hold, Placement
from apps.animals.selectors import holds_at, profile_numbers
from apps.care.choices import HealthResult, SampleKind
from apps.care.models import HealthTest
from apps.care.selectors.health import animals_with_open_notes, treatments_open
from apps.care.selectors.house_rules import care_rules
from apps.core import clock
from apps.core.formats import count_text, list_text


@dataclass(frozen=True, slots=True)
class Quarantine:
    """One quarantine: who is in it, since when its days count, and how many they are."""

    hold: Hold
    animals: list[Animal]
    clock_from: datetime
    restarted_by: Animal | None
    days: int
    day: int

    @property
    def place(self) -> str:
        """``Isolation`` or ``Rack A`` or the animal's code."""
        if self.hold.room is not None:
            return self.hold.room.name
        if self.hold.rack is not None:
            return f"{self.hold.rack.room.name}, {self.hold.rack.name}"
        return str(self.hold.animal)

    @property
    def due_on(self) -> date:
        """The day its days are over: somebody then looks whether it may be released."""
        return clock.day_of(self.clock_from) + timedelta(days=self.days)

    @property
    def is_over(self) -> bool:
        """Whether the days have passed. Nothing ends by that."""
        return self.day >= self.days

    @property
    def words(self) -> str:
        """``day 41 of 180``"""
        return f"day {self.day} of {self.days}"


def quarantines(*, at: datetime | None = None, holds: Iterable[Hold] | None = None) -> list[Quarantine]:
    """Every quarantine in force (or those of ``holds``), the oldest first; a fixed number of queries.

    The clock of a rack or room begins anew when an animal comes in from outside: a move within the place does not
    count, one that came and left again does. The days are the longest of the species in it (house number first).
    """
    moment = at or clock.now()
    rows = (
        list(holds)
        if holds is not None
        else list(
            holds_at(moment)
            .filter(word=HoldWord.QUARANTINE)
            .filter(Q(animal__isnull=True) | Q(animal__status=Status.HERE))
            .select_related("animal__species", "animal__tub__rack__room", "rack__room", "room", "by")
            .order_by("begins_at", "pk")
        )
    )
    racks = {hold.rack_id for hold in rows if hold.rack_id}
    rooms = {hold.room_id for hold in rows if hold.room_id}
    inside = Animal.objects.none()
    stays: list[Placement] = []
    if racks or rooms:
        inside = Animal.objects.filter(
            Q(tub__rack__in=racks) | Q(tub__rack__room__in=rooms), status=Status.HERE
        ).select_related("species", "tub__rack__room")
        since = min(hold.begins_at for hold in rows)
        stays = list(
            Placement.objects.filter(Q(until__isnull=True) | Q(until__gte=since))
            .filter(
                animal__in=Placement.objects.filter(
                    Q(tub__rack__in=racks) | Q(tub__rack__room__in=rooms), since__gte=since
                ).values("animal")
            )
            .select_related("animal__species", "tub__rack")
            .order_by("since", "pk")
        )
    here = list(inside)
    return [_counted(hold, here, stays, moment) for hold in rows]


def _counted(hold: Hold, here: list[Animal], stays: list[Placement], moment: datetime) -> Quarantine:
    def is_in(rack_id: int, room_id: int) -> bool:
        return rack_id == hold.rack_id if hold.rack_id else room_id == hold.room_id

    if hold.animal is not None:
        members, entered = [hold.animal], []
    else:
        members = [one for one in here if one.tub and is_in(one.tub.rack_id, one.tub.rack.room_id)]
        within = {(s.animal_id, s.until) for s in stays if is_in(s.tub.rack_id, s.tub.rack.room_id) and s.until}
        entered = [
            stay
            for stay in stays
            if hold.begins_at < stay.since <= moment
            and is_in(stay.tub.rack_id, stay.tub.rack.room_id)
            and (stay.animal_id, stay.since) not in within
        ]
    last = entered[-1] if entered else None
    clock_from = last.since if last else hold.begins_at
    kinds = {one.species_id: one.species for one in [*members, *(stay.animal for stay in entered)]}
    fallback = care_rules()["quarantine.days_without_profile"]
    days = [profile_numbers(one).get("quarantine.days", fallback) for one in kinds.values()]
    return Quarantine(
        hold=hold,
        animals=sorted(members, key=lambda one: one.code_key),
        clock_from=clock_from,
        restarted_by=last.animal if last else None,
        days=round(max(days, default=fallback)),
        day=(clock.day_of(moment) - clock.day_of(clock_from)).days,
    )


def quarantine_of(hold: Hold) -> Quarantine:
    """The quarantine of one hold."""
    return quarantines(holds=[hold])[0]


def release_barriers(quarantine: Quarantine) -> list[str]:
    """What speaks against releasing it now, each a sentence without its full stop; empty when nothing does.

    Its days, then each animal's negative swabs since the quarantine began (species number), a test that came back
    positive or is still awaited, an open health note, an open treatment.
    """
    found = []
    if not quarantine.is_over:
        found.append(
            f"it is {quarantine.words}, over on {quarantine.due_on.isoformat()} (species number or house rule)"
        )
    animals = quarantine.animals
    ids = [one.pk for one in animals]
    live = HealthTest.objects.filter(animal__in=ids, struck_at__isnull=True, observed_at__gte=quarantine.hold.begins_at)
    negative = dict(
        live.filter(kind=SampleKind.SWAB, result=HealthResult.NEGATIVE)
        .values_list("animal")
        .annotate(number=Count("pk"))
        .values_list("animal", "number")
    )
    for one in animals:
        wanted = round(profile_numbers(one.species).get("quarantine.negative_swabs", 0))
        if negative.get(one.pk, 0) < wanted:
            found.append(f"{one.code} has {negative.get(one.pk, 0)} of {count_text(wanted, 'negative swab')}")
    codes = {one.pk: one.code for one in animals}
    for words, pks in (
        ("a positive test", set(live.filter(result=HealthResult.POSITIVE).values_list("animal", flat=True))),
        ("a test without its result", set(live.filter(result=HealthResult.WAITING).values_list("animal", flat=True))),
        ("an open health note", animals_with_open_notes(ids)),
        ("an open treatment", set(treatments_open().filter(animal__in=ids).values_list("animal", flat=True))),
    ):
        if pks:
            found.append(f"{words}: {list_text(sorted(codes[pk] for pk in pks))}")
    return found
