"""People, clients and a standing clock for every test."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.choices import Role
from apps.accounts.models import Facility, Person, PersonRole
from apps.accounts.selectors import facility_forget, system_person
from apps.core import clock

# sync Playwright keeps an event loop in the thread; Django's guard would refuse the ORM there
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

MOMENT = datetime(2027, 4, 6, 21, 0, tzinfo=UTC)  # Tuesday 6 April 2027, 17:00 in Kentucky


@pytest.fixture(autouse=True)
def _fresh_settings() -> Iterator[None]:
    facility_forget()
    yield
    facility_forget()


@pytest.fixture
def here(db: None) -> Facility:
    """The facility of the tests."""
    row, _ = Facility.objects.update_or_create(
        pk=1, defaults={"name": "Test House", "time_zone": "America/New_York", "state": "KY", "currency": "USD"}
    )
    facility_forget()
    return row


@pytest.fixture
def frozen(here: Facility) -> Iterator[datetime]:
    """The facility clock stands at 6 April 2027, 17:00."""
    with clock.at(MOMENT):
        yield MOMENT


def person_of(role: Role) -> Person:
    """A person holding one role."""
    person = Person.objects.create_user(f"{role.name.lower()}@example.com", role.name.title(), "a password of tests")
    PersonRole.objects.create(person=person, role=role)
    return person


@pytest.fixture
def system(db: None) -> Person:
    """The author of jobs."""
    return system_person()


@pytest.fixture
def owner(here: Facility) -> Person:
    """An owner."""
    return person_of(Role.OWNER)


@pytest.fixture
def lead(here: Facility) -> Person:
    """A breeding lead."""
    return person_of(Role.BREEDING_LEAD)


@pytest.fixture
def keeper(here: Facility) -> Person:
    """A keeper."""
    return person_of(Role.KEEPER)


@pytest.fixture
def incubation(here: Facility) -> Person:
    """Somebody of the incubation room."""
    return person_of(Role.INCUBATION)


@pytest.fixture
def sales(here: Facility) -> Person:
    """Somebody who sells."""
    return person_of(Role.SALES)


@pytest.fixture
def packer(here: Facility) -> Person:
    """A packer."""
    return person_of(Role.PACKER)


@pytest.fixture
def observer(here: Facility) -> Person:
    """An observer."""
    return person_of(Role.OBSERVER)


@pytest.fixture
def client_as() -> Callable[[Person], Client]:
    """A browser signed in as somebody."""

    def make(person: Person) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return make


@pytest.fixture
def api_as() -> Callable[[Person], APIClient]:
    """An API client signed in as somebody."""

    def make(person: Person) -> APIClient:
        client = APIClient()
        client.force_authenticate(person)
        return client

    return make


@pytest.fixture
def knowledge(system: Person) -> None:
    """Species, their numbers and the trait catalogues are loaded."""
    from apps.animals.services import knowledge_load

    knowledge_load(by=system)
