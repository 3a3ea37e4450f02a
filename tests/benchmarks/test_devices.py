"""Thirty devices recording at once, and a rack of sixty in one request. On SQLite, or on PostgreSQL with DATABASE_URL.

BROODWRIGHT_DEVICE_SECONDS says how long (120 for the figure in docs/performance.md).
"""

from __future__ import annotations

import os
import random
import statistics
import threading
import time
from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection, connections
from rest_framework.test import APIClient

from apps.accounts.choices import Role
from apps.accounts.models import Facility, Person
from apps.accounts.selectors import SYSTEM_EMAIL
from apps.animals.models import Animal
from apps.animals.services import knowledge_load
from apps.care.models import CareMark, MealCheck, MealOffer, SentEntry
from apps.core import clock
from apps.places.models import Rack
from tests.conftest import person_of
from tests.factories.animals import make_female
from tests.factories.places import make_rack

pytestmark = [pytest.mark.benchmark_suite, pytest.mark.django_db(transaction=True)]
DEVICES = 30
SECONDS = float(os.environ.get("BROODWRIGHT_DEVICE_SECONDS", "10"))
KINDS = ("water", "cleaned", "droppings")


@pytest.fixture
def rack() -> Rack:
    """A rack of sixty, in a house that knows its species."""
    Facility.objects.update_or_create(pk=1, defaults={"name": "Test House", "time_zone": "America/New_York"})
    by, _ = Person.objects.get_or_create(email=SYSTEM_EMAIL, defaults={"name": "Broodwright", "is_system": True})
    knowledge_load(by=by)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA journal_mode=WAL")
    made = make_rack(levels=20, columns=3)
    for tub in made.tubs.order_by("walk_order", "pk"):
        make_female(tub=tub)
    return made


def entry(by: Person, name: str, subject: str, **fields: list[str]) -> dict[str, object]:
    """As a device sends it."""
    seen = (clock.real_now() - timedelta(minutes=10)).isoformat()
    common = {"client_id": str(uuid4()), "name": name, "subject": subject, "person": by.ref, "observed_at": seen}
    return {**common, "fields": fields}


def post(client: APIClient, *entries: dict[str, object]) -> list[str]:
    """What became of each."""
    answer = client.post("/api/v1/observations/", {"device_now": clock.real_now().isoformat(), "entries": entries})
    assert answer.status_code == 200, answer.content
    return [one["answer"] for one in answer.json()["entries"]]


def signed_in(by: Person) -> APIClient:
    """A program of this person."""
    client = APIClient()
    client.force_authenticate(by)
    return client


def test_thirty_devices_at_once(rack: Rack) -> None:
    """No lock error, no lost write: what was answered "written" is there, once, and nothing else."""
    people = [
        Person.objects.create_user(f"{n}@example.com", f"Keeper {n}", "a password of tests") for n in range(DEVICES)
    ]
    for person in people:
        person.held_roles.create(role=Role.KEEPER)
    refs = list(Animal.objects.values_list("ref", flat=True))
    written: list[str] = []
    wrong: list[str] = []
    times: list[float] = []
    until = time.monotonic() + SECONDS

    def device(number: int) -> None:
        chance, client = random.Random(number), signed_in(people[number])
        try:
            while time.monotonic() < until:
                one = entry(people[number], "mark", chance.choice(refs), kind=[chance.choice(KINDS)])
                began = time.perf_counter()
                # one in ten is sent twice, as after an answer that got lost
                said = post(client, *([one, one] if chance.random() < 0.1 else [one]))
                times.append(time.perf_counter() - began)
                if said[0] == "written" and set(said[1:]) <= {"again"}:
                    written.append(str(one["client_id"]))
                else:
                    wrong.append(str(said))
        except Exception as error:
            wrong.append(repr(error))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=device, args=(n,)) for n in range(DEVICES)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert len(written) > DEVICES
    assert {str(one) for one in CareMark.objects.values_list("client_id", flat=True)} == set(written)
    assert CareMark.objects.count() == SentEntry.objects.count() == len(written)
    times.sort()
    print(  # noqa: T201
        f"\n{connection.vendor}: {DEVICES} devices for {SECONDS:.0f} s: {len(written):,} entries, "
        f"{len(written) / SECONDS:.0f} a second; median {statistics.median(times) * 1000:.0f} ms, "
        f"p95 {times[int(len(times) * 0.95)] * 1000:.0f} ms, longest {times[-1] * 1000:.0f} ms"
    )


def timed(act: Callable[[], list[str]]) -> float:
    """Milliseconds of CPU-and-waiting of one request that wrote."""
    began = time.perf_counter()
    said = act()
    took = (time.perf_counter() - began) * 1000
    assert said == ["written"]
    return took


def test_a_rack_of_sixty_in_one_request(rack: Rack) -> None:
    """Offered and checked; the ratio to writing one mark in the same run is held, the milliseconds are printed."""
    by = person_of(Role.KEEPER)
    client, refs = signed_in(by), list(Animal.objects.values_list("ref", flat=True))
    marks = [timed(lambda: post(client, entry(by, "mark", refs[0], kind=["water"]))) for _ in range(5)]
    ids = [f"{ref}:{uuid4()}" for ref in refs]
    food = {"prey": ["rat"], "size": ["small"], "count": ["1"], "presentation": ["thawed"]}
    offer = timed(lambda: post(client, entry(by, "rack-offer", rack.ref, shown=refs, offer_id=ids, **food)))
    names = [pair.split(":")[1] for pair in ids]
    check = timed(lambda: post(client, entry(by, "rack-check", rack.ref, shown=names, left=names[:6])))
    assert (MealOffer.objects.count(), MealCheck.objects.count()) == (60, 60)
    one = statistics.median(marks)
    print(f"\n{connection.vendor}: one mark {one:.1f} ms, sixty offered {offer:.0f} ms, checked {check:.0f} ms")  # noqa: T201
    assert offer < 60 * one
    assert check < 120 * one
