"""The API of animals: every service is reachable, each error names its field, each repeat is harmless."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import BroodKind, HoldWord
from apps.animals.models import Animal, Hold
from apps.animals.services import brood_register, hold_place
from apps.core import clock
from tests.factories.animals import make_female, make_male, species
from tests.factories.places import make_rack

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ApiAs = Callable[[Person], APIClient]
V1 = "/api/v1"


def test_an_animal_is_registered_once_and_read(api_as: ApiAs, lead: Person) -> None:
    api = api_as(lead)
    make_rack()
    dam, sire = make_female(code="D-1"), make_male(code="S-1")
    body = {
        "code": "N-1",
        "species": "ball python",
        "sex": "male",
        "dam": "d-1",
        "sire": sire.ref,
        "tub": "3B-01",
        "traits": "clown pastel",
        "hatched_on": "2025-07-01",
    }
    made = api.post(f"{V1}/animals/", body, headers={"Idempotency-Key": "a"})
    again = api.post(f"{V1}/animals/", body, headers={"Idempotency-Key": "a"})
    assert (made.status_code, again.status_code) == (201, 201)
    assert made.json()["ref"] == again.json()["ref"]
    found = api.get(f"{V1}/animals/{made.json()['ref']}/").json()
    assert (found["dam"], found["sire"], found["tub"]) == (dam.ref, sire.ref, "3B-01")
    assert found["traits"] == "Pastel Clown"
    assert len(api.get(f"{V1}/animals/", {"sex": "male"}).json()["results"]) == 2
    assert len(api.get(f"{V1}/animals/", {"text": "3b-01"}).json()["results"]) == 1


@pytest.mark.parametrize(
    ("change", "status", "field"),
    [
        ({"species": "pyton"}, 400, "species"),
        ({"code": "D-1"}, 409, "code"),
        ({"dam": "S-1"}, 400, "dam"),
        ({"dam": "none"}, 400, "dam"),
        ({"tub": "9Z"}, 400, "tub"),
        ({"traits": "Clwon"}, 400, "traits"),
        ({"sex": "femal"}, 400, "sex"),
        ({"hatched_on": "2031-01-01"}, 400, "hatched_on"),
        ({"sexx": "male"}, 400, "sexx"),
    ],
)
def test_a_bad_animal_names_its_field(
    change: dict[str, str], status: int, field: str, api_as: ApiAs, lead: Person
) -> None:
    make_female(code="D-1")
    make_male(code="S-1")
    answer = api_as(lead).post(f"{V1}/animals/", {"code": "N-1", "species": "ball python", **change})
    assert answer.status_code == status
    assert answer.json()["errors"][0]["field"] == field
    assert Animal.objects.count() == 2


def test_every_act_of_an_animal(api_as: ApiAs, lead: Person) -> None:
    api = api_as(lead)
    make_rack()
    animal, sire = make_female(), make_male(code="S-1", hatched_on=None)
    at = f"{V1}/animals/{animal.ref}"
    assert api.post(f"{at}/change/", {"name": "Ada"}).json()["name"] == "Ada"
    moved = api.post(f"{at}/move/", {"tub": "3B-02"})
    assert (moved.status_code, moved.json()["tub"]) == (201, "3B-02")
    assert api.post(f"{at}/move/", {"tub": "3B-02"}).status_code == 409
    assert (
        api.post(f"{at}/traits/", {"notation": "het clown", "basis": "proven"}).json()["notation"] == "normal het Clown"
    )
    assert api.post(f"{at}/sire/", {"sire": "S-1", "why": "a test"}).json()["sire"] == sire.ref
    assert api.post(f"{at}/sire/", {"sire": None, "why": "was wrong"}).json()["sire"] is None
    assert api.post(f"{at}/status/", {"status": "sold", "on": "2027-04-01"}).status_code == 400
    assert api.post(f"{at}/status/", {"status": "dead", "on": "2027-04-01"}).json()["tub"] is None
    assert api.post(f"{at}/status/", {"status": "here", "on": "2027-04-02"}).status_code == 409


def test_holds(api_as: ApiAs, owner: Person, lead: Person, keeper: Person) -> None:
    animal = make_female()
    rack = make_rack()
    api = api_as(lead)
    made = api.post(f"{V1}/holds/", {"animal": animal.ref, "word": "injury", "reason": "new here"})
    assert made.status_code == 201
    assert api.post(f"{V1}/holds/", {"rack": rack.ref, "word": "disease", "reason": "cough"}).status_code == 201
    assert api.post(f"{V1}/holds/", {"word": "disease", "reason": "cough"}).json()["errors"][0]["field"] == "animal"
    assert api.post(f"{V1}/holds/", {"word": "fed", "reason": "x", "animal": animal.ref}).status_code == 400
    assert api_as(keeper).post(f"{V1}/holds/", {"animal": animal.ref}).status_code == 403
    at = f"{V1}/holds/{made.json()['ref']}/end/"
    assert api_as(keeper).post(at).status_code == 403
    assert api.post(at).json()["lifted_at"] is not None
    fed = hold_place(
        by=owner,
        word=HoldWord.FED,
        begins_at=clock.now(),
        ends_at=None,
        reason="meal",
        animal=animal,
        source_kind="meal",
        source_ref="1",
    )
    assert api.post(f"{V1}/holds/{fed.ref}/end/").status_code == 403
    assert api_as(owner).post(f"{V1}/holds/{fed.ref}/end/").status_code == 200
    assert Hold.objects.filter(lifted_at=None).count() == 1


def test_the_sires_of_a_brood(api_as: ApiAs, lead: Person) -> None:
    dam, male = make_female(), make_male()
    brood = brood_register(by=lead, kind=BroodKind.CLUTCH, species=dam.species, dam=dam, on=clock.today())
    at = f"{V1}/brood-sires/{brood.ref}/state/"
    shares = [{"hypothesis": "male", "share": 0.7, "male": male.code}, {"hypothesis": "stored", "share": 0.3}]
    found = api_as(lead).post(at, {"sire_model": "one", "shares": shares}).json()
    assert [(row["male"], row["prior"]) for row in found["sire_candidates"]] == [(male.ref, 0.7), (None, 0.3)]
    wrong = api_as(lead).post(at, {"sire_model": "one", "shares": shares[:1]})
    assert wrong.json()["errors"][0]["field"] == "shares"


def test_species(api_as: ApiAs, lead: Person, keeper: Person) -> None:
    api = api_as(lead)
    body = {"scientific": "Morelia viridis", "mode": "eggs", "code_prefix": "MV"}
    assert api.post(f"{V1}/species/", body).status_code == 201
    assert api.post(f"{V1}/species/", body).status_code == 409
    at = f"{V1}/species/{species().ref}"
    assert api.post(f"{at}/set-number/", {"key": "lines.stop_mm", "value": 36}).json()["origin"] == "house"
    numbers = {row["key"]: row for row in api_as(keeper).get(f"{at}/numbers/").json()}
    assert numbers["lines.stop_mm"]["value"] == 36
    assert api_as(keeper).post(f"{at}/set-number/", {"key": "x", "value": 1}).status_code == 403


def test_the_list_does_not_grow_in_queries(api_as: ApiAs, keeper: Person) -> None:
    api = api_as(keeper)
    make_female()
    api.get(f"{V1}/animals/")  # the person's roles are read once
    with CaptureQueriesContext(connection) as few:
        api.get(f"{V1}/animals/")
    dam, rack = make_female(hatched_on=None), make_rack()
    for tub in rack.tubs.all():
        make_male(dam=dam, tub=tub)
    with CaptureQueriesContext(connection) as many:
        api.get(f"{V1}/animals/")
    assert len(many) == len(few)
