"""The API of care: every service, each error named, each repeat harmless."""

from __future__ import annotations

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.models import HealthNote, MealCheck, MealOffer, Weight
from tests.factories.care import offered, photograph, weighed

pytestmark = pytest.mark.django_db
ApiAs = Callable[[Person], APIClient]
V1 = "/api/v1"


def test_a_weight_is_created_listed_and_struck(api_as: ApiAs, keeper: Person, snakes: list[Animal]) -> None:
    api = api_as(keeper)
    body = {"animal": snakes[0].ref, "mass_g": 1743.5}
    made = api.post(f"{V1}/weights/", body, headers={"Idempotency-Key": "w1"})
    again = api.post(f"{V1}/weights/", body, headers={"Idempotency-Key": "w1"})
    assert (made.status_code, again.json()["id"]) == (201, made.json()["id"])
    weighed(keeper, snakes[1], 900)
    listed = api.get(f"{V1}/weights/", {"animal": snakes[0].ref}).json()["results"]
    assert [row["mass_g"] for row in listed] == [1743.5]
    struck = api.post(f"{V1}/weights/{made.json()['id']}/strike/", {}).json()
    assert (struck["struck_by"], struck["struck_reason"]) == ("Keeper", "taken back")


@pytest.mark.parametrize(
    ("change", "status", "field", "code"),
    [
        ({"mass_g": 9000}, 400, "mass_g", "questioned"),
        ({"mass_g": 0}, 400, "mass_g", "invalid"),
        ({"mass_g": "heavy"}, 400, "mass_g", "invalid"),
        ({"mass_g": "nan"}, 400, "mass_g", "invalid"),
        ({"animal": "zzzzzzzzzz"}, 400, "animal", "invalid"),
        ({"observed_at": "2031-01-01T00:00:00Z"}, 400, "observed_at", "invalid"),
        ({"mas_g": 3}, 400, "mas_g", "invalid"),
    ],
)
def test_a_bad_weight_names_its_field(
    api_as: ApiAs, keeper: Person, snake: Animal, change: dict[str, object], status: int, field: str, code: str
) -> None:
    answer = api_as(keeper).post(f"{V1}/weights/", {"animal": snake.ref, "mass_g": 1700, **change})
    assert answer.status_code == status
    (error,) = answer.json()["errors"]
    assert (error["field"], error["code"]) == (field, code)
    assert Weight.objects.count() == 0


def test_rights(api_as: ApiAs, observer: Person, keeper: Person, snake: Animal) -> None:
    row = weighed(keeper, snake, 1700)
    api = api_as(observer)
    assert api.get(f"{V1}/weights/").status_code == 200
    assert api.post(f"{V1}/weights/", {"animal": snake.ref, "mass_g": 1700}).status_code == 403
    assert api.post(f"{V1}/weights/{row.pk}/strike/", {}).status_code == 403
    assert APIClient().get(f"{V1}/weights/").status_code in {401, 403}


def test_a_meal_from_offer_to_regurgitation(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    api = api_as(keeper)
    one = str(uuid4())
    body = {"animal": snake.ref, "prey": "rat", "size": "small", "client_id": one}
    made = api.post(f"{V1}/meals/", body)
    assert made.json()["outcome"] is None
    assert api.post(f"{V1}/meals/", body).json()["id"] == made.json()["id"]
    meal = f"{V1}/meals/{made.json()['id']}/"
    assert api.post(f"{meal}check/", {"outcome": "ate", "vigour": "strong"}).status_code == 201
    twice = api.post(f"{meal}check/", {"outcome": "left"})
    assert (twice.status_code, twice.json()["code"]) == (409, "wrong-state")
    assert api.post(f"{meal}check/", {"outcome": "regurgitated"}).status_code == 201
    assert api.get(meal).json()["outcome"] == "regurgitated"
    held = api.post(f"{V1}/meals/", {"animal": snake.ref, "prey": "rat"})
    assert held.status_code in {400, 409}
    checks = api.get(f"{V1}/meal-checks/", {"animal": snake.ref}).json()["results"]
    assert [check["outcome"] for check in checks] == ["regurgitated", "ate"]
    assert api.post(f"{V1}/meal-checks/{checks[0]['id']}/strike/", {}).status_code == 200
    assert api.get(meal).json()["outcome"] == "ate"


def test_many_at_once(api_as: ApiAs, keeper: Person, snakes: list[Animal]) -> None:
    api = api_as(keeper)
    made = api.post(f"{V1}/meals/offer-many/", {"animals": [snake.ref for snake in snakes], "prey": "rat"})
    assert made.status_code == 201
    ids = [row["id"] for row in made.json()]
    done = api.post(f"{V1}/meals/check-many/", {"ate": ids[:3], "left": ids[3:]})
    assert [row["outcome"] for row in done.json()] == ["ate", "ate", "ate", "left"]
    again = api.post(f"{V1}/meals/check-many/", {"ate": ids[:1], "left": []})
    assert again.status_code == 400
    assert snakes[0].code in again.json()["errors"][0]["message"]
    for odd in (10**6, 10**30, -1, "x"):
        assert api.post(f"{V1}/meals/check-many/", {"ate": [odd]}).status_code == 400
    assert api.get(f"{V1}/meals/{10**30}/").status_code == 404
    assert (MealOffer.objects.count(), MealCheck.objects.count()) == (4, 4)


def test_the_other_facts(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    api = api_as(keeper)
    for plural, body in (
        ("sheds", {"stage": "shed", "complete": True}),
        ("care-marks", {"kind": "water"}),
        ("conditions", {"seen": "fit"}),
    ):
        made = api.post(f"{V1}/{plural}/", {"animal": snake.ref, **body})
        assert made.status_code == 201, made.json()
        assert api.get(f"{V1}/{plural}/{made.json()['id']}/").json()["code"] == snake.code
    note = api.post(f"{V1}/health-notes/", {"animal": snake.ref, "signs": ["mites"]}).json()
    closed = api.post(f"{V1}/health-notes/{note['ref']}/close/", {}).json()
    assert closed["closed_by"] == "Keeper"
    assert api.post(f"{V1}/health-notes/{note['ref']}/close/", {}).status_code == 409
    assert HealthNote.objects.count() == 1


def test_a_photograph_by_multipart(api_as: ApiAs, keeper: Person, snake: Animal) -> None:
    upload = SimpleUploadedFile("a.png", photograph(), "image/png")
    made = api_as(keeper).post(f"{V1}/photos/", {"animal": snake.ref, "photo": upload}, format="multipart")
    assert made.status_code == 201, made.json()
    document = made.json()["document"]
    content = api_as(keeper).get(f"{V1}/documents/{document}/content/")
    assert content.content[:2] == b"\xff\xd8"


def test_a_list_asks_a_fixed_number_of_times(
    api_as: ApiAs, keeper: Person, snakes: list[Animal], django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for snake in snakes:
        weighed(keeper, snake, 1700)
    with django_assert_max_num_queries(3):
        assert len(api_as(keeper).get(f"{V1}/weights/").json()["results"]) == 4
    for snake in snakes:
        offered(keeper, snake)
    with django_assert_max_num_queries(3):
        assert len(api_as(keeper).get(f"{V1}/meals/").json()["results"]) == 4
