"""The house edits a trait catalogue: on record, versioned, and what rests on it follows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.events import CatalogueEdited
from apps.animals.models import Animal, CarriedBelief, CatalogueEdit, Species, Trait
from apps.animals.reactions import beliefs_anew
from apps.animals.selectors import catalogue_of
from apps.animals.services import (
    animal_register,
    catalogue_edit,
    catalogue_edit_withdraw,
    notation_checked,
    species_add,
)
from apps.core.errors import Invalid, NotAllowed, WrongState
from tests.factories.animals import make_female, make_male, species

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
WHY = "Proven here in three broods of 2025."
BODY = {
    "series": "HOUSE",
    "name": "Ember Glow",
    "inheritance": "recessive",
    "evidence": "common practice",
    "source": "proven here in three broods",
}


def fresh() -> Species:
    return Species.objects.get(pk=species().pk)


def edit(by: Person, body: dict[str, Any] | None = None, kind: str = "trait", **more: Any) -> CatalogueEdit:
    return catalogue_edit(by=by, species=fresh(), kind=kind, body=body or BODY, reason=WHY, **more)


def test_a_new_trait_is_known_everywhere(lead: Person) -> None:
    with pytest.raises(Invalid):
        notation_checked(fresh(), "het Ember Glow")
    made = edit(lead)
    assert notation_checked(fresh(), "het ember glow") == "normal het Ember Glow"
    assert Trait.objects.get(species=species(), name="Ember Glow").series == "HOUSE"
    assert (made.number, made.about, made.by) == (1, "Ember Glow", lead)
    assert AuditRow.objects.filter(act="catalogue.edit").count() == 1


def test_what_rests_on_it_follows(lead: Person) -> None:
    """Het by het, changed from recessive to dominant: what their young carry is worked out anew."""
    edit(lead)
    dam, sire = make_female(traits="het Ember Glow"), make_male(traits="het Ember Glow")
    young = animal_register(by=lead, code="Y-1", species=fresh(), dam=dam, sire=sire)
    beliefs_anew(CatalogueEdited(fresh().ref))
    before = CarriedBelief.objects.get(animal=young, series="HOUSE")
    assert before.carries == pytest.approx(0.75)  # Mendel: three quarters of het x het carry
    with pytest.raises(Invalid, match="2 animals speak") as caught:
        edit(lead, {**BODY, "two_copies": "unknown"})
    assert caught.value.field == "sure"
    edit(lead, {**BODY, "two_copies": "unknown"}, sure=True)
    beliefs_anew(CatalogueEdited(fresh().ref))
    after = CarriedBelief.objects.get(animal=young, series="HOUSE")
    assert after.input_hash != before.input_hash


def test_it_is_taken_back_unless_animals_speak_of_it(lead: Person) -> None:
    made = edit(lead)
    animal = make_female(traits="het Ember Glow")
    with pytest.raises(Invalid, match="het Ember Glow"):
        catalogue_edit_withdraw(by=lead, edit=made, reason=WHY)
    assert fresh().catalogue_stamp
    animal.traits = ""
    animal.save(update_fields=["traits"])
    catalogue_edit_withdraw(by=lead, edit=made, reason=WHY)
    assert fresh().catalogue_stamp == ""
    assert not Trait.objects.filter(name="Ember Glow").exists()
    with pytest.raises(WrongState):
        catalogue_edit_withdraw(by=lead, edit=made, reason=WHY)
    assert edit(lead).number == 2, "a number is never used twice"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({**BODY, "inheritance": "maternal"}, "inheritance"),
        ({**BODY, "name": "Pastel"}, "series"),
        ({**BODY, "name": "x" * 61}, "name"),
        ({**BODY, "source": ""}, "source"),
        ({**BODY, "aliases": ["Clown"]}, "name"),
        ({**BODY, "evidence": "hearsay"}, "evidence"),
    ],
)
def test_bad_edits_name_their_field_and_write_nothing(lead: Person, body: dict[str, Any], field: str) -> None:
    with pytest.raises(Invalid) as caught:
        edit(lead, body)
    assert caught.value.field == field
    assert not CatalogueEdit.objects.exists()
    assert fresh().catalogue_stamp == ""


def test_who_may(keeper: Person, owner: Person) -> None:
    with pytest.raises(NotAllowed):
        edit(keeper)
    edit(owner)


def test_a_repeat_is_one_edit(lead: Person) -> None:
    first = edit(lead, request_key="0b9f3c51-6f0e-4c55-9d5e-3f5a6f5f1a11")
    again = edit(lead, request_key="0b9f3c51-6f0e-4c55-9d5e-3f5a6f5f1a11")
    assert first.pk == again.pk
    assert CatalogueEdit.objects.count() == 1


def test_a_known_catalogue_costs_no_query(lead: Person) -> None:
    edit(lead)
    row = fresh()
    catalogue_of(row)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        catalogue_of(row)
    assert len(asked) == 0


def test_edits_that_a_newer_file_contradicts_are_left_out_and_told(
    lead: Person, client_as: Callable[[Person], Client]
) -> None:
    made = edit(lead)
    # as if the next release shipped the word under another series
    CatalogueEdit.objects.filter(pk=made.pk).update(body={**BODY, "name": "Pastel"})
    Species.objects.filter(pk=species().pk).update(catalogue_stamp="000000000000")
    found = catalogue_of(fresh())
    assert found is not None
    assert "HOUSE" not in found.by_code
    assert "are left out" in client_as(lead).get(f"/species/{fresh().ref}/catalogue/").content.decode()


def test_the_page_adds_asks_and_takes_back(lead: Person, client_as: Callable[[Person], Client]) -> None:
    client, address = client_as(lead), f"/species/{fresh().ref}/catalogue/"
    data = {**BODY, "reason": WHY, "add-trait": "1"}
    bad = client.post(address, {**data, "name": "Pastel"})
    assert bad.status_code == 400
    assert "stands in series PAS" in bad.content.decode()
    assert client.post(address, data).status_code == 302
    assert "Ember Glow" in client.get(address).content.decode()
    assert "I am sure" not in client.get(address).content.decode()
    make_female(traits="het Ember Glow")
    asked = client.post(address, {**data, "two_copies": "unknown"})
    assert "1 animal speaks of this series" in asked.content.decode()
    assert "I am sure" in asked.content.decode()
    pair = {"first": "Mojave", "second": "Lesser", "called": "Glass Noodle"}
    assert client.post(address, {**pair, "reason": WHY, "add-pair": "1"}).status_code == 302
    mild = {"trait": "Spider", "copies": "1", "harm": "eyes", "fact": "none", "evidence": "disputed", "source": "heard"}
    refused = client.post(address, {**mild, "reason": WHY, "add-welfare": "1"})
    assert "lifts it by its name" in refused.content.decode()
    Animal.objects.update(traits="")
    ref = CatalogueEdit.objects.get(about="Ember Glow").ref
    assert client.post(f"/catalogue-edits/{ref}/withdraw/", {"reason": WHY}).status_code == 302
    assert CatalogueEdit.objects.get(ref=ref).withdrawn_by == lead
    assert client.post(address, {}).status_code == 302


def test_the_api_does_the_same(lead: Person, keeper: Person, api_as: Callable[[Person], APIClient]) -> None:
    sent = {"species": "ball python", "kind": "trait", "body": BODY, "reason": WHY}
    assert api_as(keeper).post("/api/v1/catalogue-edits/", sent, format="json").status_code == 403
    made = api_as(lead).post("/api/v1/catalogue-edits/", sent, format="json")
    assert made.status_code == 201, made.content
    odd = api_as(lead).post("/api/v1/catalogue-edits/", {**sent, "body": {}}, format="json")
    assert odd.status_code == 400
    ref = made.json()["ref"]
    done = api_as(lead).post(f"/api/v1/catalogue-edits/{ref}/withdraw/", {"reason": WHY}, format="json")
    assert done.json()["withdrawn_by"] == lead.name


def test_a_species_without_a_shipped_file_gets_its_own(
    lead: Person, client_as: Callable[[Person], Client], api_as: Callable[[Person], APIClient]
) -> None:
    """From nothing, on the page: the first trait begins a catalogue; names, crosses and beliefs follow; old words stay
    as typed; taken back, nothing is left."""
    kind = species_add(by=lead, scientific="Morelia viridis", common="green tree python", mode="eggs", code_prefix="MV")
    old = animal_register(by=lead, code="MV-1", species=kind, traits="blue line, they say")
    assert catalogue_of(kind) is None
    page = f"/species/{kind.ref}/catalogue/"
    client = client_as(lead)
    assert "begins one" in client.get(page).content.decode()
    typed = {
        "add-trait": "1", "series": "ALB", "name": "Albino", "inheritance": "recessive", "two_copies": "distinct",
        "evidence": "common practice", "source": "common practice, no source", "reason": WHY,
    }  # fmt: skip
    assert client.post(page, typed).status_code == 302
    row = Species.objects.get(pk=kind.pk)
    catalogue = catalogue_of(row)
    assert catalogue is not None
    assert catalogue.version == f"own-traits-2026.1+house.{row.catalogue_stamp}"
    assert notation_checked(row, "het albino") == "normal het Albino"
    assert Trait.objects.get(species=row).name == "Albino"
    asked = {"species": "Morelia viridis", "dam": "het Albino", "sire": "Albino", "clutch": "4"}
    answer = api_as(lead).get("/api/v1/crosses/", asked).json()
    assert {one["look"]: one["exact"] for one in answer["looks"]} == {"normal": "1/2", "Albino": "1/2"}
    dam = animal_register(by=lead, code="MV-2", species=row, sex="female", origin="acquired", traits="het Albino")
    young = animal_register(by=lead, code="MV-3", species=row, dam=dam)
    beliefs_anew(CatalogueEdited(row.ref))
    # half by the dam's copy, the unknown sire by the assumed frequency of 1 %
    assert CarriedBelief.objects.get(animal=young).carries == pytest.approx(1 - 0.5 * 0.99)
    assert Animal.objects.get(pk=old.pk).traits == "blue line, they say"
    assert client.get(page).status_code == 200
    made = CatalogueEdit.objects.get(species=row)
    with pytest.raises(Invalid, match="het Albino"):
        catalogue_edit_withdraw(by=lead, edit=made, reason=WHY)
    Animal.objects.filter(pk=dam.pk).update(traits="")
    catalogue_edit_withdraw(by=lead, edit=made, reason=WHY)
    assert catalogue_of(Species.objects.get(pk=kind.pk)) is None
    assert not Trait.objects.filter(species=kind).exists()
