"""Two people at the same moment, on real PostgreSQL: one wins, the other is told, nothing is doubled."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, connections

from apps.accounts.choices import Role
from apps.accounts.models import Person
from apps.accounts.selectors import system_person
from apps.animals.choices import Sex
from apps.animals.models import Animal, Species
from apps.animals.services import animal_register, knowledge_load
from apps.core.errors import DomainError
from apps.inventory.choices import ReservationState
from apps.inventory.models import Order, Reservation
from apps.inventory.services import offer_reserve, order_make
from apps.jobs.models import Alarm, Delivery
from apps.jobs.services import alarm_raise, delivery_carry
from tests.conftest import person_of
from tests.factories.inventory import make_buyer, make_offer

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def seller(author: Person, frozen: object) -> Person:
    """Somebody who may sell, in a facility that knows its species."""
    knowledge_load(by=author)
    return person_of(Role.SALES)


@pytest.fixture
def registrar(author: Person, frozen: object) -> Person:
    """An owner, in a facility that knows its species."""
    knowledge_load(by=author)
    return person_of(Role.OWNER)


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Results or errors of acts begun in the same moment, each on a connection of its own."""
    gate = threading.Barrier(len(acts))
    found: list[Any] = [None] * len(acts)

    def run(number: int, act: Callable[[], Any]) -> None:
        try:
            gate.wait(20)
            found[number] = act()
        except Exception as error:
            found[number] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return found


def errors(found: list[Any]) -> list[Exception]:
    """Those who were refused, each in the house's own words."""
    wrong = [item for item in found if isinstance(item, Exception)]
    strange = [item for item in wrong if not isinstance(item, DomainError)]
    assert not strange, strange
    return wrong


def test_this_is_postgresql() -> None:
    """A race on SQLite would prove nothing here."""
    assert connection.vendor == "postgresql"


def test_a_create_sent_twice_is_one_create(registrar: Person) -> None:
    """The same request key at the same moment: one animal; whoever is later gets it or is told to look again."""
    species = Species.objects.get(scientific="Python regius")

    def register() -> Animal:
        return animal_register(by=registrar, code="PR-1", species=species, sex=Sex.MALE, request_key="tap-1")

    found = at_once(register, register, register)
    assert Animal.objects.count() == 1
    assert {item.pk for item in found if isinstance(item, Animal)} == {Animal.objects.get().pk}
    errors(found)
    assert register().pk == Animal.objects.get().pk


def test_a_code_is_taken_once(registrar: Person) -> None:
    """Two people type the same code."""
    species = Species.objects.get(scientific="Python regius")
    found = at_once(
        *(lambda key=key: animal_register(by=registrar, code="PR-7", species=species, request_key=key) for key in "ab")
    )
    assert Animal.objects.filter(code="PR-7").count() == 1
    assert len(errors(found)) == 1


def test_one_living_animal_is_sold_once(seller: Person) -> None:
    """Two buyers, one animal, the same second."""
    offer = make_offer(seller)
    buyers = [make_buyer(seller, name=name) for name in ("Ada Linwood", "Ben Carrow")]
    found = at_once(*(lambda buyer=buyer: order_make(by=seller, buyer=buyer, offers=[offer]) for buyer in buyers))
    assert Order.objects.count() == 1
    assert len(errors(found)) == 1
    assert str(errors(found)[0])


def test_one_holds_and_the_other_waits(seller: Person) -> None:
    """Two reservations in the same second."""
    offer = make_offer(seller)
    buyers = [make_buyer(seller, name=name) for name in ("Ada Linwood", "Ben Carrow")]
    found = at_once(*(lambda buyer=buyer: offer_reserve(by=seller, offer=offer, buyer=buyer) for buyer in buyers))
    assert errors(found) == []
    assert sorted(Reservation.objects.values_list("state", flat=True)) == sorted(
        [ReservationState.OPEN, ReservationState.WAITING]
    )


def test_order_numbers_are_never_given_twice(seller: Person) -> None:
    """Four orders at once, four numbers."""
    offers = [make_offer(seller) for _ in range(4)]
    buyer = make_buyer(seller)
    found = at_once(*(lambda offer=offer: order_make(by=seller, buyer=buyer, offers=[offer]) for offer in offers))
    assert errors(found) == []
    assert len(set(Order.objects.values_list("number", flat=True))) == 4


def test_an_alarm_is_raised_once(seller: Person) -> None:
    """Two probes of one incubator, four judgements, one open alarm."""
    system = system_person()

    def ring() -> Alarm | None:
        return alarm_raise(
            by=system, kind="incubator", subject_ref="r1", condition="warm", label="too warm", detail="33.6 °C"
        )

    assert errors(at_once(ring, ring, ring, ring)) == []
    assert Alarm.objects.filter(resolved_at__isnull=True).count() == 1


def test_a_delivery_is_carried_by_one_worker(seller: Person) -> None:
    """Four workers take the same message."""
    alarm_raise(by=system_person(), kind="probe", subject_ref="p1", condition="silent", label="silent", detail="")
    row = Delivery.objects.get(done_at__isnull=True)
    found = at_once(*(lambda: delivery_carry(pk=row.pk) for _ in range(4)))
    assert sorted(found) == [False, False, False, True]
    assert Delivery.objects.get(pk=row.pk).attempts == 1
