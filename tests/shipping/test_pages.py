"""Pages of shipping: the board, planning, the parcel's page and its acts; who sees a buyer; what nobody may release."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.core import clock
from apps.documents.models import Document
from apps.shipping.choices import ParcelState
from apps.shipping.models import ArrivalReport, Parcel, ParcelRelease
from apps.shipping.pages.verdicts import chance_words
from apps.shipping.services import parcel_windows_refresh
from tests.factories.inventory import make_order
from tests.factories.shipping import NEW_YORK, make_parcel, make_weather, settle_facility, weighed

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ClientAs = Callable[[Person], Client]
WEDNESDAY, THURSDAY = date(2027, 4, 7), date(2027, 4, 8)


def judged(owner: Person, *, base_c: float = 23.0, **values: Any) -> Parcel:
    """A parcel whose week is judged against a forecast."""
    parcel = make_parcel(owner, **values)
    make_weather(owner, parcel, base_c)
    parcel_windows_refresh(by=owner, parcel=parcel)
    return parcel


def test_a_parcel_from_plan_to_arrival_in_the_browser(owner: Person, packer: Person, client_as: ClientAs) -> None:
    """Plan, judge, book, print, pack, hand over, arrive: each by its form, by a packer; a double tap acts once."""
    settle_facility()
    order = make_order(owner)
    animal = weighed(owner, order)[0]
    client = client_as(packer)
    assert order.ref in client.get("/shipping/").content.decode(), "sold animals are on the pull list"
    plan = {
        "animals": animal.ref,
        "city": "Minneapolis",
        "state": "mn",
        "county": "Hennepin",
        "postcode": "55401",
        "country": "US",
        "name": "Depot counter",
        "request_key": "plan-1",
    }
    for _ in range(2):
        assert client.post(f"/shipping/plan/?order={order.ref}", plan).status_code == 302
    parcel = Parcel.objects.get()
    assert (parcel.counter_state, parcel.counter_zone) == ("MN", "America/Chicago")
    page = f"/shipping/{parcel.ref}/"
    text = client.get(page).content.decode()
    assert "not judged yet" in text
    assert "Book a go day" in text
    make_weather(owner, parcel)
    assert client.post(page + "judge/").status_code == 302
    text = client.get(page).content.decode()
    assert "earliest go day" in text
    assert "50 CFR 14.81" in text, "the law's reason carries its citation"
    assert "Predicted temperature" in text
    for _ in range(2):
        assert client.post(page + "book/", {"day": "2027-04-07", "request_key": "book-1"}).status_code == 302
    parcel.refresh_from_db()
    assert (parcel.state, parcel.ship_on) == (ParcelState.BOOKED, WEDNESDAY)
    assert client.post(page + "print/").status_code == 302
    text = client.get(page).content.decode()
    assert "packing slip" in text
    assert f"/documents/{Document.objects.filter(kind='packing slip').get().ref}/" in text
    early = client.post(page + "pack/", follow=True).content.decode()
    assert "is booked for 2027-04-07" in early
    with clock.at(clock.now() + timedelta(hours=16)):
        make_weather(owner, parcel)
        assert "Packed and closed" in client.get(page).content.decode()
        client.post(page + "pack/")
        client.post(page + "hand-over/", {"tracking": "TRK 1"})
    animal.refresh_from_db()
    assert animal.status == Status.SOLD
    with clock.at(clock.now() + timedelta(hours=40)):
        report = {"arrived_at": "2027-04-08T08:30", "alive": "1", "dead": "1", "inside_c": "24,5", "told_by": "Ada"}
        wrong = client.post(page + "arrive/", report)
        assert wrong.status_code == 400
        assert "alive and dead together must be 1" in wrong.content.decode()
        assert 'value="24,5"' in wrong.content.decode()
        for _ in range(2):
            again = client.post(page + "arrive/", {**report, "dead": "0", "request_key": "arrive-1"})
            assert again.status_code == 302
        assert "24.5 °C" in client.get("/shipping/past/").content.decode()
    assert ArrivalReport.objects.get().inside_c == 24.5


def test_no_day_is_go_without_the_engine(owner: Person, packer: Person, client_as: ClientAs) -> None:
    """Without weather a day needs review, says why, and cannot be booked or released."""
    parcel = make_parcel(owner)
    parcel_windows_refresh(by=owner, parcel=parcel)
    page = f"/shipping/{parcel.ref}/"
    text = client_as(packer).get(page).content.decode()
    assert "needs review" in text
    assert "There is no weather for the origin." in text
    assert "No coming day is go" in text
    board = client_as(packer).get("/shipping/").content.decode()
    assert "There is no weather for the origin." in board
    refused = client_as(packer).post(page + "book/", {"day": "2027-04-07"})
    assert refused.status_code == 400
    assert "There is no weather for the origin." in refused.content.decode()
    parcel.refresh_from_db()
    assert parcel.state == ParcelState.PLANNED


def test_a_marginal_day_is_released_by_name(owner: Person, lead: Person, packer: Person, client_as: ClientAs) -> None:
    """The lead may, a packer may not; the reason is a sentence and stands on the page."""
    parcel = judged(owner)
    page = f"/shipping/{parcel.ref}/"
    assert "Release on your name" not in client_as(packer).get(page).content.decode()
    assert "Thu 8 Apr, marginal" in client_as(lead).get(page).content.decode()
    body = {"day": "2027-04-08", "reason": "The counter holds it on Saturday too."}
    assert client_as(packer).post(page + "release/", body).status_code == 403
    short = client_as(lead).post(page + "release/", {**body, "reason": "fine"})
    assert short.status_code == 400
    assert "Say why in a sentence" in short.content.decode()
    assert client_as(lead).post(page + "release/", body).status_code == 302
    parcel.refresh_from_db()
    assert (parcel.state, parcel.ship_on) == (ParcelState.RELEASED, THURSDAY)
    assert "The counter holds it on Saturday too." in client_as(packer).get(page).content.decode()


def test_a_block_by_law_takes_an_owner_and_a_permit(owner: Person, lead: Person, client_as: ClientAs) -> None:
    """New York City bars the species: no go on any day; an owner releases with the permit, which is kept."""
    parcel = judged(owner, counter=NEW_YORK)
    page = f"/shipping/{parcel.ref}/"
    board = client_as(owner).get("/shipping/").content.decode()
    assert "no-go on every day" in board
    assert "cannot go" in board
    assert "five boroughs" in board
    body = {"day": "2027-04-07", "reason": "The city's health department permits it."}
    assert client_as(lead).post(page + "release/", body).status_code == 400
    bare = client_as(owner).post(page + "release/", body)
    assert "needs the permit as a document" in bare.content.decode()
    odd = SimpleUploadedFile("permit.exe", b"MZ odd")
    assert "no PDF, JPEG or PNG" in client_as(owner).post(page + "release/", {**body, "permit": odd}).content.decode()
    assert not Document.objects.filter(kind="permit").exists()
    good = SimpleUploadedFile("permit.pdf", b"%PDF-1.7 a permit")
    assert client_as(owner).post(page + "release/", {**body, "permit": good}).status_code == 302
    permit = ParcelRelease.objects.get().permit
    assert permit is not None
    assert permit.mime == "application/pdf"
    client_as(owner).post(page + "hold/", {"reason": "the buyer is away"})
    permit.refresh_from_db()
    assert permit.voided_at is None, "papers of the day are void, the permit is not"


def test_nobody_releases_cold(owner: Person, client_as: ClientAs) -> None:
    """A day that would harm the animal is released by no one, permit or not."""
    parcel = judged(owner, base_c=-15.0)
    page = f"/shipping/{parcel.ref}/"
    permit = SimpleUploadedFile("permit.pdf", b"%PDF-1.7 a permit")
    body = {"day": "2027-04-07", "reason": "The buyer insists on this day.", "permit": permit}
    refused = client_as(owner).post(page + "release/", body)
    assert refused.status_code == 400
    assert "Nobody can release this" in refused.content.decode()
    assert not ParcelRelease.objects.exists()
    assert not Document.objects.filter(kind="permit").exists(), "a permit of a refused release is not kept"


def test_the_buyer_is_hidden_from_those_who_may_not_see_buyers(
    owner: Person, keeper: Person, observer: Person, packer: Person, lead: Person, client_as: ClientAs
) -> None:
    """Everybody reads windows and contents; name, telephone and papers are for sales, packers and the lead."""
    parcel = judged(owner)
    page = f"/shipping/{parcel.ref}/"
    for person in (keeper, observer):
        for path in ("/shipping/", page, "/shipping/past/"):
            answer = client_as(person).get(path)
            assert answer.status_code == 200
            for secret in ("Ada Linwood", "555-0177", "200 Depot Road"):
                assert secret not in answer.content.decode(), (person, path)
        assert client_as(person).post(page + "cancel/", {"reason": "no"}).status_code == 403
        assert client_as(person).get("/shipping/plan/").status_code == 403
    for person in (packer, lead):
        assert "Ada Linwood" in client_as(person).get(page).content.decode()


def test_bad_plans_keep_what_was_typed(owner: Person, packer: Person, client_as: ClientAs) -> None:
    """Missing animals and an unknown clock are named; the address stays."""
    settle_facility()
    order = make_order(owner)
    client = client_as(packer)
    body = {"city": "Toronto", "state": "Ontario", "postcode": "M5H", "country": "CA"}
    answer = client.post(f"/shipping/plan/?order={order.ref}", body)
    assert answer.status_code == 400
    text = answer.content.decode()
    assert "No clock is known for “Ontario”" in text
    assert 'value="Toronto"' in text
    assert not Parcel.objects.exists()


def test_hold_unbook_and_cancel(owner: Person, packer: Person, client_as: ClientAs) -> None:
    """Each asks for what it needs; a cancelled parcel's animals go back to the pull list."""
    parcel = judged(owner)
    page = f"/shipping/{parcel.ref}/"
    client = client_as(packer)
    client.post(page + "book/", {"day": "2027-04-07"})
    assert client.post(page + "hold/", {"reason": ""}).status_code == 400
    client.post(page + "hold/", {"reason": "the buyer is away"})
    parcel.refresh_from_db()
    assert parcel.state == ParcelState.HELD
    client.post(page + "unbook/")
    parcel.refresh_from_db()
    assert (parcel.state, parcel.ship_on) == (ParcelState.PLANNED, None)
    client.post(page + "cancel/", {"reason": "sold at a show"})
    assert "Plan a parcel" in client.get("/shipping/").content.decode()
    assert client.get(page).status_code == 200
    assert "cancelled" in client.get("/shipping/past/").content.decode()
    own = client.get(f"/shipping/past/?order={parcel.order.ref}").content.decode()
    assert f"Parcels of order {parcel.order.number}" in own
    assert f"/shipping/{parcel.ref}/" in own


def test_the_board_takes_a_fixed_number_of_queries(
    owner: Person, client_as: ClientAs, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    """More parcels, not more questions to the database."""
    client = client_as(owner)
    counts = []
    client.get("/shipping/")  # what a process asks once is not counted
    for more in (1, 3):
        for _ in range(more):
            judged(owner)
            make_order(owner)
        with django_assert_max_num_queries(60) as seen:
            assert client.get("/shipping/").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1], counts


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (None, ""),
        (0.0, "under 5 %"),
        (0.024, "under 5 %"),
        (0.025, "under 5 %"),
        (0.975, "over 95 %"),
        (0.62, "60 %"),
        (0.919, "90 %"),
        (1.0, "over 95 %"),
    ],
)
def test_a_chance_is_given_to_5_percent(probability: float | None, words: str) -> None:
    """A hundred draws carry no more."""
    assert chance_words(probability) == words
