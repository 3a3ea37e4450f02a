"""Pages and API of the incubation and hatch rooms: rights, the way through, bad input."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.models import Animal, Brood
from apps.core import clock
from apps.incubation.models import Box, Egg
from apps.incubation.services import box_set, clutch_lay, egg_fail
from tests.factories.animals import BOA, make_female
from tests.factories.places import make_incubator

pytestmark = pytest.mark.usefixtures("knowledge")
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


def clutch(by: Person, at: datetime, eggs: int = 4) -> Brood:
    """A clutch of a female."""
    return clutch_lay(by=by, dam=make_female(traits="Pastel"), laying_began=at, eggs=eggs, slugs=1)


def test_from_laying_to_hatching_in_the_browser(incubation: Person, client_as: ClientAs, frozen: datetime) -> None:
    """Record a clutch, box it, pip, hatch: each by its form, and a double tap writes once."""
    client = client_as(incubation)
    female = make_female(traits="Pastel het Clown")
    incubator = make_incubator()
    assert client.get("/incubation/").status_code == 200
    form = {
        "female": female.ref,
        "laid_at": "2027-04-06T15:00",
        "eggs": "3",
        "slugs": "1",
        "masses": "92 88,5 94",
        "request_key": "lay-1",
    }
    for _ in range(2):
        assert client.post("/incubation/lay/", form).status_code == 302
    brood = Brood.objects.get()
    eggs = list(Egg.objects.filter(brood=brood).order_by("number"))
    assert [egg.mass_g for egg in eggs] == [92, 88.5, 94, None]
    page = f"/incubation/broods/{brood.ref}/"
    assert "C27-001" in client.get(page).content.decode()
    boxed = client.post(page + "box/", {"incubator": incubator.pk, "eggs": [e.ref for e in eggs[:3]], "shelf": "2"})
    assert boxed.status_code == 302
    assert Box.objects.get().code == "B-001"
    assert client.post(f"/incubation/eggs/{eggs[0].ref}/pip/").status_code == 302
    assert client.get(f"/hatch/{brood.ref}/").status_code == 200
    hatched = client.post(
        f"/hatch/{brood.ref}/", {"egg": eggs[0].ref, "sex": "female", "mass_g": "66,5", "traits": "Pastel"}
    )
    assert hatched.status_code == 302
    animal = Animal.objects.get(brood=brood)
    assert (animal.dam, animal.sex, animal.egg_number) == (female, "female", 1)
    assert animal.code in client.get("/nursery/").content.decode()


def test_bad_input_keeps_what_was_typed(incubation: Person, client_as: ClientAs, frozen: datetime) -> None:
    """The field says why, and nothing is written."""
    client = client_as(incubation)
    female = make_female()
    answer = client.post(
        "/incubation/lay/",
        {"female": female.ref, "laid_at": "2027-04-06T15:00", "eggs": "3", "slugs": "0", "masses": "92 88"},
    )
    text = answer.content.decode()
    assert "2 masses for 3 eggs" in text
    assert 'value="92 88"' in text
    assert not Brood.objects.exists()
    late = client.post(
        "/incubation/lay/", {"female": female.ref, "laid_at": "2027-05-06T15:00", "eggs": "3", "slugs": "0"}
    )
    assert late.status_code == 200
    assert "future" in late.content.decode()
    assert not Brood.objects.exists()


def test_a_clutch_without_an_incubator_says_where_one_is_set_up(
    owner: Person, client_as: ClientAs, frozen: datetime
) -> None:
    """An empty choice would be a dead end; a mass that was read keeps its tenth."""
    moment = clock.now()
    brood = clutch_lay(
        by=owner,
        dam=make_female(),
        laying_began=moment,
        laying_finished=moment,
        eggs=2,
        slugs=0,
        egg_masses_g=[84.5, 90.0],
    )
    text = client_as(owner).get(f"/incubation/broods/{brood.ref}/").content.decode()
    assert "Set up an incubator" in text
    assert "84.5 g" in text
    make_incubator()
    assert "Set up an incubator" not in client_as(owner).get(f"/incubation/broods/{brood.ref}/").content.decode()


def test_rights(observer: Person, packer: Person, client_as: ClientAs, owner: Person, frozen: datetime) -> None:
    """Everybody reads; only those of the room write."""
    brood = clutch(owner, frozen)
    for person in (observer, packer):
        client = client_as(person)
        assert client.get("/incubation/").status_code == 200
        assert client.get(f"/incubation/broods/{brood.ref}/").status_code == 200
        assert client.get("/incubation/lay/").status_code == 403
        assert client.get(f"/hatch/{brood.ref}/").status_code == 403
        egg = Egg.objects.filter(brood=brood).first()
        assert egg is not None
        assert client.post(f"/incubation/eggs/{egg.ref}/slug/").status_code == 403


def test_two_broods_never_share_a_box(owner: Person, api_as: ApiAs, frozen: datetime) -> None:
    """And a box takes collected eggs only."""
    one, other = clutch(owner, frozen), clutch(owner, frozen)
    incubator = make_incubator()
    foreign = Egg.objects.filter(brood=other).first()
    assert foreign is not None
    body = {"incubator": incubator.ref, "eggs": [foreign.ref]}
    answer = api_as(owner).post(f"/api/v1/clutches/{one.ref}/box/", body)
    assert answer.status_code == 409
    assert answer.json()["errors"][0]["field"] == "eggs"
    assert not Box.objects.exists()


def test_the_api_lays_boxes_and_hatches(incubation: Person, api_as: ApiAs, frozen: datetime) -> None:
    """The same path by API; out of order is refused; a repeated key acts once."""
    api = api_as(incubation)
    female, incubator = make_female(traits="Clown"), make_incubator()
    body = {"dam": female.ref, "laying_began": "2027-04-06T15:00:00-04:00", "eggs": 2}
    first = api.post("/api/v1/clutches/lay/", body, headers={"Idempotency-Key": "k1"})
    again = api.post("/api/v1/clutches/lay/", body, headers={"Idempotency-Key": "k1"})
    assert first.status_code == again.status_code == 201, first.content
    assert first.json()["ref"] == again.json()["ref"]
    brood = first.json()
    egg = brood["eggs"][0]["ref"]
    early = api.post("/api/v1/young/hatch/", {"egg": egg})
    assert early.status_code == 409
    assert early.json()["code"] == "not-hatchable"
    assert (
        api.post(f"/api/v1/clutches/{brood['ref']}/box/", {"incubator": incubator.ref, "eggs": [egg]}).status_code
        == 201
    )
    assert api.post(f"/api/v1/clutches/{brood['ref']}/refresh-window/", {}).json()["window"]["hatch_p10"]
    young = api.post("/api/v1/young/hatch/", {"egg": egg, "sex": "male", "mass_g": 61})
    assert young.status_code == 201, young.content
    assert young.json()["dam"] == female.code
    wrong = api.post("/api/v1/young/hatch/", {"egg": egg, "sexx": "male"})
    assert wrong.status_code == 400
    assert "Did you mean “sex”" in wrong.json()["title"]


def test_a_failed_egg_keeps_its_row_and_may_hatch_after_all(
    incubation: Person, owner: Person, api_as: ApiAs, frozen: datetime
) -> None:
    """The clutch was closed, and then one hatched: it opens again and nothing is lost."""
    brood = clutch(owner, frozen, eggs=2)
    eggs = list(Egg.objects.filter(brood=brood, state="collected"))
    box_set(by=owner, brood=brood, incubator=make_incubator(), eggs=eggs)
    for egg in eggs:
        egg_fail(by=owner, egg=egg, reason="no veins")
    brood.refresh_from_db()
    assert brood.state == "closed"
    young = api_as(incubation).post("/api/v1/young/hatch/", {"egg": eggs[0].ref})
    assert young.status_code == 201, young.content
    twin = api_as(incubation).post("/api/v1/young/hatch/", {"egg": eggs[0].ref, "letter": "b"})
    assert twin.status_code == 201, twin.content
    assert Egg.objects.filter(brood=brood).count() == 3
    assert Animal.objects.filter(brood=brood).count() == 2


def test_a_litter_is_born(incubation: Person, api_as: ApiAs, client_as: ClientAs, frozen: datetime) -> None:
    """Live-bearers have no eggs: one animal for each living young."""
    dam = make_female(of=BOA)
    body = {"dam": dam.ref, "born_at": "2027-04-06T15:00:00-04:00", "alive": 3, "slugs": 1}
    assert api_as(incubation).post("/api/v1/young/litter/", body).status_code == 201
    assert Animal.objects.filter(dam=dam).count() == 3
    python = make_female()
    answer = client_as(incubation).get(f"/hatch/litter/?female={python.code}")
    assert "no live-bearing female" in answer.content.decode()
