"""Counting what is due: kept rows that let a whole house be read in one query. Facts stay the truth."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.choices import DueKind
from apps.care.models import CareCount, CareState
from apps.care.selectors.due import AnimalDue, due_of_ids
from apps.care.selectors.due_house import newest_rows, touched_since_count
from apps.care.selectors.weights import chunks
from apps.core import clock

BATCH = 1000
FIELDS = ("rack", "dose_at", "check_at", "offer_on", "weigh_on", "shed_on", "water_on", "clean_on", "shape_on")


def due_count(*, everybody: bool = False) -> str:
    """Count whoever was touched since the last count (or everybody); safe to run twice. Returns one line, or nothing.

    Rows committed late by a slow transaction are met by the next run: each run looks back over the one before.
    """
    last = CareCount.objects.filter(pk=1).first()
    newest = newest_rows()  # before the rows are read, so that nothing falls between the two
    touched = touched_since_count(last, limit=20_000)
    counted_at = clock.now()
    if everybody or touched.everybody or last is None:
        number = states_write(Animal.objects.order_by("pk").values_list("pk", flat=True))
        CareState.objects.exclude(animal__status=Status.HERE).delete()
        words = f"counted all {number} animals"
    else:
        number = states_write(touched.ids)
        words = f"counted {number} animals" if number else ""
    CareCount.objects.update_or_create(
        pk=1,
        defaults={"counted_at": counted_at, "seen": last.coming if last else newest, "coming": newest},
    )
    return words


def states_write(ids: Iterable[int]) -> int:
    """Write the counted rows of these animals, in short transactions; rows of those no longer here go."""
    written = 0
    for part in chunks(ids, BATCH):
        found = due_of_ids(part)
        with transaction.atomic():
            CareState.objects.bulk_create(
                [_state(pk, one) for pk, one in found.items()],
                update_conflicts=True,
                unique_fields=["animal"],
                update_fields=FIELDS,
            )
            CareState.objects.filter(pk__in=[pk for pk in part if pk not in found]).delete()
        written += len(found)
    return written


def _state(pk: int, one: AnimalDue) -> CareState:
    days = one.days

    def by_hour(kind: DueKind, moment: datetime | None) -> datetime | None:
        return moment if kind in days else None

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
    )
