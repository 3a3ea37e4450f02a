"""A shared tablet: wrong PINs, the lock, and what a device sends by itself."""

from __future__ import annotations

import time
from datetime import timedelta

import pytest
from django.test import Client

from apps.accounts.choices import DeviceKind
from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility_forget
from apps.accounts.services import device_register, pin_set
from apps.accounts.views import SEEN, TABLET_COOKIE
from apps.core import clock

pytestmark = pytest.mark.django_db
PIN = "4711"
QUEUE = "/api/v1/observations/"


@pytest.fixture
def tablet(owner: Person, keeper: Person) -> Client:
    """A tablet in the keeper's hands."""
    pin_set(by=keeper, pin=PIN)
    _, key = device_register(by=owner, name="Barn tablet", kind=DeviceKind.SHARED_TABLET)
    client = Client()
    client.cookies[TABLET_COOKIE] = key
    client.force_login(keeper)
    return client


def test_twenty_wrong_pins_are_answered_in_words_and_open_nothing(tablet: Client, keeper: Person) -> None:
    """Each says what is wrong and what to do; after the fifth the right one waits too, and the password still opens."""
    del tablet.cookies["sessionid"]
    told = []
    for number in range(20):
        answer = tablet.post("/pin/", {"person": keeper.ref, "pin": f"{number:04d}"})
        assert answer.status_code == 400
        told.append(answer.content.decode())
    assert "4 tries are left" in told[0]
    assert all("Too many wrong PINs. Sign in with the password, or wait 15 minutes." in words for words in told[4:])
    assert tablet.post("/pin/", {"person": keeper.ref, "pin": PIN}).status_code == 400
    assert "_auth_user_id" not in tablet.session
    by_password = tablet.post("/sign-in/", {"username": keeper.email, "password": "a password of tests"})
    assert by_password.status_code == 302
    Person.objects.filter(pk=keeper.pk).update(pin_locked_until=clock.real_now() - timedelta(seconds=1))
    assert tablet.post("/pin/", {"person": keeper.ref, "pin": PIN}).status_code == 302


def _left_alone(client: Client, minutes: int) -> None:
    session = client.session
    session[SEEN] = (clock.real_now() - timedelta(minutes=minutes)).timestamp()
    session.save()


def test_a_tablet_left_alone_locks_and_sends_nothing(tablet: Client, keeper: Person) -> None:
    """The queue gets 401 and keeps everything; after the PIN it is sent as the same person."""
    Facility.objects.filter(pk=1).update(idle_lock_minutes=3)
    facility_forget()
    _left_alone(tablet, 4)
    body = {"device_now": clock.real_now().isoformat(), "entries": []}
    assert tablet.post(QUEUE, body, content_type="application/json").status_code == 401
    assert tablet.get("/care/waiting/").headers["Location"].startswith("/pin/")
    assert tablet.post("/pin/", {"person": keeper.ref, "pin": PIN}).status_code == 302
    assert tablet.post(QUEUE, body, content_type="application/json").status_code == 200


def test_what_a_device_sends_by_itself_keeps_no_tablet_open(tablet: Client) -> None:
    """Else an entry that is tried again every minute would keep the tablet open all night."""
    _left_alone(tablet, 2)
    before = tablet.session[SEEN]
    body = {"device_now": clock.real_now().isoformat(), "entries": []}
    assert tablet.post("/api/v1/observations/", body, content_type="application/json").status_code == 200
    assert tablet.session[SEEN] == before
    tablet.get("/care/waiting/")
    assert tablet.session[SEEN] > before


def test_a_page_says_whose_it_is_and_whether_it_locks(tablet: Client, keeper: Person) -> None:
    """The worker of the device keeps pages by that word, and the page locks itself by the other."""
    answer = tablet.get("/care/waiting/")
    assert answer.headers["X-Person"] == keeper.ref
    assert 'data-idle-minutes="5"' in answer.content.decode()
    assert "data-lock-go-on" in answer.content.decode()
    own = Client()
    own.force_login(keeper)
    assert "data-idle-minutes" not in own.get("/care/waiting/").content.decode()
    assert "X-Person" not in Client().get("/sign-in/").headers
    assert "no-cache" in Client().get("/worker.js").headers["Cache-Control"]


def test_without_a_session_a_tablet_asks_for_the_pin_first(tablet: Client, keeper: Person) -> None:
    """Not for a password that nobody types on a tablet; the way to the password is there, and keeps the page."""
    del tablet.cookies["sessionid"]
    answer = tablet.get("/sign-in/?next=/care/")
    assert answer.headers["Location"] == "/pin/?next=%2Fcare%2F"
    page = tablet.get(answer.headers["Location"]).content.decode()
    assert "/sign-in/?password=1&amp;next=/care/" in page
    assert tablet.get("/sign-in/?password=1&next=/care/").status_code == 200
    assert tablet.post("/pin/", {"person": keeper.ref, "pin": PIN, "next": "/care/"}).headers["Location"] == "/care/"


def test_hands_are_changed_from_any_page_of_a_tablet(tablet: Client, keeper: Person) -> None:
    assert 'href="/pin/?next=/care/"' in tablet.get("/care/").content.decode()
    del tablet.cookies[TABLET_COOKIE]
    assert "Change hands" not in tablet.get("/care/").content.decode()


def test_changing_hands_takes_the_server_less_than_a_second(tablet: Client, lead: Person) -> None:
    """Two seconds are for both: the page that asks and the one after the PIN."""
    pin_set(by=lead, pin="2580")
    began = time.perf_counter()
    tablet.get("/pin/?next=/care/")
    assert tablet.post("/pin/", {"person": lead.ref, "pin": "2580", "next": "/care/"}).status_code == 302
    assert tablet.get("/care/").status_code == 200
    assert time.perf_counter() - began < 1
