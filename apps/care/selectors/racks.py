"""Reads for feeding a rack in two passes."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from django.db.models import QuerySet

from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.selectors.late import late_offers
from apps.care.selectors.meals import unchecked_offers
from apps.places.models import Rack


def animals_of_rack(rack: Rack) -> QuerySet[Animal]:
    """Who lives in the rack, in walking order."""
    return (
        Animal.objects.filter(tub__rack=rack, status=Status.HERE)
        .select_related("species", "tub")
        .order_by("tub__walk_order", "tub__level", "tub__column", "code")
    )


@dataclass(frozen=True, slots=True)
class RackToFeed:
    """One rack: who lives in it, how many offers wait for a check, and how many of those are late."""

    rack: Rack
    living: int
    waiting: int
    late: int


def racks_to_feed() -> list[RackToFeed]:
    """Every rack with animals in walking order."""
    living = Counter(
        Animal.objects.filter(tub__isnull=False, status=Status.HERE).values_list("tub__rack_id", flat=True)
    )
    here = {"animal__status": Status.HERE}
    waiting = Counter(unchecked_offers().filter(**here).values_list("animal__tub__rack_id", flat=True))
    late = Counter(late_offers().filter(**here).values_list("animal__tub__rack_id", flat=True))
    racks = Rack.objects.select_related("room__site").order_by(
        "room__site__walk_order", "room__walk_order", "room__name", "walk_order", "name"
    )
    return [RackToFeed(rack, living[rack.pk], waiting[rack.pk], late[rack.pk]) for rack in racks if living[rack.pk]]
