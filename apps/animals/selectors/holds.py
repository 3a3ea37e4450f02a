"""Holds in force on animals, through themselves, their rack and their room."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q, QuerySet

from apps.animals.models import Animal, Hold
from apps.places.models import Tub

CHUNK = 500


def holds_at(moment: datetime) -> QuerySet[Hold]:
    """Every hold in force at a moment."""
    return Hold.objects.filter(Q(ends_at__isnull=True) | Q(ends_at__gt=moment), begins_at__lte=moment).filter(
        Q(lifted_at__isnull=True) | Q(lifted_at__gt=moment)
    )


def holds_in_force(animals: Iterable[Animal], at: datetime) -> dict[int, list[Hold]]:
    """Holds in force by animal id; an animal without one is absent. A fixed number of queries per 500 animals."""
    rows = list(animals)
    found: dict[int, list[Hold]] = {}
    tubs = {animal.pk: animal.tub_id for animal in rows if animal.tub_id is not None}
    wide = list(holds_at(at).filter(animal__isnull=True).select_related("rack", "room"))
    for start in range(0, len(rows), CHUNK):
        ids = [animal.pk for animal in rows[start : start + CHUNK]]
        for hold in holds_at(at).filter(animal__in=ids).order_by("begins_at"):
            if hold.animal_id is not None:
                found.setdefault(hold.animal_id, []).append(hold)
    if wide and tubs:
        places = {
            pk: (rack, room)
            for pk, rack, room in Tub.objects.filter(pk__in=set(tubs.values())).values_list(
                "pk", "rack_id", "rack__room_id"
            )
        }
        for animal_id, tub_id in tubs.items():
            rack, room = places[tub_id]
            here = [hold for hold in wide if hold.rack_id == rack or hold.room_id == room]
            if here:
                found.setdefault(animal_id, []).extend(
                    hold for hold in here if hold.rack_id == rack or (hold.rack_id is None and hold.room_id == room)
                )
    return found


def place_holds(tub: Tub, at: datetime) -> list[Hold]:
    """Holds in force on a tub's rack and on its room."""
    return list(
        holds_at(at).filter(Q(rack=tub.rack_id) | Q(room__racks=tub.rack_id)).select_related("rack", "room").distinct()
    )


def hold_history(animal: Animal) -> QuerySet[Hold]:
    """Every hold an animal ever had, newest first."""
    return Hold.objects.filter(animal=animal).select_related("by", "lifted_by").order_by("-begins_at")
