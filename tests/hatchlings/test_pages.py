"""Pages and API of hatch room and nursery: rights, one sitting, bad input, whose young it is."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.incubation.choices import EggState
from apps.incubation.models import Egg, EggCheck
from apps.incubation.services import egg_pip, hatch_forecast_refresh
from apps.places.models import Incubator
from apps.places.services import readings_record
from tests.factories.animals import BOA, make_female, make_male
from tests.factories.breeding import visited
from tests.factories.hatchlings import hatched
from tests.factories.incubation import eggs_of, incubating, trace_of

pytestmark = [pytest.mark.usefixtures("knowledge")]
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]


def test_one_sitting(lead: Person, client_as: ClientAs, frozen: datetime) -> None:
    """The egg that pips is in hand; odds stand beside each look; what is typed stays when refused; labels print."""
    dam = make_female(traits="het Clown")
    clown, pastel = make_male(traits="Clown"), make_male(traits="Pastel")
    for number, male in enumerate((clown, pastel)):
        visited(lead, dam, male, days_ago=120 - number * 10)
    brood = incubating(dam, eggs=3, days_ago=58)
    eggs = eggs_of(brood)
    egg_pip(by=lead, egg=eggs[1], at=frozen - timedelta(hours=20))
    client = client_as(lead)
    page = f"/hatch/{brood.ref}/"
    text = client.get(page).content.decode()
    assert "from egg 2" in text
    assert "slit 20 h" in text
    assert "only with" in text
    assert 'value="Clown"' in text
    refused = client.post(page, {"egg": eggs[1].ref, "sex": "male", "mass_g": "66", "traits": "Pastle"})
    assert refused.status_code == 400
    assert 'value="Pastle"' in refused.content.decode()
    assert not Animal.objects.filter(brood=brood).exists()
    form = {"egg": eggs[1].ref, "sex": "male", "mass_g": "66,5", "look": "Clown", "request_key": "one"}
    for _ in range(2):
        assert client.post(page, form).status_code == 302
    young = Animal.objects.get(brood=brood)
    text = client.get(f"{page}?out={young.ref}").content.decode()
    assert f"Set {clown.code} as sire of {young.code}" in text
    assert f"Set {pastel.code}" not in text
    settled = client.post(f"/hatch/young/{young.ref}/sire/", {"sire": clown.ref, "why": "only he gives Clown"})
    assert settled.status_code == 302
    assert Animal.objects.get(pk=young.pk).sire == clown
    order = {"what": "animals", "animals": [young.ref], "print_on": "stock:roll-62x29", "start": "1"}
    assert "Drawer card of" in client.post("/labels/", {"animals": [young.ref]}).content.decode()
    assert client.post("/labels/", order).status_code == 302


def test_an_odd_weight_and_no_egg_in_hand_are_said(incubation: Person, client_as: ClientAs, frozen: datetime) -> None:
    """A weight beyond the profile's band is asked about and kept; a young without its egg is not."""
    dam = make_female(traits="Pastel")
    brood = incubating(dam, eggs=2, days_ago=58)
    client = client_as(incubation)
    egg = eggs_of(brood)[0]
    answer = client.post(
        f"/hatch/{brood.ref}/", {"egg": egg.ref, "sex": "unknown", "mass_g": "400", "traits": "Pastel"}, follow=True
    )
    assert "400 g is outside 25 to 120 g" in answer.content.decode()
    assert Animal.objects.get(brood=brood).traits == "Pastel"
    none_chosen = client.post(f"/hatch/{brood.ref}/", {"egg": "zzzzzzzzzz", "sex": "unknown"})
    assert none_chosen.status_code == 400
    assert "Choose the egg it came from" in none_chosen.content.decode()


def test_the_hatch_room_puts_pipping_first(
    lead: Person, observer: Person, client_as: ClientAs, frozen: datetime
) -> None:
    """Everybody reads it; only those who hatch get the button."""
    early, late = incubating(days_ago=30), incubating(days_ago=10)
    egg_pip(by=lead, egg=eggs_of(late)[0])
    text = client_as(observer).get("/hatch/").content.decode()
    assert text.index(late.code) < text.index(early.code)
    assert f"/hatch/{late.ref}/" not in text
    assert f"/hatch/{late.ref}/" in client_as(lead).get("/hatch/").content.decode()
    assert client_as(observer).get(f"/hatch/{late.ref}/").status_code == 403


def test_a_litter_ends_in_the_sitting(lead: Person, client_as: ClientAs, frozen: datetime) -> None:
    """Its young are identified where hatchlings are."""
    dam = make_female(of=BOA)
    client = client_as(lead)
    form = {"female": dam.ref, "born_at": "2027-04-06T15:00", "alive": "2", "stillborn": "0", "slugs": "1"}
    answer = client.post("/hatch/litter/", form, follow=True)
    assert "A litter: no eggs." in answer.content.decode()
    assert Animal.objects.filter(dam=dam).count() == 2


