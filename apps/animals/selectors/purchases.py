"""Reads of bought animals."""

from __future__ import annotations

from datetime import date

from django.db.models import QuerySet

from apps.animals.choices import Status
from apps.animals.models import Purchase
from apps.core import clock


def purchases() -> QuerySet[Purchase]:
    """Every purchase, newest first, with its animal and place. Cost is for those who may see money."""
    return Purchase.objects.select_related("animal__species", "animal__tub__rack__room", "papers", "by").order_by(
        "-bought_on", "-pk"
    )


def purchases_undecided() -> QuerySet[Purchase]:
    """Those of animals here that nobody has decided on, the earliest day first."""
    rows = purchases().filter(decision="", decide_on__isnull=False, animal__status=Status.HERE)
    return rows.order_by("decide_on", "pk")


def purchases_to_decide(on: date | None = None) -> QuerySet[Purchase]:
    """Keep or sell: those whose day has come (today unless said otherwise). For Today; one query."""
    return purchases_undecided().filter(decide_on__lte=on or clock.today())
