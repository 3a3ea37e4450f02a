"""A rack of snakes that ate two weeks ago, and two keepers who share a tablet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from apps.accounts.choices import DeviceKind, Role
from apps.accounts.models import Person, PersonRole
from apps.accounts.services import device_register, pin_set
from apps.animals.models import Animal
from apps.care.choices import MealOutcome
from apps.care.services import weight_record
from apps.care.services.meals_bulk import MealItem, meals_record
from apps.core import clock
from apps.places.models import Rack
from tests.browser.conftest import stand_at
from tests.factories.animals import make_female
from tests.factories.places import make_rack
from tests.shipping.test_whole_path import at

TODAY = date(2026, 8, 18)
PINS = {"Ada Brook": "4711", "Ben Hale": "2580"}


@dataclass(frozen=True)
class House:
    """A rack of snakes that ate two weeks ago, and two keepers with a tablet."""

    rack: Rack
    animals: list[Animal]
    ada: Person
    ben: Person
    key: str

    @property
    def offer(self) -> str:
        """Page of the first pass."""
        return f"/care/racks/{self.rack.ref}/offer/"

    @property
    def check(self) -> str:
        """Page of the second pass."""
        return f"/care/racks/{self.rack.ref}/check/"


def keeper(name: str) -> Person:
    """A keeper with a PIN."""
    person = Person.objects.create_user(f"{name.split()[0].lower()}@example.com", name, "a password of tests")
    PersonRole.objects.create(person=person, role=Role.KEEPER)
    pin_set(by=person, pin=PINS[name])
    return person


def furnish(owner: Person, levels: int, columns: int) -> House:
    """The rack, all alike: one food for all, so that the plan's proposal is the same for every tub."""
    stand_at(at(TODAY))
    rack = make_rack(levels=levels, columns=columns)
    with clock.at(at(TODAY - timedelta(days=14))):
        animals = [make_female(tub=tub) for tub in rack.tubs.order_by("walk_order")]
        for animal in animals:
            weight_record(by=owner, animal=animal, mass_g=1650)
        meal = {"prey": "rat", "size": "small", "prey_g": 62.0, "outcome": MealOutcome.ATE}
        meals_record(by=owner, items=[MealItem(animal=one, offered_at=clock.now(), **meal) for one in animals])  # type: ignore[arg-type]
    _, key = device_register(by=owner, name="Barn tablet", kind=DeviceKind.SHARED_TABLET)
    return House(rack, animals, keeper("Ada Brook"), keeper("Ben Hale"), key)
