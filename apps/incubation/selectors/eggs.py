"""Reads of eggs, boxes and hatch windows."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from django.db.models import Count, Max, Prefetch, Q, QuerySet

from apps.animals.choices import BroodState
from apps.animals.models import Brood
from apps.animals.selectors import profile_numbers
from apps.core import clock
from apps.incubation.choices import EggState
from apps.incubation.models import Box, Egg, HatchForecast
from apps.places.models import Incubator


def broods_live() -> QuerySet[Brood]:
    """Broods whose story goes on, oldest first."""
    return Brood.objects.exclude(state=BroodState.CLOSED).select_related("dam__species", "species").order_by("on")


def eggs_of(brood: Brood) -> QuerySet[Egg]:
    """The eggs of a brood in order."""
    return Egg.objects.filter(brood=brood).select_related("box__incubator", "brood").order_by("number")


def boxes_live() -> QuerySet[Box]:
    """Boxes in an incubator with their eggs, oldest brood first."""
    return (
        Box.objects.filter(removed_at__isnull=True)
        .select_related("brood__dam__species", "brood__species", "incubator__room")
        .prefetch_related(Prefetch("eggs", Egg.objects.order_by("number")))
        .order_by("brood__on", "code")
    )


def boxes_of(brood: Brood) -> QuerySet[Box]:
    """Every placement of a brood's eggs."""
    return Box.objects.filter(brood=brood).select_related("incubator").order_by("set_at")


def forecasts_current(broods: Iterable[Brood]) -> dict[int, HatchForecast]:
    """The hatch window of each brood, by brood id."""
    found = HatchForecast.objects.filter(brood__in=[brood.pk for brood in broods], is_current=True)
    return {row.brood_id: row for row in found}


def counts_of(broods: Iterable[Brood]) -> dict[int, dict[str, int]]:
    """Eggs by state for each brood, in one query."""
    rows = Egg.objects.filter(brood__in=[b.pk for b in broods]).values("brood", "state").annotate(n=Count("pk"))
    found: dict[int, dict[str, int]] = {}
    for row in rows:
        found.setdefault(row["brood"], {})[row["state"]] = row["n"]
    return found


def eggs_in(incubator: Incubator) -> int:
    """How many eggs an incubator holds."""
    return Egg.objects.filter(
        box__incubator=incubator, box__removed_at__isnull=True, state__in=[EggState.IN_BOX, EggState.PIPPING]
    ).count()


def checks_due(on: date | None = None) -> list[Box]:
    """Live boxes whose eggs were not looked at for the days their species asks for; without a rule none is due."""
    day, days = on or clock.today(), {}
    due: list[Box] = []
    for box in boxes_live().annotate(last_check=Max("eggs__checks__at")):
        species = box.brood.species
        if species.pk not in days:
            days[species.pk] = profile_numbers(species).get("incubation.check_days")
        limit = days[species.pk]
        if limit is not None and clock.day_of(box.last_check or box.set_at) + timedelta(days=limit) <= day:
            due.append(box)
    return due


def broods_to_hatch() -> QuerySet[Brood]:
    """Broods with living eggs in boxes."""
    living = [EggState.IN_BOX, EggState.PIPPING]
    return (
        broods_live()
        .annotate(living=Count("via_incubation_eggs", filter=Q(via_incubation_eggs__state__in=living)))
        .filter(living__gt=0)
    )


def next_box_code() -> str:
    """``B-031``: the number after the highest ever used."""
    highest = 0
    for code in Box.objects.filter(code__startswith="B-").values_list("code", flat=True):
        if code[2:].isdigit():
            highest = max(highest, int(code[2:]))
    return f"B-{highest + 1:03d}"
