"""Writes of shipping: parcels, windows, weather, releases, arrivals."""

from apps.shipping.services.parcels import (
    CounterAddress,
    parcel_arrive,
    parcel_book,
    parcel_cancel,
    parcel_hand_over,
    parcel_hold,
    parcel_pack,
    parcel_plan,
    parcel_release,
    parcel_unbook,
)
from apps.shipping.services.weather import hub_add, weather_store
from apps.shipping.services.windows import PATIENT_SECONDS, parcel_windows_refresh

__all__ = [
    "PATIENT_SECONDS",
    "CounterAddress",
    "hub_add",
    "parcel_arrive",
    "parcel_book",
    "parcel_cancel",
    "parcel_hand_over",
    "parcel_hold",
    "parcel_pack",
    "parcel_plan",
    "parcel_release",
    "parcel_unbook",
    "parcel_windows_refresh",
    "weather_store",
]
