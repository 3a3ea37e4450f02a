"""What shipping does when something happened."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.inventory.events import OrderCancelled
from apps.inventory.models import Order
from apps.shipping.events import ParcelBooked, ParcelPlanned
from apps.shipping.models import Parcel
from apps.shipping.papers import PRINTABLE, papers_make
from apps.shipping.services import PATIENT_SECONDS, parcel_windows_refresh
from apps.shipping.services.parcels import parcels_of_cancelled_order


def parcels_end(event: OrderCancelled) -> None:
    """The parcels of a cancelled order do not travel."""
    order = Order.objects.filter(ref=event.order_ref).first()
    if order is not None:
        parcels_of_cancelled_order(order)


def windows_compute(event: ParcelPlanned) -> None:
    """Judge the coming week for a new parcel."""
    parcel = Parcel.objects.filter(ref=event.parcel_ref).first()
    if parcel is not None:
        parcel_windows_refresh(by=system_person(), parcel=parcel, seconds=PATIENT_SECONDS)


def papers_produce(event: ParcelBooked) -> None:
    """Print what a booked parcel needs; one that was held or given back meanwhile needs nothing."""
    parcel = Parcel.objects.filter(ref=event.parcel_ref, state__in=PRINTABLE).first()
    if parcel is not None:
        papers_make(by=system_person(), parcel=parcel)
