"""The machinery of every write: right, transaction, request key, audit."""

from __future__ import annotations

import threading

import pytest
from django.db import connection

from apps.accounts.choices import Permission, Role
from apps.accounts.errors import LastOwner, PinLocked, PinWrong
from apps.accounts.models import AuditRow, Facility, Person, RequestKey
from apps.accounts.services import audit_write, facility_set, person_add, person_roles_set, pin_set, pin_switch, service
from apps.accounts.services.people import PIN_TRIES
from apps.core.errors import Duplicate, Invalid, NotAllowed, RequestKeyReused

GOOD = "a long password"


def add(by: Person, email: str = "new@example.com", key: str | None = None) -> Person:
    """Somebody new."""
    return person_add(by=by, email=email, name="New", roles=[Role.KEEPER], password=GOOD, request_key=key)


def test_a_repeat_gets_the_first_result(owner: Person) -> None:
    """A double tap writes once and both taps get the same answer."""
    first = add(owner, key="one")
    assert add(owner, key="one") == first
    assert Person.objects.filter(email="new@example.com").count() == 1
    assert AuditRow.objects.filter(act="person.add").count() == 1


def test_a_key_with_other_input_is_refused(owner: Person) -> None:
    """Otherwise the second entry would vanish without a word."""
    add(owner, key="one")
    with pytest.raises(RequestKeyReused):
        add(owner, email="other@example.com", key="one")


def test_a_failed_act_leaves_neither_rows_nor_key(owner: Person) -> None:
    """The mended entry may use the same key."""
    with pytest.raises(Invalid) as caught:
        add(owner, email="not an address", key="one")
    assert caught.value.field == "email"
    assert not RequestKey.objects.exists()
    assert add(owner, key="one").email == "new@example.com"


def test_the_right_is_checked_in_the_service(keeper: Person) -> None:
    """Whoever calls: page, API, job or importer."""
    with pytest.raises(NotAllowed):
        add(keeper)


def test_same_email_twice(owner: Person) -> None:
    """Case does not make it another address."""
    add(owner)
    with pytest.raises(Duplicate):
        add(owner, email="NEW@example.com")


def test_a_service_must_return_what_a_repeat_can_give_back(owner: Person) -> None:
    """A plain value would be lost on the second call."""

    @service("tests.number")
    def number_make(*, by: Person, request_key: str | None = None) -> int:
        return 7

    with pytest.raises(TypeError):
        number_make(by=owner, request_key="k")


@pytest.mark.django_db(transaction=True)
def test_two_at_once_with_one_key_act_once() -> None:
    """Two threads, one key: one acts, the other gets its result."""
    from tests.conftest import person_of

    Facility.objects.get_or_create(pk=1)
    owner = person_of(Role.OWNER)
    ran: list[int] = []
    results: list[Person] = []

    @service("tests.slow")
    def thing_make(*, by: Person, request_key: str | None = None) -> Person:
        ran.append(1)
        audit_write(by=by, act="tests.slow", subject=by)
        return by

    def work() -> None:
        try:
            results.append(thing_make(by=owner, request_key="same"))
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert AuditRow.objects.filter(act="tests.slow").count() == 1
    assert len(results) == 4


def test_the_last_owner_stays(owner: Person) -> None:
    """A facility without an owner could never be mended from inside."""
    with pytest.raises(LastOwner):
        person_roles_set(by=owner, person=owner, roles=[Role.KEEPER])
    second = person_add(by=owner, email="second@example.com", name="Second", roles=[Role.OWNER], password=GOOD)
    assert person_roles_set(by=second, person=owner, roles=[Role.KEEPER]).roles == {Role.KEEPER}


def test_pin_locks_after_five_wrong_ones(keeper: Person) -> None:
    """And a right one in between starts the count anew."""
    keeper = pin_set(by=keeper, pin="4711")
    with pytest.raises(PinWrong):
        pin_switch(person=keeper, pin="0000")
    assert pin_switch(person=keeper, pin="4711") == keeper
    keeper.refresh_from_db()
    assert keeper.pin_failures == 0
    for _ in range(PIN_TRIES - 1):
        with pytest.raises(PinWrong):
            pin_switch(person=keeper, pin="0000")
    with pytest.raises(PinLocked):
        pin_switch(person=keeper, pin="0000")
    keeper.refresh_from_db()
    with pytest.raises(PinLocked):
        pin_switch(person=keeper, pin="4711")


@pytest.mark.parametrize("pin", ["12", "1111", "abcd", "123456789"])
def test_weak_pins_are_refused(keeper: Person, pin: str) -> None:
    """Length, digits, not all the same."""
    with pytest.raises(Invalid):
        pin_set(by=keeper, pin=pin)


def test_settings_name_the_field_that_is_wrong(owner: Person, keeper: Person) -> None:
    """And only owners change them."""
    with pytest.raises(Invalid) as caught:
        facility_set(by=owner, values={"time_zone": "Kentucky"})
    assert caught.value.field == "time_zone"
    with pytest.raises(NotAllowed):
        facility_set(by=keeper, values={"name": "Mine"})
    assert facility_set(by=owner, values={"name": "Ours"}).name == "Ours"


def test_every_permission_has_a_description_and_an_owner() -> None:
    """The owner reads them in words, and may do everything."""
    assert all(permission.description for permission in Permission)
    assert Role.OWNER.permissions == frozenset(Permission)


def test_observers_see_no_money() -> None:
    """vocabulary: reads; no buyers, no money."""
    assert Permission.MONEY_READ not in Role.OBSERVER.permissions
