"""Putting right on the pages and through the API: shown, done, stale, refused by field, undone."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Correction, Person
from apps.animals.models import Animal
from apps.care.models import MealCheck, MealOffer, Weight
from apps.care.services import weight_record
from apps.core import clock
from tests.care.conftest import register
from tests.dashboards.corrections import House, assert_undone, changed_rows, every_row
from tests.factories.animals import make_female

ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
V1 = "/api/v1/corrections"


def html(answer: Any) -> str:
    return str(answer.content.decode())


def asked(house: House) -> dict[str, str]:
    """What the swap page asks."""
    return {"second": house.second.code, "since": f"{clock.local(house.since):%Y-%m-%dT%H:%M}"}


def seen_in(words: str) -> str:
    found = re.search(r'name="seen" value="(\w+)"', words)
    assert found is not None
    return found.group(1)


def test_a_swap_on_the_page(client_as: ClientAs, keeper: Person, house: House) -> None:
    client = client_as(keeper)
    start = html(client.get(f"/animals/{house.first.ref}/put-right/"))
    assert "Two tubs were exchanged" in start
    assert "It is recorded twice" not in start, "that is for whoever may merge"
    path = f"/animals/{house.first.ref}/put-right/swap/"
    assert "Show what will change" in html(client.get(path))
    before = every_row()
    shown = html(client.get(path, asked(house)))
    assert changed_rows(before, every_row()) == {}
    for words in ("1,425 g", "scan 17.5 mm", "lock seen on", "3C-02", "PR-0437: fed", "what is expected of PR-0412"):
        assert words in shown, words
    done = client.post(path, {**asked(house), "why": "found by weight", "seen": seen_in(shown)}, follow=True)
    assert "Put right: PR-0412 and PR-0437 exchanged" in html(done)
    row = Correction.objects.get()
    undone = client.post(f"/corrections/{row.ref}/undo/", follow=True)
    assert "Undone" in html(undone)
    assert_undone(before, every_row(), row)
    assert "PR-0412 and PR-0437 exchanged" in html(client.get("/corrections/"))


def test_a_stale_page_is_shown_anew(client_as: ClientAs, keeper: Person, house: House) -> None:
    client, path = client_as(keeper), f"/animals/{house.first.ref}/put-right/swap/"
    seen = seen_in(html(client.get(path, asked(house))))
    weight_record(by=keeper, animal=house.first, mass_g=1430.0, observed_at=clock.now() - timedelta(hours=30))
    answer = client.post(path, {**asked(house), "why": "found by weight", "seen": seen})
    assert answer.status_code == 409
    words = html(answer)
    assert "recorded since you read" in words
    assert "1,430 g" in words
    assert 'value="found by weight"' in words, "what was typed is kept"
    assert not Correction.objects.exists()
    client.post(path, {**asked(house), "why": "found by weight", "seen": seen_in(words)})
    assert Correction.objects.count() == 1


def test_bad_answers_stand_beside_their_field(client_as: ClientAs, lead: Person, house: House) -> None:
    client, base = client_as(lead), f"/animals/{house.first.ref}/put-right"
    words = html(client.get(f"{base}/swap/", {"second": "PR-0438", "since": "yesterday"}))
    assert "There is no animal PR-0438. Did you mean PR-0437" in words
    words = html(client.get(f"{base}/twice/", {"second": house.male.code}))
    assert "PR-0412 is female, PR-0133 is male" in words
    answer = client.post(f"{base}/swap/", {**asked(house), "why": "", "seen": "x"})
    assert answer.status_code == 400
    assert "Say how you know" in html(answer)
    assert client.get("/animals/nobody1234/put-right/swap/").status_code == 404
    assert client.get("/corrections/nobody1234/").status_code == 404


def test_an_entry_ticked_stays(client_as: ClientAs, keeper: Person, house: House) -> None:
    weight = Weight.objects.get(mass_g=1425.0)
    path = f"/animals/{house.first.ref}/put-right/swap/"
    shown = html(client_as(keeper).get(path, {**asked(house), "stays": f"weight-{weight.pk}"}))
    assert "Stays, as you said: weight 1,425 g" in shown
    client_as(keeper).post(
        path, {**asked(house), "stays": f"weight-{weight.pk}", "why": "typed by hand", "seen": seen_in(shown)}
    )
    weight.refresh_from_db()
    assert weight.struck_at is None


def test_missing_and_found_on_the_page(client_as: ClientAs, keeper: Person, house: House) -> None:
    client, path = client_as(keeper), f"/animals/{house.first.ref}/put-right/place/"
    client.post(path, {"why": "its tub is empty", "seen": seen_in(html(client.get(path)))})
    assert "not in its tub" in html(client.get("/"))
    found = html(client.get(path, {"tub": "3C-07"}))
    client.post(path, {"tub": "3C-07", "why": "behind rack C", "seen": seen_in(found)})
    animal = Animal.objects.get(pk=house.first.pk)
    assert (animal.status, animal.tub.label if animal.tub else "") == ("here", "3C-07")


def test_the_other_code_leads_to_the_animal(client_as: ClientAs, lead: Person, house: House) -> None:
    second = make_female(code="PR-0413", hatched_on=None, acquired_on=None)
    client, path = client_as(lead), f"/animals/{house.first.ref}/put-right/twice/"
    shown = html(client.get(path, {"second": "PR-0413"}))
    client.post(path, {"second": "PR-0413", "why": "same photograph", "seen": seen_in(shown)})
    assert client.get(f"/animals/{second.ref}/", follow=True).redirect_chain[-1][0] == house.first.get_absolute_url()
    assert client.get("/search/?q=PR-0413")["Location"] == house.first.get_absolute_url()


def test_a_questioned_weight_leads_from_the_first_screen(client_as: ClientAs, keeper: Person, house: House) -> None:
    weight_record(by=keeper, animal=house.male, mass_g=2900.0, observed_at=clock.now(), doubtful=True)
    words = html(client_as(keeper).get("/"))
    assert "questioned weight" in words
    assert f"/animals/{house.male.ref}/put-right/" in words


def test_the_same_through_the_api(api_as: ApiAs, keeper: Person, house: House) -> None:
    api = api_as(keeper)
    body: dict[str, Any] = {"first": "PR-0412", "second": house.second.ref, "since": house.since.isoformat()}
    before = every_row()
    plan = api.post(f"{V1}/preview/", {"act": "swap", **body}, format="json")
    assert plan.status_code == 200, plan.data
    assert changed_rows(before, every_row()) == {}
    assert {line["section"] for line in plan.data["lines"]} >= {"Entries", "Places", "Holds", "Season"}
    missing = api.post(f"{V1}/swap/", {**body, "why": "found by weight"}, format="json")
    assert (missing.status_code, missing.json()["errors"][0]["field"]) == (400, "seen")
    headers = {"Idempotency-Key": "k1", "If-Match": plan.data["version"]}
    done = api.post(f"{V1}/swap/", {**body, "why": "found by weight"}, format="json", headers=headers)
    assert done.status_code == 201, done.data
    again = api.post(f"{V1}/swap/", {**body, "why": "found by weight"}, format="json", headers=headers)
    assert again.data == done.data
    rows = api.get(f"{V1}/{done.data['ref']}/rows/").data
    assert len(rows) == plan.data["rows"]
    assert api.get(f"{V1}/").data["results"][0]["label"].startswith("PR-0412 and PR-0437 exchanged")
    undone = api.post(f"{V1}/{done.data['ref']}/undo/")
    assert undone.data["undone_by"] == keeper.name
    assert_undone(before, every_row(), Correction.objects.get())


def test_a_stale_version_is_answered_with_the_new_difference(api_as: ApiAs, keeper: Person, house: House) -> None:
    body = {"first": "PR-0412", "second": "PR-0437", "since": house.since.isoformat(), "why": "by weight"}
    answer = api_as(keeper).post(f"{V1}/swap/", {**body, "seen": "0123456789abcdef"}, format="json")
    assert answer.status_code == 409
    assert answer.json()["code"] == "stale"
    version = answer.json()["preview"]["version"]
    assert api_as(keeper).post(f"{V1}/swap/", {**body, "seen": version}, format="json").status_code == 201


@pytest.mark.parametrize(
    ("act", "body", "field"),
    [
        ("swap", {"first": "PR-0412", "second": "nobody", "since": "2027-04-01T10:00:00Z"}, "second"),
        ("swap", {"first": "PR-0412", "second": "PR-0437", "since": "soon"}, "since"),
        ("facts", {"first": "PR-0412", "second": "PR-0437", "facts": []}, "facts"),
        ("facts", {"first": "PR-0412", "second": "PR-0437", "facts": ["weight-999999"]}, "facts"),
        ("found", {"first": "PR-0412", "tub": "9Z-99"}, "tub"),
        ("merge", {"first": "PR-0412", "second": "PR-0412"}, "second"),
        ("sire", {"sire": "PR-0133"}, "first"),
    ],
)
def test_bad_input_names_its_field(
    api_as: ApiAs, lead: Person, house: House, act: str, body: dict[str, Any], field: str
) -> None:
    answer = api_as(lead).post(f"{V1}/preview/", {"act": act, **body}, format="json")
    assert answer.status_code in {400, 409}, answer.data
    assert answer.json()["errors"][0]["field"] == field


@pytest.mark.parametrize("act", ["facts", "not-in-tub", "found", "merge", "sire"])
def test_each_act_through_the_api(api_as: ApiAs, lead: Person, house: House, act: str) -> None:
    api = api_as(lead)
    bodies: dict[str, dict[str, Any]] = {
        "facts": {"first": "PR-0412", "second": "PR-0437", "facts": [f"weight-{Weight.objects.get(mass_g=1425.0).pk}"]},
        "not-in-tub": {"first": "PR-0412"},
        "found": {"first": "PR-0412", "tub": "3C-08"},
        "merge": {"first": "PR-0412", "second": "PR-0413"},
        "sire": {"first": "PR-0415", "sire": "PR-0133"},
    }
    make_female(code="PR-0413", hatched_on=None, acquired_on=None)
    register(lead, "PR-0415", hatched_on=clock.today())
    if act == "found":
        seen = api.post(f"{V1}/preview/", {"act": "not-in-tub", "first": "PR-0412"}, format="json").data["version"]
        api.post(f"{V1}/not-in-tub/", {"first": "PR-0412", "why": "empty", "seen": seen}, format="json")
    before = every_row()
    plan = api.post(f"{V1}/preview/", {"act": act, **bodies[act]}, format="json")
    assert plan.status_code == 200, plan.data
    body = {**bodies[act], "why": "seen by two persons", "seen": plan.data["version"]}
    done = api.post(f"{V1}/{act}/", body, format="json")
    assert done.status_code == 201, done.data
    assert len(changed_rows(before, every_row())) == plan.data["rows"]


def test_a_check_that_comes_late_follows_its_meal(api_as: ApiAs, keeper: Person, house: House) -> None:
    offer = MealOffer.objects.get(size="medium")
    api = api_as(keeper)
    body = {"first": "PR-0412", "second": "PR-0437", "since": house.since.isoformat()}
    seen = api.post(f"{V1}/preview/", {"act": "swap", **body}, format="json").data["version"]
    api.post(f"{V1}/swap/", {**body, "why": "found by weight", "seen": seen}, format="json")
    answer = api.post(f"/api/v1/meals/{offer.pk}/check/", {"outcome": "left"}, format="json")
    assert answer.status_code == 201, answer.data
    check = MealCheck.objects.get(outcome="left", offer__size="medium")
    assert check.animal == house.first
    assert check.offer.moved_from == offer


def test_what_cannot_move_can_be_left(client_as: ClientAs, keeper: Person, house: House) -> None:
    """Exchanged with a male: what only a female can have is named, and ticked to stay."""
    client, path = client_as(keeper), f"/animals/{house.first.ref}/put-right/swap/"
    question = {**asked(house), "second": house.male.code}
    words = html(client.get(path, question))
    assert "PR-0133 is recorded as male" in words
    keys = re.findall(r'name="stays" value="((?:scan|visit)-\d+)"', words)
    assert len(keys) == 2
    shown = html(client.get(path, {**question, "stays": keys}))
    assert "What will change" in shown
    assert len(re.findall(r'name="stays" value="(?:scan|visit)-\d+" checked', shown)) == 2
