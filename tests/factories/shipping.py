"""Parcels of paid orders and weather for their lanes, reached through the services."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility_forget
from apps.care.services import weight_record
from apps.core import clock
from apps.inventory.models import Order
from apps.shipping.choices import WeatherKind
from apps.shipping.models import Parcel
from apps.shipping.selectors.windows import lane_states
from apps.shipping.services import CounterAddress, parcel_plan, weather_store
from tests.factories.inventory import make_buyer, make_order

ADDRESS = {"city": "Millbrook Falls", "state": "KY", "postcode": "40500", "county": "Fenwick"}
MINNEAPOLIS = CounterAddress(
    city="Minneapolis", county="Hennepin", state="MN", postcode="55401", name="Depot counter", street="200 Depot Road"
)
NEW_YORK = CounterAddress(city="New York", county="New York", state="NY", postcode="10001", name="Depot counter")


def settle_facility() -> None:
    """The facility has an address to ship from."""
    Facility.objects.filter(pk=1).update(**ADDRESS)
    facility_forget()


def make_parcel(by: Person, *, animals: int = 1, counter: CounterAddress = MINNEAPOLIS, **order: Any) -> Parcel:
    """A planned parcel of weighed animals of a paid order. ``by`` may sell, weigh and ship: an owner."""
    settle_facility()
    if counter is not MINNEAPOLIS:
        order.setdefault("buyer", make_buyer(by, city=counter.city, county=counter.county, state=counter.state))
    sold = make_order(by, animals=animals, **order)
    return parcel_plan(by=by, order=sold, animals=weighed(by, sold), counter=counter)


def weighed(by: Person, order: Order) -> list[Any]:
    """The animals of an order, each weighed now."""
    found = [line.animal for line in order.lines.select_related("animal").order_by("pk")]
    for animal in found:
        weight_record(by=by, animal=animal, mass_g=140)
    return found


def make_weather(by: Person, parcel: Parcel, base_c: float = 23.0) -> None:
    """A fresh forecast for every place of the lane: ``base_c``, two degrees more in the afternoon."""
    issued = clock.now()
    first = issued.replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    hours = [(first + timedelta(hours=h), base_c + (2.0 if 12 <= h % 24 <= 20 else 0.0)) for h in range(24 * 10)]
    for key in lane_states(parcel):
        weather_store(by=by, place_key=key, kind=WeatherKind.FORECAST, issued_at=issued, hours=hours)
