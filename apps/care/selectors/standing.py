"""Entries that stand and can be moved to another animal."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Q

from apps.animals.models import Animal, Fact
from apps.care.models import MealCheck, Treatment
from apps.care.selectors.meals import live_checks
from apps.care.selectors.timeline import KINDS

# a meal's check goes where its offer goes, a dose where its treatment goes
# A prescription and its doses are no sighting of an animal: which one was treated is for whoever set it to put right.
STAYS = frozenset({"mealcheck", "treatment", "dose"})
MOVABLE = tuple(kind for kind in KINDS if kind not in STAYS)


def care_facts(animal: Animal, *, since: datetime | None = None) -> list[Fact]:
    """What was recorded of an animal and stands, oldest first; a meal's check goes where its offer goes."""
    found: list[Fact] = []
    for kind in MOVABLE:
        rows = KINDS[kind]._default_manager.filter(animal=animal, struck_at__isnull=True).select_related("animal", "by")
        if since is not None:
            rows = rows.filter(observed_at__gte=since)
        found += rows
    return sorted(found, key=lambda fact: (fact.observed_at, fact._meta.model_name or "", fact.pk))


def checks_left_behind(animal: Animal, since: datetime) -> list[MealCheck]:
    """Checks since a moment whose meal was offered before it: they stay with their meal."""
    rows = live_checks().filter(animal=animal, observed_at__gte=since, offer__observed_at__lt=since)
    return list(rows.select_related("offer", "animal", "by"))


def treatments_of(animal: Animal, since: datetime | None = None) -> list[Treatment]:
    """Treatments that stand, or those that ran at some time since a moment, oldest first."""
    rows = Treatment.objects.filter(animal=animal, struck_at__isnull=True).select_related("animal", "by")
    if since is not None:
        rows = rows.filter(Q(ended_at__isnull=True) | Q(ended_at__gte=since))
    return list(rows.order_by("observed_at", "pk"))
