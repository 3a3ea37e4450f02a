"""Readings, visits and steps of a season that stand, as a correction asks for them."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Q

from apps.animals.models import Animal
from apps.breeding.models import Cycle, Scan, Visit
from apps.care.models import Shed
from apps.core import clock
from apps.core.formats import day_text


def scans_of(animal: Animal, since: datetime | None = None) -> list[Scan]:
    """Her readings that stand, oldest first."""
    rows = Scan.objects.filter(animal=animal, struck_at__isnull=True).select_related("animal", "by", "round")
    if since is not None:
        rows = rows.filter(observed_at__gte=since)
    return list(rows.order_by("observed_at", "pk"))


def visits_with(animal: Animal, since: datetime | None = None) -> list[Visit]:
    """Visits that stand, begun since a moment, oldest first."""
    rows = Visit.objects.filter(Q(female=animal) | Q(male=animal), struck_at__isnull=True)
    if since is not None:
        rows = rows.filter(began_at__gte=since)
    return list(rows.select_related("female__species", "male", "by", "season").order_by("began_at", "pk"))


def season_steps(animal: Animal, since: datetime) -> list[tuple[Cycle, str]]:
    """Steps of her cycles recorded for that day or later, each in words: they rest on her, not on an entry."""
    first = clock.day_of(since)
    found: list[tuple[Cycle, str]] = []
    for cycle in Cycle.objects.filter(season__female=animal).select_related("season__female", "brood"):
        laid = clock.day_of(cycle.laying_began) if cycle.laying_began is not None else None
        steps = (
            ("ovulation", cycle.ovulated_on),
            ("pre-lay shed", cycle.shed_on),
            ("regression", cycle.regressed_on),
            ("laying", laid),
        )
        found += [(cycle, f"{word} of {day_text(on)}") for word, on in steps if on is not None and on >= first]
    return found


def cycle_rests_on(shed: Shed) -> bool:
    """Whether a cycle of hers takes its pre-lay shed from this entry."""
    return Cycle.objects.filter(season__female=shed.animal_id, shed_on=clock.day_of(shed.observed_at)).exists()
