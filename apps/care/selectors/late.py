"""Meals offered and not checked in time: listed as late, alive ones much sooner. They stay *offered*."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from apps.animals.choices import Status
from apps.care.choices import Presentation
from apps.care.models import MealOffer
from apps.care.selectors.house_rules import care_rules
from apps.care.selectors.meals import unchecked_offers
from apps.care.selectors.prey import is_watched, prey_book
from apps.core import clock

# Whoever stands in the house still: the prey is in the tub, whatever the status says.
FED = (Status.HERE, Status.LOANED, Status.MISSING)


def late_after(prey: str, presentation: str) -> timedelta:
    """How long an offer may stay unchecked (house rules): hours, and far less for live prey that can injure."""
    key = "meal.live_late_h" if is_watched(prey, presentation) else "meal.late_h"
    return timedelta(hours=care_rules()[key])


def is_late(offer: MealOffer, now: datetime | None = None) -> bool:
    """Whether an unchecked offer has stood too long."""
    return (now or clock.now()) - offer.observed_at >= late_after(offer.prey, offer.presentation)


def late_offers() -> QuerySet[MealOffer]:
    """Unchecked offers past their time, oldest first."""
    now = clock.now()
    rules = care_rules()
    live = Q(presentation=Presentation.LIVE, prey__in=prey_book().watched)
    return unchecked_offers().filter(
        Q(observed_at__lte=now - timedelta(hours=rules["meal.late_h"]))
        | live & Q(observed_at__lte=now - timedelta(hours=rules["meal.live_late_h"])),
        animal__status__in=FED,
    )


def late_live_offers() -> QuerySet[MealOffer]:
    """Those with live prey that can injure."""
    return late_offers().filter(presentation=Presentation.LIVE, prey__in=prey_book().watched)
