"""The page of a cross and its twin in the API; trait values; what is typed wrong stands beside its field."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from fractions import Fraction

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.errors import UnknownTrait
from apps.animals.models import TraitValue
from apps.animals.selectors.crosses import CrossAnswer, CrossAsked, clutch_read, cross_answer
from apps.animals.services import trait_value_drop, trait_value_set, welfare_lift
from apps.core.errors import Invalid, Many, NotAllowed
from tests.factories.animals import GECKO, make_female, make_male, species

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
PYTHON_PAGE = {"species": "python-regius"}


def ask(dam: str, sire: str, clutch: str = "6", of: str = "Python regius", phase: str = "") -> CrossAnswer:
    return cross_answer(CrossAsked(species(of), dam, sire, clutch, phase))


def test_two_possible_hets_average_the_doubt_outside_the_power() -> None:
    # worked case W6: 3367/9216, not 1 - (8/9)^6
    answer = ask("66% het Clown", "66% het Clown")
    row = next(row for row in answer.result.looks if row.look == "Clown")
    assert row.probability == Fraction(1, 9)
    assert row.at_least_one == pytest.approx(3367 / 9216)


def test_clutch_is_a_number_or_a_range() -> None:
    assert clutch_read(" 6 ") == {6: Fraction(1)}
    assert clutch_read("4-5") == {4: Fraction(1, 2), 5: Fraction(1, 2)}
    for wrong in ("0", "101", "8-4", "six", "-3"):
        with pytest.raises(Invalid) as caught:
            clutch_read(wrong)
        assert caught.value.field == "clutch"


def test_every_wrong_entry_is_named_at_once() -> None:
    with pytest.raises(Many) as caught:
        ask("Clwon", "", "200")
    told = {error.field: error.message for error in caught.value.errors}
    assert set(told) == {"dam", "sire", "clutch"}
    assert "Did you mean Clown" in told["dam"]
    assert "1 to 100" in told["clutch"]


def test_recorded_animals_are_named_by_code_and_their_kinship_comes_with_them() -> None:
    dam, sire = make_female(code="D-1", traits="Pastel"), make_male(code="S-1", traits="het Clown")
    sister = make_female(
        code="D-2", dam=dam, sire=sire, hatched_on=date(2024, 7, 1), acquired_on=None, traits="het Clown"
    )
    answer = ask("d-2", "S-1")
    assert answer.kinship is not None
    assert answer.kinship["f"] == pytest.approx(0.25)  # textbook: parent and young
    assert answer.dam.animal == sister
    with pytest.raises(Many, match="cannot be the dam"):
        ask("S-1", "S-1")
    with pytest.raises(Many, match="Did you mean D-1"):
        ask("D-11", "S-1")
    with pytest.raises(Many, match="is a ball python, not a leopard gecko"):
        ask("D-1", "normal", of=GECKO)


def test_a_sex_linked_sire_needs_no_explaining() -> None:
    answer = ask("normal", "Banana")
    assert answer.by_sex
    assert answer.phase_assumed
    assert {row.look for row in answer.result.looks} == {"Banana", "normal"}
    assert not ask("normal", "Banana", phase="male-maker").phase_assumed
    assert not ask("normal", "Pastel", phase="male-maker").by_sex


def test_values_are_set_by_the_lead_and_every_change_is_kept(lead: Person, keeper: Person) -> None:
    kind = species()
    with pytest.raises(NotAllowed):
        trait_value_set(by=keeper, species=kind, notation="Clown", amount_minor=60000)
    row = trait_value_set(by=lead, species=kind, notation="clown pastel", amount_minor=60000)
    assert (row.notation, row.currency) == ("Pastel Clown", "USD")
    trait_value_set(by=lead, species=kind, notation="Pastel Clown", amount_minor=70000)
    assert TraitValue.objects.get().amount_minor == 70000
    details = [one.detail for one in AuditRow.objects.filter(act="trait-value.set").order_by("pk")]
    assert [(one["before"], one["after"]) for one in details] == [(None, 60000), (60000, 70000)]
    for wrong, field in (("Clwon", "notation"), ("66% het Clown", "notation")):
        with pytest.raises(UnknownTrait) as caught:
            trait_value_set(by=lead, species=kind, notation=wrong, amount_minor=5)
        assert caught.value.field == field
    with pytest.raises(Invalid):
        trait_value_set(by=lead, species=kind, notation="Clown", amount_minor=0)
    trait_value_drop(by=lead, value=row)
    trait_value_drop(by=lead, value=row)
    assert not TraitValue.objects.exists()
    assert AuditRow.objects.filter(act="trait-value.drop").count() == 1


def test_the_closest_value_counts_and_what_has_none_counts_nothing(lead: Person) -> None:
    kind = species()
    assert ask("Pastel het Clown", "het Clown").worth is None
    trait_value_set(by=lead, species=kind, notation="Clown", amount_minor=40000)
    trait_value_set(by=lead, species=kind, notation="Pastel Clown", amount_minor=60000)
    worth = ask("Pastel het Clown", "het Clown").worth
    assert worth is not None
    # an eighth is Pastel Clown, an eighth is Clown alone; three quarters have no value
    assert (worth.per_young, worth.priced) == (Fraction(60000 + 40000, 8), Fraction(1, 4))
    trait_value_set(by=lead, species=kind, notation="normal", amount_minor=1000)
    worth = ask("Pastel het Clown", "het Clown").worth
    assert worth is not None
    assert worth.priced == 1
    trait_value_set(by=lead, species=kind, notation="Clown", sex="male", amount_minor=80000)
    sexed = ask("Clown", "Clown").worth
    assert sexed is not None
    assert sexed.per_young == Fraction(40000 + 80000, 2)


def test_a_blocked_cross_has_no_value_until_lifted(lead: Person, owner: Person) -> None:
    kind = species()
    trait_value_set(by=lead, species=kind, notation="normal", amount_minor=1000)
    blocked = ask("Spider", "normal")
    assert [block.name for block in blocked.blocks] == ["Spider"]
    assert blocked.worth is None
    welfare_lift(by=owner, species=kind, pattern="Spider", reason="One last season of this line.")
    lifted = ask("Spider", "normal")
    assert (lifted.blocks, lifted.lifted) == ((), ("Spider",))
    assert lifted.worth is not None


def test_the_page_answers_and_keeps_what_was_typed(client_as: ClientAs, observer: Person, lead: Person) -> None:
    client = client_as(observer)
    assert "Name two animals" in client.get("/cross/").content.decode()
    asked = {**PYTHON_PAGE, "dam": "Pastel het Clown", "sire": "Spider 66% het Clown", "clutch": "6"}
    page = client.get("/cross/", asked).content.decode()
    assert "Out of every suggestion and value" in page
    assert "Bumblebee" in page
    assert "At least one of 6" in page
    assert "Expected value" not in page  # an observer sees no money
    assert "Expected value" in client_as(lead).get("/cross/", asked).content.decode()
    wrong = client.get("/cross/", {**asked, "dam": "Pastel het Clwon"})
    assert wrong.status_code == 200
    words = wrong.content.decode()
    assert "Did you mean Clown" in words
    assert 'value="Pastel het Clwon"' in words
    lost = client.get("/cross/", {**PYTHON_PAGE, "dam": "Spider", "sire": "Spider"}).content.decode()
    assert "25 % of the eggs are expected to be lost" in lost
    alone = client.get("/cross/", {**PYTHON_PAGE, "dam": "het Clown", "alone": "on"}).content.decode()
    assert "Clown" in alone
    assert "Not answered yet" not in alone


def test_values_have_a_page(client_as: ClientAs, lead: Person, observer: Person) -> None:
    address = f"/species/{species().ref}/values/"
    assert client_as(observer).get(address).status_code == 403
    client = client_as(lead)
    typed = {"notation": "Clown", "sex": "unknown", "amount": "400", "request_key": "k"}
    for _ in range(2):
        assert client.post(address, typed).status_code == 302
    assert "400.00 USD" in client.get(address).content.decode()
    assert client.post(address, {**typed, "notation": "Clwon", "request_key": "m"}).status_code == 400
    row = TraitValue.objects.get()
    assert client.post(f"/trait-values/{row.ref}/drop/").status_code == 302
    assert not TraitValue.objects.exists()


def test_the_api_says_the_same(api_as: ApiAs, lead: Person, observer: Person) -> None:
    made = api_as(lead).post(
        "/api/v1/trait-values/",
        {"species": "ball python", "notation": "Clown", "amount_minor": 40000},
        format="json",
    )
    assert made.status_code == 201
    asked = {"species": "ball python", "dam": "het Clown", "sire": "het Clown", "clutch": "4"}
    answer = api_as(lead).get("/api/v1/crosses/", asked).json()
    assert {row["look"]: row["exact"] for row in answer["looks"]} == {"normal": "3/4", "Clown": "1/4"}
    assert answer["value_minor"] == 40000
    assert api_as(observer).get("/api/v1/crosses/", asked).json()["value_minor"] is None
    wrong = api_as(observer).get("/api/v1/crosses/", {**asked, "dam": "Clwon"})
    assert wrong.status_code == 400
    assert wrong.json()["errors"][0]["field"] == "dam"
    assert api_as(observer).get("/api/v1/trait-values/").status_code == 403
    assert api_as(lead).post(f"/api/v1/trait-values/{made.json()['ref']}/drop/").status_code == 204
