"""Pages of animals: list, new, acts, holds, places, landings, labels; bad entries keep what was typed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import Settings

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HandlingAct, HoldWord, Sex, SireModel, Status
from apps.animals.models import Animal, Hold, Species, TraitStatement
from apps.animals.policies import may_handle
from apps.animals.selectors.consistency import lineage_faults
from apps.animals.services import brood_register, hold_place
from apps.animals.tasks import check_lineage
from apps.core import clock
from apps.jobs.models import Alarm, JobRun
from apps.places.models import Tub
from tests.factories.animals import make_animal, make_female, make_male, species
from tests.factories.places import make_rack, make_room

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ClientAs = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _documents(settings: Settings, tmp_path: Path) -> None:
    settings.DOCUMENT_DIR = tmp_path


def html(response: object) -> str:
    return response.content.decode()  # type: ignore[attr-defined, no-any-return]


def test_the_list_filters_and_says_what_it_holds(client_as: ClientAs, observer: Person) -> None:
    client = client_as(observer)
    assert "No animal is recorded yet." in html(client.get("/animals/"))
    make_female(code="A-1", traits="Pastel")
    make_male(code="A-2", traits="Clown")
    gone = make_female(code="A-3")
    Animal.objects.filter(pk=gone.pk).update(status=Status.DEAD)

    def shown(**asked: str) -> set[str]:
        words = html(client.get("/animals/", asked))
        return {code for code in ("A-1", "A-2", "A-3") if f">{code}</a>" in words}

    assert shown() == {"A-1", "A-2"}
    assert shown(status="") == {"A-1", "A-2", "A-3"}
    assert shown(sex="male") == {"A-2"}
    assert shown(text="pastel") == {"A-1"}
    assert shown(species="boa-imperator") == set()
    assert shown(text="clown a-2") == {"A-2"}
    words = html(client.get("/animals/"))
    assert "2 animals here, 1 dead." in words
    assert "Loosen a filter" in html(client.get("/animals/", {"text": "zzz"}))


def test_the_list_does_not_grow_in_queries(client_as: ClientAs, observer: Person) -> None:
    client = client_as(observer)
    dam, sire = make_female(hatched_on=None), make_male(hatched_on=None)

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert client.get("/animals/").status_code == 200
        return len(caught)

    client.get("/animals/")
    few = queries()
    rack = make_rack(levels=3, columns=3)
    for tub in rack.tubs.all():
        make_animal(Sex.MALE, dam=dam, sire=sire, tub=tub)
    assert queries() == few


def test_an_animal_is_registered_from_the_page(client_as: ClientAs, lead: Person) -> None:
    client = client_as(lead)
    make_rack()
    dam = make_female(code="D-1")
    assert "PR-0001" in html(client.get("/animals/new/"))
    values = {
        "species": "python-regius",
        "code": "N-1",
        "sex": "female",
        "purpose": "breeder",
        "origin": "bred here",
        "traits": "clown pastel",
        "dam": "d-1",
        "tub": "3b-02",
        "hatched_on": "2025-07-01",
        "request_key": "k1",
    }
    for _ in range(2):
        assert client.post("/animals/new/", values).status_code == 302
    young = Animal.objects.get(code="N-1")
    assert (young.dam, young.traits, young.tub) == (dam, "Pastel Clown", Tub.objects.get(label="3B-02"))
    assert AuditRow.objects.filter(act="animal.register", subject_ref=young.ref).count() == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"code": "D-1"}, "never reused"),
        ({"code": "=A"}, "formula"),
        ({"traits": "Clwon"}, "Clown"),
        ({"dam": "D-2"}, "There is no animal D-2. Did you mean D-1?"),
        ({"dam": "S-1"}, "must be female"),
        ({"sire": "D-1"}, "must be male"),
        ({"hatched_on": "2019-01-01", "dam": "D-1"}, "older than its young"),
        ({"hatched_on": "2031-01-01"}, "future"),
        ({"tub": "9Z-1"}, "no tub labelled"),
        ({"species": "python"}, "valid choice"),
        ({"dam": "B-1"}, "hybrid"),
    ],
)
def test_a_wrong_entry_names_the_field_and_keeps_what_was_typed(
    change: dict[str, str], words: str, client_as: ClientAs, lead: Person
) -> None:
    make_female(code="D-1")
    make_male(code="S-1")
    make_animal(Sex.FEMALE, of="Boa imperator", code="B-1")
    values = {"species": "python-regius", "code": "N-1", "sex": "unknown", "purpose": "stock", "origin": "unknown"}
    answer = client_as(lead).post("/animals/new/", {**values, "hatched_on": "2025-07-01", **change})
    page = html(answer)
    assert answer.status_code == 400
    assert words in page
    name, typed = next(iter(change.items()))
    assert typed in page, name
    assert not Animal.objects.filter(code="N-1").exists()


def test_the_acts_of_one_animal(client_as: ClientAs, lead: Person) -> None:
    client = client_as(lead)
    rack = make_rack()
    animal, sire = make_female(code="A-1"), make_male(code="S-1", hatched_on=None)
    at = f"/animals/{animal.ref}"
    for act in ("edit", "move", "traits", "status", "sire", "holds"):
        assert client.get(f"{at}/{act}/").status_code == 200, act

    def done(act: str, **values: object) -> None:
        answer = client.post(f"{at}/{act}/", values)
        assert answer.status_code == 302, html(answer)

    edited = {"name": "Ada", "sex": "female", "purpose": "holdback", "origin": "acquired", "hatched_on": "2021-07-11"}
    done("edit", **edited, acquired_on="2022-03-01")
    done("move", tub="3B-04", reason="larger")
    done("traits", notation="super pastel", basis="seen")
    done("sire", sire="s-1", why="lock seen")
    animal.refresh_from_db()
    assert (animal.name, animal.purpose, animal.sire, animal.traits) == ("Ada", "holdback", sire, "super Pastel")
    assert animal.tub == rack.tubs.get(label="3B-04")
    assert TraitStatement.objects.filter(animal=animal).latest("stated_at").basis == "seen"
    assert "Settled by" in html(client.get(f"{at}/sire/"))
    done("status", status="loaned", on="2027-04-05")
    assert Animal.objects.filter(pk=animal.pk, status=Status.LOANED, tub=None).exists()
    assert ">sold<" not in html(client.get(f"{at}/status/"))
    assert "is loaned, not here" in html(client.post(f"{at}/move/", {"tub": "3B-01"}))
    assert client.post(f"{at}/status/", {"status": "sold", "on": "2027-04-05"}).status_code == 400


def test_a_young_animal_cannot_become_its_own_grandmothers_sire(client_as: ClientAs, lead: Person) -> None:
    sire = make_male(code="S-1", hatched_on=None)
    son = make_male(code="S-2", sire=sire, hatched_on=None)
    answer = client_as(lead).post(f"/animals/{sire.ref}/sire/", {"sire": son.code, "why": "a test"})
    assert "cannot be its own ancestor" in html(answer)


def test_rights(client_as: ClientAs, keeper: Person, observer: Person, sales: Person) -> None:
    animal = make_female()
    at = f"/animals/{animal.ref}"
    for act in ("edit", "traits", "status", "sire", "holds"):
        assert client_as(keeper).post(f"{at}/{act}/", {}).status_code == 403, act
    assert client_as(keeper).post(f"{at}/move/", {}).status_code == 400
    assert client_as(observer).post(f"{at}/move/", {}).status_code == 403
    assert client_as(sales).post("/animals/new/", {}).status_code == 403
    assert client_as(observer).post("/species/", {}).status_code == 403
    assert client_as(observer).get("/animals/").status_code == 200
    anonymous = Client().get(f"/a/{animal.ref}/")
    assert anonymous.status_code == 302
    assert f"next=/a/{animal.ref}/" in anonymous["Location"]


def test_holds_are_set_and_ended_by_those_who_may(
    client_as: ClientAs, owner: Person, lead: Person, keeper: Person
) -> None:
    animal = make_female()
    at = f"/animals/{animal.ref}/holds/"
    values = {"word": "treatment", "reason": "mites, as prescribed", "ends_at": "2027-05-01T12:00"}
    assert client_as(lead).post(at, values).status_code == 302
    hold = Hold.objects.get()
    assert clock.local(hold.ends_at).hour == 12  # type: ignore[arg-type]
    assert not may_handle(animal, HandlingAct.SELL)
    assert "treatment: mites" in html(client_as(keeper).get(at))
    assert client_as(keeper).post(f"/holds/{hold.ref}/end/").status_code == 403
    assert client_as(lead).post(f"/holds/{hold.ref}/end/").status_code == 302
    assert may_handle(animal, HandlingAct.SELL)
    fed = hold_place(
        by=owner,
        word=HoldWord.FED,
        begins_at=clock.now(),
        ends_at=clock.now() + timedelta(hours=48),
        reason="meal",
        animal=animal,
        source_kind="meal",
        source_ref="1",
    )
    assert client_as(lead).post(f"/holds/{fed.ref}/end/").status_code == 403, "a welfare block is the owner's to lift"
    assert client_as(owner).post(f"/holds/{fed.ref}/end/").status_code == 302


def test_a_rack_closed_off_holds_everybody_in_it(client_as: ClientAs, lead: Person) -> None:
    rack = make_rack()
    animal = make_female(tub=rack.tubs.all()[0])
    client = client_as(lead)
    values = {"rack": rack.ref, "word": "disease", "reason": "cough heard"}
    assert client.post("/places/holds/new/", values).status_code == 302
    assert not may_handle(animal, HandlingAct.MOVE)
    page = html(client.get("/places/"))
    assert "disease" in page
    assert "cough heard" in page
    assert "9 tubs, 1 with an animal" in page
    assert client.post("/places/holds/new/", {**values, "room": rack.room.ref}).status_code == 400
    assert client.post(f"/holds/{Hold.objects.get().ref}/end/").status_code == 302


def test_places_are_drawn_in_a_fixed_number_of_queries(client_as: ClientAs, observer: Person) -> None:
    client = client_as(observer)
    rack = make_rack()
    client.get("/places/")
    with CaptureQueriesContext(connection) as few:
        client.get("/places/")
    for number in range(3):
        for tub in make_rack(make_room(f"Room {number}"), prefix=f"{number}X").tubs.all():
            make_female(tub=tub)
    with CaptureQueriesContext(connection) as many:
        client.get("/places/")
    assert len(many) == len(few)
    assert client.get(f"/places/racks/{rack.ref}/").status_code == 200
    assert client.get("/places/racks/zzzzzzzzzz/").status_code == 404


def test_where_a_printed_code_leads(client_as: ClientAs, keeper: Person) -> None:
    rack = make_rack()
    tub, other = rack.tubs.order_by("walk_order")[:2]
    client = client_as(keeper)
    assert "It is empty" in html(client.get(f"/p/{tub.ref}/"))
    animal = make_female(tub=tub)
    assert client.get(f"/p/{tub.ref}/")["Location"] == f"/animals/{animal.ref}/"
    assert client.get(f"/a/{animal.ref}/")["Location"] == f"/animals/{animal.ref}/"
    make_female(tub=tub)
    page = html(client.get(f"/p/{tub.ref}/"))
    assert "2 animals are recorded in it" in page
    assert "2 animals in" in html(client.get(f"/places/racks/{rack.ref}/"))
    for wrong in (f"/p/{other.label}/", "/p/zzzzzzzzzz/", "/a/zzzzzzzzzz/", f"/a/{tub.ref}/"):
        assert client.get(wrong).status_code == 404, wrong


def test_species_and_their_numbers(client_as: ClientAs, lead: Person) -> None:
    client = client_as(lead)
    form = {"scientific": "Morelia viridis", "common": "green tree python", "mode": "eggs", "code_prefix": "MV"}
    assert client.post("/species/", form).status_code == 302
    fresh = Species.objects.get(slug="morelia-viridis")
    assert "no profile" in html(client.get(f"/species/{fresh.ref}/"))
    python = species()
    at = f"/species/{python.ref}/"
    assert "common practice, no source" in html(client.get(at))
    assert client.post(f"{at}lines.stop_mm/", {"value": "36", "note": "ours"}).status_code == 302
    page = html(client.get(at))
    assert "house rule, set by" in page
    assert client.get(f"{at}no.such/").status_code == 404


def test_the_sires_of_a_brood(client_as: ClientAs, lead: Person) -> None:
    dam, first, second = make_female(), make_male(), make_male()
    brood = brood_register(by=lead, kind="clutch", species=dam.species, dam=dam, on=clock.today())  # type: ignore[arg-type]
    client = client_as(lead)
    at = f"/broods/{brood.ref}/sires/"
    values = {"sire_model": "mixed", "male_1": first.code, "share_1": 60, "male_2": second.code, "share_2": 30}
    assert "sum to 0.900" in html(client.post(at, values))
    assert client.post(at, {**values, "stored": 10}).status_code == 302
    brood.refresh_from_db()
    assert brood.sire_model == SireModel.MIXED
    assert sorted(brood.sire_candidates.values_list("prior", flat=True)) == [0.1, 0.3, 0.6]
    assert 'value="60"' in html(client.get(at))


def test_the_nightly_check_finds_what_no_service_writes() -> None:
    sire = make_male(code="S", hatched_on=None)
    son = make_male(code="T", sire=sire, hatched_on=None)
    check_lineage()
    assert JobRun.objects.latest("pk").decided == "0 faults"
    assert Alarm.objects.count() == 0
    Animal.objects.filter(pk=sire.pk).update(sire=son)
    Animal.objects.filter(pk=son.pk).update(sex=Sex.FEMALE)
    faults = lineage_faults()
    assert any("loop" in fault for fault in faults)
    assert any("is female" in fault for fault in faults)
    check_lineage()
    check_lineage()
    assert Alarm.objects.get().resolved_at is None
    Animal.objects.filter(pk=sire.pk).update(sire=None)
    Animal.objects.filter(pk=son.pk).update(sex=Sex.MALE)
    check_lineage()
    assert Alarm.objects.get().resolved_at is not None
