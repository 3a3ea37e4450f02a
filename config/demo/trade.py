"""The demonstration's trade: young on offer, reservations, orders, and parcels of a week with heat and cold."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from apps.accounts.models import Person
from apps.accounts.selectors import system_person
from apps.animals.models import Animal
from apps.care.services import meal_check, meal_offer, shed_record, weight_record
from apps.core import clock
from apps.core.errors import DomainError
from apps.hatchlings.selectors import judged_of, young_here
from apps.hatchlings.services.ready import readiness_write
from apps.inventory.choices import EntryKind
from apps.inventory.models import Offer, Order
from apps.inventory.services import (
    buyer_add,
    offer_list,
    offer_make,
    offer_reserve,
    order_agree,
    order_make,
    payment_record,
)
from apps.shipping.choices import WeatherKind
from apps.shipping.models import Parcel
from apps.shipping.selectors.demo_weather import demo_forecast
from apps.shipping.selectors.windows import lane_states
from apps.shipping.services import (
    PATIENT_SECONDS,
    CounterAddress,
    hub_add,
    parcel_book,
    parcel_plan,
    parcel_windows_refresh,
    weather_store,
)
from config.demo.world import LOADED_AT, TODAY, Size

Say = Callable[[str], None]
BUYERS = (
    # name, city, county, state, postcode, zone
    ("Ada Linwood", "Minneapolis", "Hennepin", "MN", "55401", "America/Chicago"),
    ("Ruben Ashgrove", "Tucson", "Pima", "AZ", "85701", "America/Phoenix"),
    ("Corin Vale", "Austin", "Travis", "TX", "78701", "America/Chicago"),
    ("Petra Moss", "Columbus", "Franklin", "OH", "43004", "America/New_York"),
    ("Idris Penn", "New York", "New York", "NY", "10001", "America/New_York"),
)
WEATHER_SEED = 1


def trade(people: dict[str, Person], size: Size, say: Say) -> None:
    """Raise the young, offer the ready ones, sell to five buyers and plan their parcels."""
    ready = _raised(people, size)
    with clock.at(LOADED_AT - timedelta(days=6)):
        readiness_write(judged_of(young_here()))
        offers = [offer for animal in ready if (offer := _offered(people["tove"], animal)) is not None]
    orders = _orders(people, offers)
    parcels = _parcels(people, orders)
    say(f"  {len(offers)} young on offer, {len(orders)} orders, {len(parcels)} parcels planned")


def _raised(people: dict[str, Person], size: Size) -> list[Animal]:
    """Young of the replayed clutches that shed and ate: the earliest are ready."""
    ilse = people["ilse"]
    young = list(young_here().order_by("hatched_on", "code")[: size.of(40, 8)])
    for number, animal in enumerate(young):
        with clock.at(_noon(animal, 11)):
            shed_record(by=ilse, animal=animal, stage="shed")
        for week in range(8):
            with clock.at(LOADED_AT - timedelta(days=64 - 7 * week, hours=3)):
                offer = meal_offer(by=ilse, animal=animal, prey="mouse", size="hopper", prey_g=10)
            with clock.at(LOADED_AT - timedelta(days=63 - 7 * week, hours=3)):
                meal_check(by=ilse, offer=offer, outcome="ate")
        with clock.at(LOADED_AT - timedelta(days=9)):
            # light enough for the small box, which keeps its warmth best
            weight_record(by=ilse, animal=animal, mass_g=118 + 7 * number % 32)
    return young


def _noon(animal: Animal, days: int) -> datetime:
    assert animal.hatched_on is not None
    return clock.noon(animal.hatched_on + timedelta(days=days))


def _offered(by: Person, animal: Animal) -> Offer | None:
    """An offer, when the house rule is met; the others stay in the nursery with what they lack."""
    price = 25000 + (animal.pk * 7919 % 90) * 1000
    try:
        return offer_list(by=by, offer=offer_make(by=by, animal=animal, price_minor=price))
    except DomainError:
        return None


def _orders(people: dict[str, Person], offers: list[Offer]) -> list[Order]:
    tove = people["tove"]
    orders = []
    with clock.at(LOADED_AT - timedelta(days=4)):
        for number, (name, city, county, state, postcode, _) in enumerate(BUYERS):
            if number >= len(offers) - 2:
                break
            buyer = buyer_add(
                by=tove,
                name=name,
                email=f"{name.split()[0].lower()}@example.com",
                phone=f"555-01{77 + number}",
                city=city,
                county=county,
                state=state,
                postcode=postcode,
            )
            offer_reserve(by=tove, offer=offers[number], buyer=buyer)
            order = order_make(by=tove, buyer=buyer, offers=[offers[number]], shipping_minor=5500)
            order = order_agree(by=tove, order=order)
            total = offers[number].price_minor + 5500
            kind, amount = (EntryKind.DEPOSIT, 10000) if number == 3 else (EntryKind.PAYMENT, total)
            payment_record(by=tove, order=order, amount_minor=amount, kind=kind)
            orders.append(order)
        waiting = buyer_add(by=tove, name="Show tablet", note="reserved in the same second as Ada Linwood")
        if len(offers) > len(orders) + 1:
            first = offers[len(orders)]
            buyer = buyer_add(by=tove, name="Wren Calloway", state="KY", city="Lexington", postcode="40507")
            offer_reserve(by=tove, offer=first, buyer=buyer)
            offer_reserve(by=tove, offer=first, buyer=waiting)
    return orders


def _parcels(people: dict[str, Person], orders: list[Order]) -> list[Parcel]:
    """One parcel an order, judged against the simulated week; the first that may go is booked for tomorrow."""
    odd = people["odd"]
    parcels = []
    with clock.at(LOADED_AT - timedelta(hours=2)):
        hub = hub_add(
            by=people["halvard"],
            name="Indianapolis sort",
            city="Indianapolis",
            state="IN",
            postcode="46241",
            time_zone="America/Indiana/Indianapolis",
        )
        for order, (_, city, county, state, postcode, zone) in zip(orders, BUYERS, strict=False):
            counter = CounterAddress(
                city=city,
                county=county,
                state=state,
                postcode=postcode,
                name="Depot counter",
                street="200 Depot Road",
                zone=zone,
            )
            animals = [line.animal for line in order.lines.select_related("animal")]
            parcels.append(parcel_plan(by=odd, order=order, animals=animals, counter=counter, hub=hub))
        _weather(parcels)
        tomorrow = TODAY + timedelta(days=1)
        for parcel in parcels:
            windows = parcel_windows_refresh(by=odd, parcel=parcel, seconds=PATIENT_SECONDS)
            if parcel is parcels[0] and any(row.day == tomorrow and row.verdict == "go" for row in windows):
                parcel_book(by=odd, parcel=parcel, day=tomorrow)
    return parcels


def _weather(parcels: list[Parcel]) -> None:
    issued = clock.now().replace(minute=0, second=0, microsecond=0)
    places: dict[str, str] = {}
    for parcel in parcels:
        places.update(lane_states(parcel))
    for key, state in places.items():
        series = demo_forecast(place_key=key, state=state, issued_at=issued, seed=WEATHER_SEED)
        weather_store(
            by=system_person(),
            place_key=key,
            kind=WeatherKind.SIMULATED,
            issued_at=issued,
            hours=list(zip(series.at, series.temp_c, strict=True)),
        )
