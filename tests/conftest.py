"""People, clients and a standing clock for every test."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import hypothesis
import pytest
from django.db import connection
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.choices import Role
from apps.accounts.models import Facility, Person, PersonRole
from apps.accounts.selectors import facility_forget, system_person
from apps.core import clock
from config.settings.base import SERVICE_MODE
from tests.rows import written_once
from tests.tables import tables

# sync Playwright keeps an event loop in the thread; Django's guard would refuse the ORM there
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

# how long an example takes is the machine's matter: speed is measured in tests/benchmarks
hypothesis.settings.register_profile("house", deadline=None)
hypothesis.settings.load_profile("house")

MOMENT = datetime(2027, 4, 6, 21, 0, tzinfo=UTC)  # Tuesday 6 April 2027, 17:00 in Kentucky


@pytest.fixture(scope="session")
def migrated(django_db_modify_db_settings: None) -> Iterator[ExitStack]:
    """The file of SQLite's test database, migrated by the first process that asks and copied by the others."""
    with ExitStack() as stack:
        if not SERVICE_MODE:
            stack.enter_context(tables(Path(connection.settings_dict["TEST"]["NAME"])))
        yield stack


@pytest.fixture(scope="session")
def django_db_keepdb(migrated: ExitStack) -> bool:
    """On SQLite the file stands in a folder of this process alone: nothing old is met."""
    return not SERVICE_MODE


@pytest.fixture(scope="session")
def django_db_setup(migrated: ExitStack, django_db_setup: None) -> None:
    """The database stands; the next process may have its copy."""
    migrated.close()


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

    written_once("knowledge", lambda: knowledge_load(by=system))
