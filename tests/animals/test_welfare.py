"""Welfare blocks: which crosses are out, what the owner lifts by name, on record, on the page and by the API."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import AuditRow, Person
from apps.animals.models import Animal, WelfareLift
from apps.animals.selectors.welfare import UNREADABLE, welfare_blocks, welfare_lifted
from apps.animals.services import welfare_lift, welfare_lift_withdraw
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState
from tests.factories.animals import CORN, make_female, make_male, species

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
WHY = "Kept for one last season of this line."


def blocked(dam: str, sire: str, of: str = "Python regius") -> dict[str, Fraction]:
    pair = (make_female(of=of, traits=dam), make_male(of=of, traits=sire))
    found = welfare_blocks(species(of), [pair])
    return {block.name: block.share for block in found.get((pair[0].pk, pair[1].pk), ())}


def test_lethal_and_neurological_crosses_are_out() -> None:
    # shares are Mendel's: one carrier gives half, two give a quarter with two copies
    assert blocked("Spider", "normal") == {"Spider": Fraction(1, 2)}
    assert blocked("Spider", "Spider") == {"Spider": Fraction(3, 4), "two copies of Spider": Fraction(1, 4)}
    assert blocked("Spotnose", "Spotnose") == {"two copies of Spotnose": Fraction(1, 4)}
    assert blocked("Spotnose", "Pastel") == {}
    assert blocked("Spider", "Champagne") == {
        "Spider": Fraction(1, 2),
        "Spider with Champagne": Fraction(1, 4),
        "Champagne": Fraction(1, 2),
    }
    assert blocked("66% het Stargazer", "het Stargazer", CORN) == {"two copies of Stargazer": Fraction(1, 6)}
    assert blocked("het Stargazer", "normal", CORN) == {}


def test_a_fact_about_dams_blocks_the_dam_alone() -> None:
    assert blocked("Desert", "normal") == {"Desert dam": Fraction(1)}
    assert blocked("normal", "Desert") == {}


def test_parthenogenesis_counts_the_dam_for_both() -> None:
    dam = make_female(traits="Spotnose")
    assert [block.name for block in welfare_blocks(species(), [(dam, None)])[dam.pk, None]] == [
        "two copies of Spotnose"
    ]


def test_a_statement_that_cannot_be_read_blocks() -> None:
    dam, sire = make_female(), make_male(traits="Pastel")
    Animal.objects.filter(pk=dam.pk).update(traits="Zorg")
    dam.refresh_from_db()
    assert [block.name for block in welfare_blocks(species(), [(dam, sire)])[dam.pk, sire.pk]] == [UNREADABLE]


def test_many_pairs_cost_one_query() -> None:
    dams = [make_female(traits=words) for words in ("Spider", "Pastel", "normal", "Desert")]
    sires = [make_male(traits=words) for words in ("Spider", "Clown", "Champagne")]
    kind = species()
    with CaptureQueriesContext(connection) as caught:
        found = welfare_blocks(kind, [(dam, sire) for dam in dams for sire in sires])
    assert len(caught) == 1
    assert len(found) == 3 + 2 + 2 + 3


def test_the_owner_lifts_by_name_and_it_stays_on_record(owner: Person, lead: Person) -> None:
    kind = species()
    with pytest.raises(NotAllowed):
        welfare_lift(by=lead, species=kind, pattern="Spider", reason=WHY)
    with pytest.raises(Invalid, match=r"blocks nothing.*two copies of Spotnose"):
        welfare_lift(by=owner, species=kind, pattern="Pastel", reason=WHY)
    with pytest.raises(Invalid, match="Say why"):
        welfare_lift(by=owner, species=kind, pattern="Spider", reason="because")
    lift = welfare_lift(by=owner, species=kind, pattern="Spider", reason=WHY)
    with pytest.raises(Duplicate):
        welfare_lift(by=owner, species=kind, pattern="Spider", reason=WHY)
    assert welfare_lifted(kind) == {"Spider"}
    assert blocked("Spider", "normal") == {}
    assert blocked("Spider", "Spider") == {"two copies of Spider": Fraction(1, 4)}
    assert "Starck" in lift.fact
    assert AuditRow.objects.filter(act="welfare.lift", subject_ref=lift.ref, by=owner).exists()
    welfare_lift_withdraw(by=lead, lift=lift, reason="wobbling young")
    with pytest.raises(WrongState):
        welfare_lift_withdraw(by=lead, lift=lift)
    assert welfare_lifted(kind) == set()
    welfare_lift(by=owner, species=kind, pattern="Spider", reason=WHY)
    assert WelfareLift.objects.count() == 2


def test_the_page_shows_facts_and_takes_the_owners_lift(client_as: ClientAs, owner: Person, keeper: Person) -> None:
    kind = species()
    address = f"/species/{kind.ref}/welfare/"
    page = client_as(keeper).get(address).content.decode()
    assert "two copies of Spotnose" in page
    assert "Lift one" not in page
    assert client_as(keeper).post(address, {"pattern": "Spider", "reason": WHY}).status_code == 403
    client = client_as(owner)
    refused = client.post(address, {"pattern": "Spider", "reason": "short"})
    assert refused.status_code == 400
    assert "Say why in a sentence" in refused.content.decode()
    for _ in range(2):
        assert client.post(address, {"pattern": "Spider", "reason": WHY, "request_key": "k"}).status_code == 302
    page = client.get(address).content.decode()
    assert WHY in page
    lift = WelfareLift.objects.get()
    assert client.post(f"/welfare-lifts/{lift.ref}/withdraw/", {"reason": "enough"}).status_code == 302
    assert "blocked again" in client.get(address).content.decode()


def test_the_api_lifts_and_withdraws(api_as: ApiAs, owner: Person, lead: Person) -> None:
    asked = {"species": "ball python", "pattern": "Champagne", "reason": WHY}
    assert api_as(lead).post("/api/v1/welfare-lifts/", asked, format="json").status_code == 403
    made = api_as(owner).post("/api/v1/welfare-lifts/", asked, format="json")
    assert made.status_code == 201
    ref = made.json()["ref"]
    wrong = api_as(owner).post("/api/v1/welfare-lifts/", {**asked, "pattern": "Pastel"}, format="json")
    assert wrong.status_code == 400
    assert "pattern" in str(wrong.json()["errors"])
    assert len(api_as(lead).get("/api/v1/welfare-lifts/?species=ball python").json()["results"]) == 1
    ended = api_as(lead).post(f"/api/v1/welfare-lifts/{ref}/withdraw/", {"reason": "enough"}, format="json")
    assert ended.json()["withdrawn_by"] == lead.name
