"""Pages of care: they show, they record, they keep what was typed, they mind rights."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_status_set
from apps.care.models import CareMark, Condition, HealthNote, MealCheck, MealOffer, Photo, Shed, Weight
from apps.care.services import health_note_record, meal_check, weight_record
from apps.core import clock
from apps.places.models import Rack
from tests.factories.care import fed, offered, photograph, weighed

pytestmark = pytest.mark.django_db
ClientAs = Callable[[Person], Client]


def html(response: object) -> str:
    return response.content.decode()  # type: ignore[attr-defined, no-any-return]


def care_url(animal: Animal) -> str:
    return f"/animals/{animal.ref}/care/"


def test_the_page_of_one_animal(client_as: ClientAs, observer: Person, keeper: Person, snake: Animal) -> None:
    weighed(keeper, snake, 1743, days_ago=3)
    offered(keeper, snake, hours_ago=2)
    words = html(client_as(observer).get(care_url(snake)))
    assert snake.code in words
    assert "1,743 g" in words
    assert "not checked" in words
    assert "Live prey is never left unattended" in words
    # a weighing is held after a meal, and the page says so
    assert "It was weighed all the same" in words


def test_everything_is_recorded_from_the_page(client_as: ClientAs, keeper: Person, snake: Animal) -> None:
    client = client_as(keeper)
    for values in (
        {"act": "weight", "mass_g": "1743,5"},
        {"act": "shed", "stage": "shed"},
        {"act": "mark", "kind": "water"},
        {"act": "condition", "seen": "fit"},
        {"act": "note", "signs": ["mites"], "text": "two behind the eye"},
        {"act": "photo", "photo": SimpleUploadedFile("a.png", photograph(), "image/png"), "caption": "left"},
        {"act": "offer", "prey": "rat", "size": "small", "count": "1", "presentation": "thawed"},
    ):
        assert client.post(care_url(snake), values).status_code == 302, values
    offer = MealOffer.objects.get()
    response = client.post(care_url(snake), {"act": "check", "offer": offer.pk, "outcome": "ate"}, follow=True)
    assert f"{snake.code} ate." in html(response)
    assert Weight.objects.get().mass_g == 1743.5
    counts = [model.objects.count() for model in (Shed, CareMark, Condition, HealthNote, Photo, MealCheck)]
    assert counts == [1, 1, 1, 1, 1, 1]


def test_how_it_took_the_meal_is_one_tap_more(client_as: ClientAs, keeper: Person, snakes: list[Animal]) -> None:
    """Strong, slow or coaxed beside Ate; left unsaid when nobody looked, and of no meaning for a meal it left."""
    client = client_as(keeper)
    for animal, vigour, outcome, said in zip(
        snakes,
        ("strong", "coaxed", "", "slow"),
        ("ate", "ate", "ate", "left"),
        ("strong", "coaxed", "", ""),
        strict=True,
    ):
        offer = offered(keeper, animal, hours_ago=2)
        page = html(client.get(care_url(animal)))
        assert all(f'name="vigour" value="{word}"' in page for word in ("", "strong", "slow", "coaxed"))
        values = {"act": "check", "offer": offer.pk, "outcome": outcome, "vigour": vigour}
        assert client.post(care_url(animal), values).status_code == 302
        assert MealCheck.objects.get(offer=offer).vigour == said


def test_the_same_form_sent_twice_writes_once(client_as: ClientAs, keeper: Person, snake: Animal) -> None:
    client = client_as(keeper)
    for _ in range(2):
        client.post(care_url(snake), {"act": "mark", "kind": "water", "request_key": "abc"})
    assert CareMark.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1,743", "can be read two ways"),
        ("heavy", "number of grams"),
        ("", "required"),
        ("-5", "number of grams"),
        ("9000", "Keep as read, marked doubtful"),
        ("0", "above 0 g"),
    ],
)
def test_a_bad_weight_keeps_what_was_typed(
    client_as: ClientAs, keeper: Person, snake: Animal, typed: str, words: str
) -> None:
    response = client_as(keeper).post(care_url(snake), {"act": "weight", "mass_g": typed})
    assert response.status_code == 400
    assert words in html(response)
    assert f'value="{typed}"' in html(response) or not typed
    assert Weight.objects.count() == 0


def test_a_questioned_weight_is_kept_as_doubtful_when_the_person_says_so(
    client_as: ClientAs, keeper: Person, snake: Animal
) -> None:
    client_as(keeper).post(care_url(snake), {"act": "weight", "mass_g": "9000", "doubtful": "on"})
    assert Weight.objects.get().doubtful
    assert "doubtful" in html(client_as(keeper).get(care_url(snake)))


def test_a_time_is_read_in_the_facilitys_zone(client_as: ClientAs, keeper: Person, snake: Animal) -> None:
    client_as(keeper).post(care_url(snake), {"act": "weight", "mass_g": "1700", "observed_at": "2027-04-05T09:30"})
    assert Weight.objects.get().observed_at == datetime.fromisoformat("2027-04-05T09:30:00-04:00")


def test_who_may_only_read_cannot_write(client_as: ClientAs, observer: Person, sales: Person, snake: Animal) -> None:
    for person in (observer, sales):
        assert client_as(person).get(care_url(snake)).status_code == 200
        assert client_as(person).post(care_url(snake), {"act": "mark", "kind": "water"}).status_code == 403
    assert CareMark.objects.count() == 0
    assert Client().get(care_url(snake)).status_code == 302


def test_an_unknown_act_and_a_meal_of_another_animal(client_as: ClientAs, keeper: Person, snakes: list[Animal]) -> None:
    client = client_as(keeper)
    assert client.post(care_url(snakes[0]), {"act": "sing"}).status_code == 400
    offer = offered(keeper, snakes[1], hours_ago=1)
    values = {"act": "check", "offer": offer.pk, "outcome": "ate"}
    assert client.post(care_url(snakes[0]), values).status_code == 400
    assert MealCheck.objects.count() == 0
    assert client.get("/animals/zzzzzzzzzz/care/").status_code == 404


def test_a_dead_animal_shows_its_entries_and_no_form(
    client_as: ClientAs, keeper: Person, owner: Person, snake: Animal
) -> None:
    weighed(keeper, snake, 1700, days_ago=4)
    animal_status_set(by=owner, animal=snake, status=Status.DEAD, on=clock.today())
    words = html(client_as(keeper).get(care_url(snake)))
    assert "This animal is dead" in words
    assert "1,700 g" in words
    assert 'name="mass_g"' not in words


def test_an_own_entry_is_struck_at_once_and_shown_struck(client_as: ClientAs, keeper: Person, snake: Animal) -> None:
    row = weight_record(by=keeper, animal=snake, mass_g=1700)
    client = client_as(keeper)
    page = f"/animals/{snake.ref}/care/strike/?entry=weight-{row.pk}"
    assert "Strike out an entry" in html(client.get(page))
    response = client.post(f"/animals/{snake.ref}/care/strike/", {"entry": f"weight-{row.pk}"}, follow=True)
    assert "struck out by Keeper" in html(response)
    row.refresh_from_db()
    assert row.struck_by == keeper


def test_a_later_strike_asks_for_a_reason_and_others_are_refused(
    client_as: ClientAs, keeper: Person, lead: Person, snake: Animal, frozen: datetime
) -> None:
    row = weight_record(by=keeper, animal=snake, mass_g=1700)
    others = weight_record(by=lead, animal=snake, mass_g=1700)
    client = client_as(keeper)
    url = f"/animals/{snake.ref}/care/strike/"
    with clock.at(frozen + timedelta(hours=1)):
        assert client.post(url, {"entry": f"weight-{row.pk}"}).status_code == 400
        assert client.post(url, {"entry": f"weight-{row.pk}", "reason": "wrong value"}).status_code == 302
        assert client.get(f"{url}?entry=weight-{others.pk}").status_code == 403
        assert client.get(f"{url}?entry=moon-1").status_code == 404


def test_a_rack_is_offered_with_exceptions(
    client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    url = f"/care/racks/{rack.ref}/offer/"
    client = client_as(keeper)
    words = html(client.get(url))
    assert "4 to offer" in words
    assert "Live prey is never left unattended" in words
    values = {
        "prey": "rat",
        "size": "small",
        "count": "1",
        "presentation": "thawed",
        "shown": [snake.ref for snake in snakes],
        "skip": [snakes[3].ref],
    }
    response = client.post(url, values, follow=True)
    assert "offered to 3, skipped 1" in html(response)
    assert {offer.animal for offer in MealOffer.objects.all()} == set(snakes[:3])
    # the page of the check follows, with three to check
    assert "3 offered and not yet checked" in html(response)


def test_a_rack_offer_page_leaves_out_the_held_and_taps_the_recently_fed(
    client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    offered(keeper, snakes[0], hours_ago=3)
    fed(keeper, snakes[1], days_ago=3)
    meal_check(by=keeper, offer=fed(keeper, snakes[2], days_ago=4), outcome="regurgitated")
    words = html(client_as(keeper).get(f"/care/racks/{rack.ref}/offer/"))
    assert "1 to offer, 1 tapped to skip" in words
    assert "no food" in words
    assert "offered today" in words


def test_a_bad_rack_offer_keeps_the_taps(client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack) -> None:
    shown = [snake.ref for snake in snakes]
    values = {"prey": "rat", "count": "0", "presentation": "thawed", "shown": shown, "skip": [snakes[0].ref]}
    response = client_as(keeper).post(f"/care/racks/{rack.ref}/offer/", values)
    assert response.status_code == 400
    assert "3 to offer, 1 tapped to skip" in html(response)
    assert MealOffer.objects.count() == 0


def test_a_rack_is_checked_the_tapped_were_left(
    client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    offers = [offered(keeper, snake, hours_ago=2) for snake in snakes]
    url = f"/care/racks/{rack.ref}/check/"
    client = client_as(keeper)
    shown = [str(offer.pk) for offer in offers]
    response = client.post(url, {"shown": shown, "left": [shown[1]]}, follow=True)
    assert "3 ate, 1 left" in html(response)
    assert [check.offer for check in MealCheck.objects.filter(outcome="left")] == [offers[1]]
    assert "Nothing waits for a check" in html(client.get(url))


def test_one_by_one_leaves_unseen_meals_offered(
    client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    offers = [offered(keeper, snake, hours_ago=2) for snake in snakes]
    shown = [str(offer.pk) for offer in offers]
    values = {"one": "1", "shown": shown, f"fate-{shown[0]}": "regurgitated", f"fate-{shown[1]}": "ate"}
    response = client_as(keeper).post(f"/care/racks/{rack.ref}/check/", values, follow=True)
    assert "1 ate, 0 left, 1 regurgitated, 2 still not checked" in html(response)
    assert MealCheck.objects.count() == 2


def test_a_check_of_a_meal_checked_meanwhile_names_the_animal(
    client_as: ClientAs, keeper: Person, snakes: list[Animal], rack: Rack
) -> None:
    offers = [offered(keeper, snake, hours_ago=2) for snake in snakes[:2]]
    meal_check(by=keeper, offer=offers[0], outcome="left")
    values = {"shown": [str(offer.pk) for offer in offers]}
    response = client_as(keeper).post(f"/care/racks/{rack.ref}/check/", values)
    assert response.status_code == 400
    assert "already checked: left" in html(response)
    assert MealCheck.objects.count() == 1


def test_lists(client_as: ClientAs, keeper: Person, observer: Person, snakes: list[Animal], rack: Rack) -> None:
    words = html(client_as(observer).get("/care/"))
    assert "Every offered meal is checked" in words
    assert rack.name in words
    offered(keeper, snakes[0], hours_ago=1)
    assert "1 meal offered and not yet checked" in html(client_as(observer).get("/care/"))
    assert "No open note" in html(client_as(observer).get("/care/notes/"))
    note = health_note_record(by=keeper, animal=snakes[0], signs=["mites"])
    assert "1 open note" in html(client_as(keeper).get("/care/notes/"))
    assert client_as(observer).post(f"/care/notes/{note.ref}/close/").status_code == 403
    assert client_as(keeper).post(f"/care/notes/{note.ref}/close/").status_code == 302
    assert client_as(keeper).post(f"/care/notes/{note.ref}/close/").status_code == 409


def test_the_rack_pages_ask_a_fixed_number_of_times(
    client_as: ClientAs,
    keeper: Person,
    snakes: list[Animal],
    rack: Rack,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    client = client_as(keeper)
    client.get("/care/")
    with django_assert_max_num_queries(24):  # the plan asks too, for the whole rack at once
        client.get(f"/care/racks/{rack.ref}/offer/")
