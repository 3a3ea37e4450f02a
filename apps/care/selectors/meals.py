"""Reads of meals. An unchecked offer is nothing for growth and appetite, and eaten for handling and shipping."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from apps.animals.models import Animal
from apps.care.choices import MealOutcome
from apps.care.models import MealCheck, MealOffer
from apps.care.selectors.weights import chunks
from apps.core import clock

_UUID = re.compile(r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")


@dataclass(frozen=True, slots=True)
class Meal:
    """One meal: what was offered and its one fate. ``outcome`` is None while nobody has checked."""

    offer_id: int
    animal_id: int
    offered_at: datetime
    prey: str
    size: str
    prey_g: float | None
    count: int
    presentation: str
    by: str
    outcome: str | None = None
    checked_at: datetime | None = None
    vigour: str = ""
    came_up: bool = False

    @property
    def total_g(self) -> float | None:
        """Everything offered, in grams; None when the prey was not weighed."""
        return None if self.prey_g is None else self.prey_g * self.count

    @property
    def counts_as_eaten(self) -> bool:
        """For growth and appetite: checked, and kept down."""
        return self.outcome == MealOutcome.ATE

    @property
    def may_be_inside(self) -> bool:
        """For handling and shipping: anything not known to have been left."""
        return self.outcome != MealOutcome.LEFT

    @property
    def words(self) -> str:
        """``2 small rat, thawed``"""
        many = f"{self.count} " if self.count != 1 else ""
        size = f"{self.size} " if self.size else ""
        mass = f", {self.total_g:g} g" if self.total_g is not None else ""
        return f"{many}{size}{self.prey}, {self.presentation}{mass}"


def live_checks() -> QuerySet[MealCheck]:
    """Checks not struck out, oldest first: the last one is the fate."""
    return MealCheck.objects.filter(struck_at__isnull=True).order_by("observed_at", "pk")


def offers_with_checks() -> QuerySet[MealOffer]:
    """Offers not struck out, each with its live checks at ``live``; two queries for any number."""
    return (
        MealOffer.objects.filter(struck_at__isnull=True)
        .select_related("by")
        .prefetch_related(Prefetch("checks", queryset=live_checks(), to_attr="live"))
    )


def meal_of(offer: MealOffer) -> Meal:
    """The meal of one offer (uses the prefetched checks where they are there)."""
    checks: list[MealCheck] | None = getattr(offer, "live", None)
    if checks is None:
        checks = list(live_checks().filter(offer=offer))
    last = checks[-1] if checks else None
    return Meal(
        offer_id=offer.pk,
        animal_id=offer.animal_id,
        offered_at=offer.observed_at,
        prey=offer.prey,
        size=offer.size,
        prey_g=offer.prey_g,
        count=offer.count,
        presentation=offer.presentation,
        by=offer.by.name,
        outcome=last.outcome if last else None,
        checked_at=last.observed_at if last else None,
        vigour=next((check.vigour for check in reversed(checks) if check.vigour), ""),
        came_up=any(check.outcome == MealOutcome.REGURGITATED for check in checks),
    )


def meals_of(animal_ids: Iterable[int], since: datetime | None = None) -> dict[int, list[Meal]]:
    """Meals offered since a moment, oldest first, keyed by animal id; three queries per 2,000 animals."""
    found: dict[int, list[Meal]] = defaultdict(list)
    for part in chunks(animal_ids):
        rows = offers_with_checks().filter(animal_id__in=part)
        if since is not None:
            rows = rows.filter(observed_at__gte=since)
        for offer in rows.order_by("observed_at", "pk"):
            found[offer.animal_id].append(meal_of(offer))
    return dict(found)


def last_meals_at(animal_ids: Iterable[int]) -> dict[int, datetime]:
    """When each animal was last offered food that it may hold (unchecked counts as eaten), keyed by animal id."""
    found: dict[int, datetime] = {}
    left = MealCheck.objects.filter(offer=OuterRef("pk"), struck_at__isnull=True, outcome=MealOutcome.LEFT)
    for part in chunks(animal_ids):
        rows = MealOffer.objects.filter(animal_id__in=part, struck_at__isnull=True).exclude(Exists(left))
        for animal_id, moment in rows.order_by("observed_at").values_list("animal_id", "observed_at"):
            found[animal_id] = moment
    return found


def last_meal_at(animal: Animal) -> datetime | None:
    """When it was last offered food that it may hold: an unchecked offer counts as eaten, a left one does not."""
    return last_meals_at([animal.pk]).get(animal.pk)


def offers_named(names: Iterable[str]) -> dict[str, MealOffer]:
    """Offers by what names them on a form: their number, or the id a device gave them; unknown ones are left out."""
    numbers = {int(name): name for name in names if name.isascii() and name.isdigit() and len(name) < 19}
    made = {UUID(name): name for name in names if _UUID.match(name)}
    rows = (
        MealOffer.objects.filter(Q(pk__in=numbers) | Q(client_id__in=made))
        .select_related("animal__species", "animal__tub__rack", "by")
        .prefetch_related(Prefetch("checks", queryset=live_checks(), to_attr="live"))
    )
    found: dict[str, MealOffer] = {}
    for row in rows:
        if row.pk in numbers:
            found[numbers[row.pk]] = row
        if row.client_id in made:
            found[made[row.client_id]] = row
    return found


def unchecked_offers() -> QuerySet[MealOffer]:
    """Offers nobody has checked, oldest first."""
    checked = MealCheck.objects.filter(offer=OuterRef("pk"), struck_at__isnull=True)
    return (
        MealOffer.objects.filter(struck_at__isnull=True, observed_at__lte=clock.now())
        .exclude(Exists(checked))
        .select_related("animal__tub__rack__room", "by")
        .order_by("observed_at", "pk")
    )