def test_nursery_filters_and_empty_state(lead: Person, client_as: ClientAs, frozen: datetime) -> None:
    """Each filter answers; nothing there is said."""
    client = client_as(lead)
    assert "No young here." in client.get("/nursery/").content.decode()
    young = hatched()
    for query in ("", "?show=ready", "?show=missing", "?show=asks", "?order=tub", "?order=lacks", "?species=nothing"):
        assert client.get(f"/nursery/{query}").status_code == 200
    assert young.code in client.get("/nursery/?show=missing").content.decode()
    assert young.code not in client.get("/nursery/?show=ready").content.decode()


def test_the_incubation_room_shows_an_excursion_with_its_boxes(
    lead: Person, client_as: ClientAs, frozen: datetime
) -> None:
    """Out of band, silent, in its window: words, accent, and six lines of what to do."""
    brood = incubating(days_ago=57)
    hatch_forecast_refresh(by=lead, brood=brood)
    probe = trace_of(Incubator.objects.get(), 31.5, days=2)
    client = client_as(lead)
    assert "in band" in client.get("/incubation/").content.decode()
    readings_record(by=lead, probe=probe, readings=[(frozen + timedelta(minutes=1), 34.0)])
    text = client.get("/incubation/").content.decode()
    assert "too warm" in text
    assert "What to do now" in text
    assert "Nobody has acknowledged this alarm." in text
    assert "Inside: B-001, 4 eggs" in text
    page = client.get(f"/incubation/broods/{brood.ref}/").content.decode()
    assert "excursion" in page


def test_a_whole_box_is_looked_over_from_its_page(lead: Person, client_as: ClientAs, frozen: datetime) -> None:
    """Once for each egg, a double tap once; a slug and back; left the facility with a reason."""
    brood = incubating(eggs=3, days_ago=10)
    eggs = eggs_of(brood, EggState.IN_BOX)
    client = client_as(lead)
    form = {"eggs": [egg.ref for egg in eggs], "kind": "candled", "finding": "veins", "request_key": "w"}
    for _ in range(2):
        assert client.post(f"/incubation/broods/{brood.ref}/checks/", form).status_code == 302
    assert EggCheck.objects.filter(kind="candled", finding="veins").count() == 3
    assert "candled 6 Apr: veins" in client.get(f"/incubation/broods/{brood.ref}/").content.decode()
    for act, state in (("slug", "slug"), ("keep", "collected")):
        client.post(f"/incubation/eggs/{eggs[0].ref}/{act}/")
        assert Egg.objects.get(pk=eggs[0].pk).state == state
    client.post(f"/incubation/eggs/{eggs[1].ref}/leave/", {"reason": "lent to the university"})
    assert Egg.objects.get(pk=eggs[1].pk).state == EggState.LEFT


def test_the_room_asks_no_more_queries_for_more_boxes(lead: Person, client_as: ClientAs, frozen: datetime) -> None:
    """One box or five."""
    client = client_as(lead)
    counts = []
    for more in (1, 4):
        for _ in range(more):
            hatch_forecast_refresh(by=lead, brood=incubating(days_ago=20))
        client.get("/incubation/")
        with CaptureQueriesContext(connection) as seen:
            client.get("/incubation/")
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_the_api_settles_a_sire_and_looks_over_eggs(lead: Person, api_as: ApiAs, frozen: datetime) -> None:
    """Every act of the pages is an act of the API."""
    api = api_as(lead)
    young = hatched()
    male = make_male()
    body = {"sire": male.ref, "why": "a test of the laboratory"}
    settled = api.post(f"/api/v1/young/{young.ref}/settle-sire/", body)
    assert settled.status_code == 200, settled.content
    assert settled.json()["sire"] == male.code
    eggs = [egg.ref for egg in eggs_of(incubating(days_ago=8), EggState.IN_BOX)]
    looked = api.post("/api/v1/eggs/checks/", {"eggs": eggs}, headers={"Idempotency-Key": "k"})
    assert looked.status_code == 201, looked.content
    api.post("/api/v1/eggs/checks/", {"eggs": eggs}, headers={"Idempotency-Key": "k"})
    assert EggCheck.objects.count() == len(eggs)
    slug = api.post(f"/api/v1/eggs/{eggs[0]}/slug/", {})
    assert slug.json()["state"] == "slug"
    assert api.post(f"/api/v1/eggs/{eggs[0]}/keep/", {}).json()["state"] == "collected"
    assert api.post(f"/api/v1/eggs/{eggs[0]}/keep/", {}).status_code == 409
