"""A rack with snakes in it."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from apps.accounts.models import Person
from apps.animals.choices import Origin, Purpose, Sex
from apps.animals.models import Animal, Species
from apps.animals.services import animal_register
from apps.places.models import Rack
from apps.places.services import health_group_add, rack_add, room_add, site_add


@pytest.fixture
def rack(owner: Person, frozen: datetime) -> Rack:
    """Rack B of Room 3: two levels of three tubs, 3B-01 to 3B-06."""
    site = site_add(by=owner, name="Main", address="")
    group = health_group_add(by=owner, name="Breeders")
    room = room_add(by=owner, site=site, name="Room 3", kind="breeding", health_group=group, walk_order=1)
    return rack_add(by=owner, room=room, name="Rack B", levels=2, columns=3, label_prefix="3B", walk_order=1)


def register(owner: Person, code: str, **values: object) -> Animal:
    """A grown ball python female, unless said otherwise."""
    common: dict[str, object] = {
        "species": Species.objects.get(slug="python-regius"),
        "sex": Sex.FEMALE,
        "origin": Origin.ACQUIRED,
        "hatched_on": date(2020, 7, 1),
        "purpose": Purpose.BREEDER,
    }
    return animal_register(by=owner, code=code, **{**common, **values})  # type: ignore[arg-type]


@pytest.fixture
def snakes(knowledge: None, owner: Person, rack: Rack) -> list[Animal]:
    """PR-0001 to PR-0004 in the first four tubs."""
    tubs = list(rack.tubs.order_by("walk_order", "level", "column"))
    return [register(owner, f"PR-{number:04d}", tub=tubs[number - 1]) for number in range(1, 5)]


@pytest.fixture
def snake(snakes: list[Animal]) -> Animal:
    """PR-0001."""
    return snakes[0]
