"""Reads of parcels and their windows."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db.models import F, Prefetch, QuerySet

from apps.inventory.models import OrderLine
from apps.inventory.selectors import lines_to_ship
from apps.shipping.models import Parcel, ParcelAnimal, ParcelWindow
from apps.shipping.policies import BEFORE_HAND_OVER


def parcels() -> QuerySet[Parcel]:
    """Parcels with buyer and living contents."""
    return Parcel.objects.select_related("order__buyer", "hub").prefetch_related(
        Prefetch(
            "contents",
            ParcelAnimal.objects.filter(removed_at__isnull=True)
            .select_related("animal__species", "animal__tub", "line")
            .order_by("cup"),
            to_attr="cups",
        )
    )


def parcels_ahead() -> QuerySet[Parcel]:
    """Parcels not yet with the carrier, earliest day first, unbooked last."""
    return parcels().filter(state__in=BEFORE_HAND_OVER).order_by(F("ship_on").asc(nulls_last=True), "number")


def contents(parcel: Parcel) -> list[ParcelAnimal]:
    """The animals of a parcel by cup."""
    return list(
        parcel.contents.filter(removed_at__isnull=True)
        .select_related("animal__species", "animal__tub", "animal__brood", "line")
        .order_by("cup")
    )


def windows_of(rows: Iterable[Parcel], since: date) -> dict[int, dict[date, ParcelWindow]]:
    """Current windows by parcel id and day, one query."""
    found: dict[int, dict[date, ParcelWindow]] = {}
    for window in ParcelWindow.objects.filter(parcel__in=[row.pk for row in rows], is_current=True, day__gte=since):
        found.setdefault(window.parcel_id, {})[window.day] = window
    return found


def window_on(parcel: Parcel, day: date) -> ParcelWindow | None:
    """What stands about one day."""
    return parcel.windows.filter(day=day, is_current=True).first()


def lines_without_parcel() -> QuerySet[OrderLine]:
    """Sold, to be shipped, not yet in a parcel."""
    inside = ParcelAnimal.objects.filter(removed_at__isnull=True).values("line")
    return lines_to_ship().exclude(pk__in=inside)


def next_parcel_number() -> int:
    """The number after the highest."""
    return (Parcel.objects.order_by("-number").values_list("number", flat=True).first() or 2000) + 1
