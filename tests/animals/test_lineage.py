"""The Lineage page and its API: what is carried, what it rests on, how two animals are related."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Origin, TraitBasis
from apps.animals.models import Animal
from apps.animals.pages.descendants import BROODS_SHOWN, descendants_of
from apps.animals.selectors.beliefs import beliefs_of
from apps.animals.services import beliefs_refresh_species
from tests.factories.animals import make_animal, make_female, make_male, species

pytestmark = pytest.mark.usefixtures("frozen", "knowledge")


@pytest.fixture
def family(system: Person) -> tuple[Animal, Animal, Animal]:
    """A possible het, a visual mate, and three normal young: 2/3 becomes 1/5."""
    dam, sire = make_female(traits="66% het Clown"), make_male(traits="Clown")
    young = [
        make_animal(
            dam=dam,
            sire=sire,
            traits="normal",
            trait_basis=TraitBasis.SEEN,
            origin=Origin.BRED_HERE,
            acquired_on=None,
            hatched_on=date(2026, 7, 1),
        )
        for _ in range(3)
    ]
    beliefs_refresh_species(by=system, species=species())
    return dam, sire, young[0]


def test_a_percentage_opens_to_the_records_it_rests_on(
    family: tuple[Animal, Animal, Animal], observer: Person, client_as: Callable[[Person], Client]
) -> None:
    dam, _, young = family
    (row,) = beliefs_of([dam.pk])[dam.pk]
    assert row.carries == pytest.approx(1 / 5)
    page = client_as(observer).get(f"/animals/{dam.ref}/lineage/?series={row.series}")
    assert page.status_code == 200
    body = page.content.decode()
    assert "20 %" in body
    assert 'id="rests"' in body
    assert young.code in body
    assert "33 %" in body  # without one of the three young


def test_the_api_tells_beliefs_evidence_and_kinship(
    family: tuple[Animal, Animal, Animal], observer: Person, api_as: Callable[[Person], APIClient]
) -> None:
    dam, sire, young = family
    api = api_as(observer)
    said = api.get(f"/api/v1/animals/{dam.ref}/beliefs/").json()
    (row,) = said["beliefs"]
    assert row["carries"] == pytest.approx(1 / 5)
    evidence = api.get(f"/api/v1/animals/{dam.ref}/evidence/", {"series": row["series"]}).json()
    assert evidence["carries"] == pytest.approx(1 / 5)
    found = {one["animal"]: one["without"] for one in evidence["records"]}
    assert found[young.ref] == pytest.approx(1 / 3)
    assert evidence["records"][0]["moved"] == max(one["moved"] for one in evidence["records"])
    kin = api.get(f"/api/v1/animals/{young.ref}/kinship/", {"with": sire.code}).json()
    assert kin["f"] == 0.25
    assert [one["ancestor"] for one in kin["through"]] == [sire.code]
    refused = api.get(f"/api/v1/animals/{young.ref}/kinship/", {"with": "nobody"})
    assert refused.status_code == 400
    assert api.get("/api/v1/animals/doubts/").json() == []


def test_an_animal_without_records_has_a_page_that_says_so(
    observer: Person, client_as: Callable[[Person], Client]
) -> None:
    alone = make_female()
    body = client_as(observer).get(f"/animals/{alone.ref}/lineage/").content.decode()
    assert "once something was stated" in body
    assert client_as(observer).get("/lineage/doubts/").status_code == 200


def test_descendants_stand_brood_by_brood_and_those_that_bred_are_followed(
    family: tuple[Animal, Animal, Animal], observer: Person, client_as: Callable[[Person], Client]
) -> None:
    dam, sire, young = family
    mate = make_male(code="MATE-9")
    grown = Animal.objects.filter(pk=young.pk)
    grown.update(sex="female", hatched_on=date(2023, 7, 1))
    grandchild = make_animal(dam=grown.get(), sire=mate, traits="Pastel", hatched_on=date(2026, 6, 1), acquired_on=None)
    found = descendants_of(dam)
    assert found.count == 3
    assert [(brood.year, brood.mate, brood.count) for brood in found.broods] == [
        (2026, sire.code, 2),
        (2023, sire.code, 1),
    ]
    (below,) = found.broods[1].young[0].broods
    assert (below.mate, below.looks) == ("MATE-9", "1 Pastel")
    body = client_as(observer).get(f"/animals/{dam.ref}/lineage/?zoom=50").content.decode()
    assert grandchild.code in body
    assert "MATE-9" in body


def test_thousands_of_young_cost_no_more_queries(django_assert_max_num_queries: Callable[..., Any]) -> None:
    """A male of many seasons: 40 years of 60 young with as many dams; the newest are listed, the rest counted."""
    sire = make_male()
    dams = [make_female() for _ in range(4)]
    rows = [
        Animal(
            code=f"Y{year}-{number}",
            code_key=f"y{year}-{number}",
            species=sire.species,
            sire=sire,
            dam=dams[number % 4],
            hatched_on=date(1980 + year, 7, 1),
            registered_at=sire.registered_at,
        )
        for year in range(40)
        for number in range(60)
    ]
    Animal.objects.bulk_create(rows)
    with django_assert_max_num_queries(5):
        found = descendants_of(sire)
    assert found.count == 2400
    assert len(found.broods) == BROODS_SHOWN
    assert sum(brood.count for brood in found.broods) + found.earlier_young == 2400


def test_the_picture_is_drawn_at_the_size_asked_for(
    family: tuple[Animal, Animal, Animal], observer: Person, client_as: Callable[[Person], Client]
) -> None:
    address = f"/animals/{family[2].ref}/lineage/"

    def wide(query: str) -> float:
        body = client_as(observer).get(address + query).content.decode()
        found = re.search(r'<svg[^>]*class="lineage" width="([0-9.]+)"', body)
        assert found
        return float(found.group(1))

    assert wide("?zoom=50") == pytest.approx(wide("") / 2)
    assert wide("?zoom=150") == pytest.approx(wide("") * 1.5)
    assert wide("?zoom=7777") == wide("")
