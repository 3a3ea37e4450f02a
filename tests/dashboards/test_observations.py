"""Entries of a device: written once, kept for a decision where the world moved on, or refused in words."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.choices import Role
from apps.accounts.models import AuditRow, Person, PersonRole
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_move, animal_status_set
from apps.care.models import CareMark, KeptEntry, MealCheck, MealOffer, Photo, SentEntry, Weight
from apps.core import clock
from apps.documents.models import Document
from apps.places.models import Rack
from tests.factories.care import photograph
from tests.factories.places import make_rack

pytestmark = pytest.mark.django_db
ApiAs = Callable[[Person], APIClient]


def entry(by: Person, name: str, subject: str, ago_s: float = 600, **fields: Any) -> dict[str, Any]:
    """One entry as the device keeps it."""
    own: dict[str, Any] = {
        key: fields.pop(key) for key in ("place", "client_id", "observed_at", "photo") if key in fields
    }
    values = {
        key: [str(one) for one in (value if isinstance(value, list) else [value])] for key, value in fields.items()
    }
    seen = clock.real_now() - timedelta(seconds=ago_s)
    return {
        "client_id": str(uuid4()),
        "name": name,
        "subject": subject,
        "person": by.ref,
        "observed_at": seen.isoformat(),
        "fields": values,
        **own,
    }


def send(client: APIClient, *entries: dict[str, Any], ahead_s: float = 0) -> list[dict[str, Any]]:
    """What the server says of each."""
    now = clock.real_now() + timedelta(seconds=ahead_s)
    answer = client.post("/api/v1/observations/", {"device_now": now.isoformat(), "entries": list(entries)})
    assert answer.status_code == 200, answer.json()
    return list(answer.json()["entries"])


def offer_rack(by: Person, rack: Rack, animals: list[Animal], **more: Any) -> dict[str, Any]:
    """The whole rack offered; each offer has the id of the device."""
    ids = [f"{animal.ref}:{uuid4()}" for animal in animals]
    food: dict[str, Any] = {"prey": "rat", "size": "small", "count": 1, "presentation": "thawed"}
    return entry(by, "rack-offer", rack.ref, shown=[a.ref for a in animals], offer_id=ids, **food, **more)


def test_an_entry_is_written_once_however_often_it_comes(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    client, one = api_as(keeper), entry(keeper, "mark", snake.ref, kind="water")
    assert [a["answer"] for a in send(client, one)] == ["written"]
    assert [a["answer"] for a in send(client, one, one)] == ["again", "again"]
    mark = CareMark.objects.get()
    assert str(mark.client_id) == one["client_id"]
    assert abs((clock.now() - mark.observed_at).total_seconds() - 600) < 5


def test_offer_and_check_of_a_rack_both_made_without_the_link(
    api_as: ApiAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    """The check names the ids that the device gave the offers; both come in one sending."""
    offered = offer_rack(keeper, rack, snakes, ago_s=7200, skip=[snakes[3].ref])
    names = [pair.split(":")[1] for pair in offered["fields"]["offer_id"][:3]]
    checked = entry(keeper, "rack-check", rack.ref, shown=names, left=[names[1]])
    first, second = send(api_as(keeper), offered, checked)
    assert first["words"] == "Rack B: offered to 3, skipped 1. Check later what they ate."
    assert second["words"] == "Rack B: 2 ate and 1 left."
    assert {str(offer.client_id) for offer in MealOffer.objects.all()} == set(names)
    assert sorted(MealCheck.objects.values_list("outcome", flat=True)) == ["ate", "ate", "left"]
    assert [a["answer"] for a in send(api_as(keeper), offered, checked)] == ["again", "again"]
    assert MealOffer.objects.count() == 3


def test_a_check_that_comes_before_its_offer_waits(
    api_as: ApiAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    offered = offer_rack(keeper, rack, snakes[:1], ago_s=7200)
    check = entry(keeper, "rack-check", rack.ref, shown=[offered["fields"]["offer_id"][0].split(":")[1]])
    early = send(api_as(keeper), check)[0]
    assert early["answer"] == "refused"
    assert "has not come" in early["words"]
    assert [a["answer"] for a in send(api_as(keeper), offered, check)] == ["written", "written"]


@pytest.mark.parametrize("what", ["dead", "sold", "moved"])
def test_an_entry_for_an_animal_that_is_not_there_is_kept(
    api_as: ApiAs, keeper: Person, owner: Person, rack: Rack, snakes: list[Animal], what: str
) -> None:
    """The rest of the rack is written; the one waits for somebody who knows, and can then be recorded or discarded."""
    gone = snakes[0]
    one = offer_rack(keeper, rack, snakes)
    if what == "moved":
        animal_move(by=owner, animal=gone, tub=make_rack(room=rack.room, prefix="9A").tubs.order_by("pk")[0])
    else:
        Animal.objects.filter(pk=gone.pk).update(status=Status(what), status_since=clock.today(), tub=None)
    answer = send(api_as(keeper), one)[0]
    assert answer["answer"] == "kept"
    assert "offered to 3" in answer["words"]
    kept = KeptEntry.objects.get()
    assert gone.code in kept.words
    assert MealOffer.objects.count() == 3
    assert send(api_as(keeper), one)[0]["answer"] == "kept"
    path = f"/api/v1/kept-entries/{kept.ref}/"
    assert api_as(keeper).post(f"{path}record/", {"note": ""}).status_code == 400
    assert api_as(keeper).post(f"{path}record/", {"note": "it was fed before it left"}).status_code == 200
    offer = MealOffer.objects.get(animal=gone)
    assert (offer.by_id, offer.observed_at) == (keeper.pk, kept.sent.observed_at)
    assert api_as(owner).post(f"{path}discard/", {"note": "no"}).status_code == 409
    assert AuditRow.objects.filter(act="kept-entry.recorded").count() == 1


def in_text(content: bytes) -> str:
    """A file as an entry carries it."""
    return b64encode(content).decode()


def test_a_photograph_waits_like_any_entry(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    """Written once, as seen; the same id with another picture is another entry."""
    one = entry(keeper, "photo", snake.ref, caption="left flank", photo=in_text(photograph()))
    assert [send(api_as(keeper), one)[0]["answer"] for _ in range(2)] == ["written", "again"]
    photo = Photo.objects.get()
    assert (photo.animal, photo.caption, photo.document.mime) == (snake, "left flank", "image/jpeg")
    assert timedelta(seconds=590) < photo.recorded_at - photo.observed_at < timedelta(seconds=630)
    other = one | {"photo": in_text(photograph(50))}
    assert send(api_as(keeper), other)[0]["answer"] == "refused"
    assert Photo.objects.count() == 1


@pytest.mark.parametrize(
    ("photo", "words"),
    [
        ("", "The photograph itself is missing"),
        ("not base64!", "did not arrive whole"),
        (b64encode(b"%PDF-1.7").decode(), "not a photograph that can be read"),
    ],
)
def test_a_photograph_that_is_none_is_refused_in_words(
    api_as: ApiAs, keeper: Person, snake: Animal, photo: str, words: str
) -> None:
    """And nothing of it is kept."""
    answer = send(api_as(keeper), entry(keeper, "photo", snake.ref, photo=photo))[0]
    assert (answer["answer"], answer["field"]) == ("refused", "photo")
    assert words in answer["words"]
    assert not SentEntry.objects.exists()
    assert not Document.objects.exists()


def test_a_photograph_of_an_animal_that_left_is_kept_with_its_pixels(
    api_as: ApiAs, keeper: Person, owner: Person, snake: Animal, client_as: Callable[[Person], Client]
) -> None:
    """Shown to who decides, and recorded as it was seen."""
    assert snake.tub is not None
    place = snake.tub.ref
    animal_move(by=owner, animal=snake, tub=make_rack(room=snake.tub.rack.room, prefix="9A").tubs.order_by("pk")[0])
    one = entry(keeper, "photo", snake.ref, place=place, caption="tail", photo=in_text(photograph()))
    assert send(api_as(keeper), one)[0]["answer"] == "kept"
    kept, document = KeptEntry.objects.get(), Document.objects.get()
    assert f"/documents/{document.ref}/" in client_as(keeper).get("/care/kept/").content.decode()
    assert not Photo.objects.exists()
    path = f"/api/v1/kept-entries/{kept.ref}/record/"
    assert api_as(keeper).post(path, {"note": "taken before the move"}).status_code == 200
    photo = Photo.objects.get()
    assert (photo.animal, photo.document, photo.observed_at) == (snake, document, kept.sent.observed_at)
    assert photo.caption == "tail"


def test_a_kept_entry_of_somebody_else_is_for_the_lead(
    api_as: ApiAs, keeper: Person, lead: Person, snake: Animal
) -> None:
    Animal.objects.filter(pk=snake.pk).update(status=Status.DEAD, status_since=clock.today())
    assert send(api_as(keeper), entry(keeper, "weight", snake.ref, mass_g="1743"))[0]["answer"] == "kept"
    path = f"/api/v1/kept-entries/{KeptEntry.objects.get().ref}/discard/"
    other = Person.objects.create_user("other@example.com", "Other", "a password of tests")
    PersonRole.objects.create(person=other, role=Role.KEEPER)
    assert api_as(other).post(path, {"note": "mine?"}).status_code == 403
    assert api_as(lead).post(path, {"note": "weighed after death"}).json()["decision"] == "discarded"
    assert Weight.objects.count() == 0


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("-5", "number of grams"),
        ("0", "above 0 g"),
        ("12,5 kg", "outside what the species"),
        ("99999", "outside what the species"),
    ],
)
def test_what_cannot_be_is_refused_with_its_words_and_can_be_mended(
    api_as: ApiAs, keeper: Person, snake: Animal, typed: str, words: str
) -> None:
    client, one = api_as(keeper), entry(keeper, "weight", snake.ref, mass_g=typed)
    answer = send(client, one)[0]
    assert (answer["answer"], answer["field"]) == ("refused", "mass_g")
    assert words in answer["words"]
    assert not Weight.objects.exists()
    assert not SentEntry.objects.exists()
    one["fields"]["mass_g"] = ["1743"]
    assert send(client, one)[0]["answer"] == "written"


def test_one_wrong_entry_keeps_no_other_back(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    answers = send(
        api_as(keeper),
        entry(keeper, "mark", snake.ref, kind="water"),
        entry(keeper, "weight", snake.ref, mass_g="-5"),
        entry(keeper, "mark", "zzzzzzzzzz", kind="water"),
        entry(keeper, "dance", snake.ref),
        entry(keeper, "mark", snake.ref, kind="cleaned"),
    )
    assert [a["answer"] for a in answers] == ["written", "refused", "refused", "refused", "written"]
    assert "another site" in answers[2]["words"]


@pytest.mark.parametrize("ahead_s", [86_400, -86_400, 7 * 86_400])
def test_a_device_a_day_off_does_no_harm(api_as: ApiAs, keeper: Person, snake: Animal, ahead_s: int) -> None:
    """Its entry is as old as its own clock says; how wrong the clock is stands in the audit and with the entry."""
    one = entry(keeper, "mark", snake.ref, kind="water", ago_s=600 - ahead_s)
    assert send(api_as(keeper), one, ahead_s=ahead_s)[0]["answer"] == "written"
    assert abs((clock.now() - CareMark.objects.get().observed_at).total_seconds() - 600) < 5
    assert abs(SentEntry.objects.get().skew_s - ahead_s) < 5
    assert AuditRow.objects.filter(act="device.clock-wrong").count() == 1


def test_a_clock_changed_in_between_is_asked_about(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    answer = send(api_as(keeper), entry(keeper, "mark", snake.ref, ago_s=400 * 86_400, kind="water"))[0]
    assert (answer["answer"], answer["field"]) == ("refused", "observed_at")
    assert "400 days ago" in answer["words"]
    ahead = entry(keeper, "mark", snake.ref, ago_s=-3600, kind="water")
    assert send(api_as(keeper), ahead)[0]["answer"] == "written"
    assert CareMark.objects.get().observed_at <= clock.now()


def test_two_people_one_rack_one_fate(
    api_as: ApiAs, keeper: Person, lead: Person, rack: Rack, snakes: list[Animal]
) -> None:
    """The later one is told who said what; where they agree nothing more is asked."""
    offered = offer_rack(keeper, rack, snakes, ago_s=7200)
    send(api_as(keeper), offered)
    names = [pair.split(":")[1] for pair in offered["fields"]["offer_id"]]
    first = send(api_as(keeper), entry(keeper, "rack-check", rack.ref, shown=names, left=names[:1]))[0]
    second = send(api_as(lead), entry(lead, "rack-check", rack.ref, shown=names, left=names[1:2]))[0]
    assert (first["answer"], second["answer"]) == ("written", "kept")
    assert MealCheck.objects.count() == 4
    assert {kept.animal_id for kept in KeptEntry.objects.all()} == {snakes[0].pk, snakes[1].pk}
    assert all("A meal has one fate" in kept.words for kept in KeptEntry.objects.all())
    third = send(api_as(lead), entry(lead, "rack-check", rack.ref, shown=names, left=names[:1]))[0]
    assert third["answer"] == "refused"
    assert "Nothing was recorded twice" in third["words"]


def test_a_page_left_open_offers_nothing_twice(api_as: ApiAs, keeper: Person, rack: Rack, snakes: list[Animal]) -> None:
    send(api_as(keeper), offer_rack(keeper, rack, snakes))
    answer = send(api_as(keeper), offer_rack(keeper, rack, snakes))[0]
    assert answer["answer"] == "refused"
    assert "Nothing was recorded twice" in answer["words"]
    assert MealOffer.objects.count() == 4


def test_nobody_sends_for_somebody_else(api_as: ApiAs, keeper: Person, lead: Person, snake: Animal) -> None:
    one = entry(keeper, "mark", snake.ref, kind="water")
    assert send(api_as(lead), one)[0]["answer"] == "another-person"
    assert not SentEntry.objects.exists()
    assert send(api_as(keeper), one)[0]["answer"] == "written"
    assert CareMark.objects.get().by_id == keeper.pk
    # the id of an entry is not a way to somebody else's either
    assert send(api_as(lead), {**one, "person": lead.ref})[0]["answer"] == "refused"


def test_a_hold_refuses_what_is_about_to_be_done_and_keeps_what_happened(
    api_as: ApiAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    """As on the page: a weighing within 48 hours of a meal is refused now, and recorded when it happened earlier."""
    send(api_as(keeper), offer_rack(keeper, rack, snakes[:1], ago_s=3600))
    now = send(api_as(keeper), entry(keeper, "weight", snakes[0].ref, mass_g="1743", ago_s=1))[0]
    assert (now["answer"], now["code"]) == ("refused", "held")
    assert send(api_as(keeper), entry(keeper, "weight", snakes[0].ref, mass_g="1743"))[0]["answer"] == "written"


def test_the_envelope_is_refused_by_name(api_as: ApiAs, keeper: Person, observer: Person, snake: Animal) -> None:
    one = entry(keeper, "mark", snake.ref, kind="water")
    body = {"device_now": clock.real_now().isoformat(), "entries": [one | {"client_id": "7"}]}
    answer = api_as(keeper).post("/api/v1/observations/", body)
    assert answer.status_code == 400
    assert "client_id" in answer.json()["errors"][0]["field"]
    assert api_as(observer).post("/api/v1/observations/", body).status_code == 403


def test_an_animal_sold_since_keeps_what_was_seen_before(
    api_as: ApiAs, keeper: Person, owner: Person, snake: Animal
) -> None:
    """Through the real service of status, not by hand."""
    animal_status_set(by=owner, animal=snake, status=Status.GIVEN_AWAY, on=clock.today())
    answer = send(api_as(keeper), entry(keeper, "condition", snake.ref, seen="fit"))[0]
    assert answer["answer"] == "kept"
    assert "given away" in answer["words"]
