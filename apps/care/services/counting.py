"""Counting what is due: kept rows of animals and numbers of racks let a whole house be read. Facts stay the truth."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Count, Q

from apps.animals.models import Animal
from apps.care.choices import DueKind
from apps.care.models import CareCount, CareState, CareTally
from apps.care.selectors.due import AnimalDue, due_of_ids
from apps.care.selectors.due_house import newest_rows, touched_since_count
from apps.care.selectors.due_tally import LIVING, count_states, states_in, tallies_stored
from apps.care.selectors.weights import chunks
from apps.core import clock
from apps.core.turns import take_turn

BATCH = 1000
RACKS = 60
TURN = "what is due"
KINDS = ("dose_at", "check_at", "offer_on", "weigh_on", "shed_on", "water_on", "clean_on", "shape_on")
FIELDS = ("rack", *KINDS, "counted_on")


def due_count(*, everybody: bool = False) -> str:
    """Count whoever was touched since the last count; safe to run twice. Returns one line, or nothing.

    Everybody is counted when asked for, and when a new facility day has begun: plans are of a day.
    Rows committed late by a slow transaction are met by the next run: each run looks back over the one before.
    """
    last = CareCount.objects.filter(pk=1).first()
    newest = newest_rows()  # before the rows are read, so that nothing falls between the two
    touched = touched_since_count(last, limit=20_000)
    counted_at = clock.now()
    is_new_day = last is None or clock.day_of(last.counted_at) != clock.today()
    if everybody or touched.everybody or is_new_day:
        # rack by rack, so that the numbers of each are written once
        number = states_write(Animal.objects.order_by("tub__rack_id", "pk").values_list("pk", flat=True))
        tallies_rebuild()
        words = f"counted all {number} animals"
    else:
        number = states_write(touched.ids)
        for part in chunks(tallies_off(), RACKS):
            tallies_write(part)
        words = f"counted {number} animals" if number else ""
    CareCount.objects.update_or_create(
        pk=1,
        defaults={"counted_at": counted_at, "seen": last.coming if last else newest, "coming": newest},
    )
    return words


def states_write(ids: Iterable[int]) -> int:
    """Write the counted rows of these animals, in short transactions, and the numbers of their racks with them; rows of
    those no longer here go. Returns how many were written."""
    written = 0
    for part in chunks(ids, BATCH):
        found = due_of_ids(part)
        with transaction.atomic():
            take_turn(TURN)
            standing = CareState.objects.filter(pk__in=part)
            racks = set(standing.values_list("rack_id", flat=True)) | {one.facts.rack_id for one in found.values()}
            CareState.objects.bulk_create(
                [_state(pk, one) for pk, one in found.items()],
                update_conflicts=True,
                unique_fields=["animal"],
                update_fields=FIELDS,
            )
            CareState.objects.filter(pk__in=[pk for pk in part if pk not in found]).delete()
            tallies_write(racks)
        written += len(found)
    return written


@transaction.atomic
def tallies_write(racks: Iterable[int | None]) -> None:
    """Count racks (None: animals in no tub) from the states that stand, for today."""
    take_turn(TURN)  # two jobs at once would each miss what the other is writing
    wanted = set(racks)
    since, today = clock.now(), clock.today()
    counted = count_states(states_in(wanted))
    CareTally.objects.filter(Q(rack__in=wanted - {None}) | (Q(rack__isnull=True) if None in wanted else Q())).delete()
    CareTally.objects.bulk_create(
        CareTally(rack_id=rack, day=today, since=since, until=one.until, numbers=one.rack.numbers)
        for rack, one in counted.items()
    )


def tallies_rebuild() -> None:
    """Every rack's numbers from the states, whatever stands there."""
    stored = CareTally.objects.values_list("rack_id", flat=True)
    states = CareState.objects.order_by().values_list("rack_id", flat=True).distinct()
    for part in chunks({*stored, *states}, RACKS):
        tallies_write(part)


def tallies_off() -> list[int | None]:
    """Racks whose numbers no longer hold, or count another number of animals than states stand there."""
    holding, past = tallies_stored()
    stored = {rack: numbers[LIVING] for rack, numbers in holding.items()}
    living = dict(CareState.objects.order_by().values_list("rack_id").annotate(number=Count("pk")))
    return [*past, *(rack for rack in {*stored, *living} - past if stored.get(rack) != living.get(rack))]


def _state(pk: int, one: AnimalDue) -> CareState:
    days = one.days

    def by_hour(kind: DueKind, moment: datetime | None) -> datetime | None:
        if moment is None or kind not in days:
            return None
        # left for today: it is due again when the next day begins (and counted anew then)
        return moment if days[kind] <= clock.day_of(moment) else clock.day_begins(days[kind])

    return CareState(
        animal_id=pk,
        rack_id=one.facts.rack_id,
        dose_at=by_hour(DueKind.DOSE, one.facts.dose_at),
        check_at=by_hour(DueKind.CHECK, one.facts.unchecked_at),
        offer_on=days.get(DueKind.OFFER),
        weigh_on=days.get(DueKind.WEIGH),
        shed_on=days.get(DueKind.SHED),
        water_on=days.get(DueKind.WATER),
        clean_on=days.get(DueKind.CLEANED),
        shape_on=days.get(DueKind.SHAPE),
        counted_on=clock.today(),
    )
