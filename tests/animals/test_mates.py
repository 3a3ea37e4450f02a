"""Whom an animal may be bred to and the genetics of the collection: figures, what is kept out, what is in doubt."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from xml.etree import ElementTree

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import HoldWord, Origin, Purpose, Sex, Status
from apps.animals.errors import LineageFaulty
from apps.animals.models import Animal
from apps.animals.pages.kinship_svg import Part, founders_svg, spread_svg
from apps.animals.selectors.kinship import breeders_here, collection_kinship, recorded_pedigree
from apps.animals.selectors.mates import mates_of
from apps.animals.services import hold_place, trait_value_set, welfare_lift
from apps.core import clock
from tests.factories.animals import make_animal, make_female, make_male, species

pytestmark = pytest.mark.usefixtures("knowledge", "frozen")
As = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
NS = "{http://www.w3.org/2000/svg}"


def bred(dam: Animal, sire: Animal, sex: Sex, *, code: str, traits: str = "normal") -> Animal:
    """A grown young of two who are here."""
    return make_animal(
        sex,
        dam=dam,
        sire=sire,
        origin=Origin.BRED_HERE,
        acquired_on=None,
        hatched_on=date(2023, 7, 1),
        code=code,
        traits=traits,
    )


@pytest.fixture
def family(system: Person) -> dict[str, Animal]:
    """Dam and sire with two sons and a daughter; a strange male of whom no parent is recorded."""
    dam, sire = make_female(code="PR-0001"), make_male(code="PR-0002")
    return {
        "dam": dam,
        "sire": sire,
        "son": bred(dam, sire, Sex.MALE, code="PR-0003"),
        "spider": bred(dam, sire, Sex.MALE, code="PR-0004", traits="Spider"),
        "daughter": bred(dam, sire, Sex.FEMALE, code="PR-0005"),
        "stranger": make_male(code="PR-0006"),
    }


class TestMates:
    """The list of one animal."""

    def test_least_kinship_first_above_the_limit_last_and_blocked_ones_apart(self, family: dict[str, Animal]) -> None:
        found = mates_of(family["daughter"])
        # f of full sibs and of parent and young from unrelated parents is 1/4
        # the sire has the lower mean kinship of the two
        assert [(one.animal.code, one.kinship, one.over_limit) for one in found.suggested] == [
            ("PR-0006", 0.0, False),
            ("PR-0002", 0.25, True),
            ("PR-0003", 0.25, True),
        ]
        assert [one.animal.code for one in found.kept_out] == ["PR-0004"]
        assert found.kept_out[0].blocks[0].name == "Spider"
        assert found.missing == ()
        assert {one.animal.code: one.missing for one in found.suggested}["PR-0006"] == ("dam", "sire")

    def test_mean_kinship_of_young_is_the_mean_of_both_parents(self, family: dict[str, Animal]) -> None:
        found = mates_of(family["daughter"])
        stranger = found.suggested[0]
        # six breeders: the stranger is kin of himself alone, the daughter of herself and of four others by 1/4
        assert stranger.mean_kinship == pytest.approx(0.5 / 6)
        assert found.mean_kinship == pytest.approx((0.5 + 4 * 0.25) / 6)
        assert stranger.young_mean == pytest.approx((0.5 / 6 + 1.5 / 6) / 2)

    def test_a_lift_by_name_brings_one_back(self, family: dict[str, Animal], owner: Person) -> None:
        welfare_lift(by=owner, species=species(), pattern="Spider", reason="Kept for one last season of this line.")
        found = mates_of(family["daughter"])
        assert found.kept_out == []
        assert "PR-0004" in {one.animal.code for one in found.suggested}

    def test_only_breeders_that_are_here_are_candidates(self, family: dict[str, Animal]) -> None:
        make_male(code="PR-0010", purpose=Purpose.STOCK)
        gone = make_male(code="PR-0011")
        Animal.objects.filter(pk=gone.pk).update(status=Status.SOLD)
        codes = {one.animal.code for one in mates_of(family["daughter"]).suggested}
        assert codes == {"PR-0002", "PR-0003", "PR-0006"}

    def test_a_male_is_shown_females(self, family: dict[str, Animal]) -> None:
        found = mates_of(family["stranger"])
        assert {one.animal.code for one in found.suggested} == {"PR-0001", "PR-0005"}
        assert found.missing == ("dam", "sire")

    def test_nobody_to_name_says_why(self, family: dict[str, Animal]) -> None:
        unknown = make_animal(Sex.UNKNOWN, code="PR-0020")
        assert "sex is not recorded" in mates_of(unknown).why_none
        Animal.objects.filter(pk=family["son"].pk).update(status=Status.DEAD)
        assert "dead" in mates_of(Animal.objects.get(pk=family["son"].pk)).why_none
        Animal.objects.filter(sex=Sex.MALE).update(purpose=Purpose.STOCK)
        assert "No male breeder" in mates_of(family["dam"]).why_none

    def test_values_order_the_list_where_they_are_set(self, family: dict[str, Animal], lead: Person) -> None:
        rich = make_male(code="PR-0030", traits="Clown", dam=None)
        assert not mates_of(family["daughter"]).has_values
        trait_value_set(by=lead, species=species(), notation="het Clown", amount_minor=30_000)
        found = mates_of(family["daughter"], order="value")
        assert found.suggested[0].animal == rich
        assert found.suggested[0].worth == 30_000
        assert found.suggested[1].worth == 0
        assert mates_of(family["daughter"], with_values=False).suggested[0].worth is None

    def test_queries_do_not_grow_with_the_animals(self, family: dict[str, Animal]) -> None:
        with CaptureQueriesContext(connection) as few:
            mates_of(family["daughter"])
        for number in range(8):
            make_male(code=f"PR-01{number:02d}")
        with CaptureQueriesContext(connection) as many:
            found = mates_of(family["daughter"])
        assert len(found.suggested) == 11
        assert len(many) <= len(few)

    def test_a_faulty_lineage_suggests_nobody(self, family: dict[str, Animal], client_as: As, keeper: Person) -> None:
        Animal.objects.filter(pk=family["dam"].pk).update(dam=family["daughter"])
        with pytest.raises(LineageFaulty, match="among its own ancestors"):
            mates_of(family["daughter"])
        page = client_as(keeper).get(f"/animals/{family['daughter'].ref}/mates/").content.decode()
        assert "Nobody is suggested while the lineage has a fault" in page
        assert "among its own ancestors" in client_as(keeper).get("/genetics/").content.decode()


class TestPages:
    """What people see."""

    def test_the_list_says_figures_doubt_and_what_is_out(
        self, family: dict[str, Animal], client_as: As, keeper: Person, owner: Person, lead: Person
    ) -> None:
        hold_place(
            by=owner,
            word=HoldWord.QUARANTINE,
            begins_at=clock.now(),
            ends_at=None,
            reason="new arrival",
            animal=family["stranger"],
        )
        page = client_as(keeper).get(f"/animals/{family['daughter'].ref}/mates/").content.decode()
        assert "1 breeder within the house’s limit of kinship, 2 above it, 1 kept out." in page
        assert "at least 0" in page
        assert "Dam and sire of PR-0006 not recorded: a lower bound." in page
        assert "Held: quarantine, new arrival." in page
        assert "Above the limit of 0.125 (house rule)" in page
        assert "Kept out for welfare: 1" in page
        assert "A hatchling" not in page
        his = client_as(keeper).get(f"/animals/{family['stranger'].ref}/mates/").content.decode()
        assert "every kinship below is a lower bound" in his
        trait_value_set(by=lead, species=species(), notation="normal", amount_minor=4_000)
        priced = client_as(lead).get(f"/animals/{family['daughter'].ref}/mates/?order=value").content.decode()
        assert "40.00" in priced
        assert "40.00" not in client_as(keeper).get(f"/animals/{family['daughter'].ref}/mates/").content.decode()

    def test_the_collection(self, family: dict[str, Animal], client_as: As, observer: Person) -> None:
        page = client_as(observer).get("/genetics/").content.decode()
        assert "6 animals hold as much variety as" in page
        assert "Effective founders" in page
        assert "3 of 6 lack both" in page
        for title in ("Inbreeding", "Mean kinship", "What each founder gave"):
            assert f"<title>{title}</title>" in page
        everybody = client_as(observer).get("/genetics/?species=python-regius&who=all")
        assert everybody.status_code == 200

    def test_nobody_yet(self, client_as: As, observer: Person) -> None:
        assert "No breeders yet" in client_as(observer).get("/genetics/").content.decode()


class TestCollection:
    """The figures of the collection, worked by hand."""

    def test_shares_and_effective_founders(self, family: dict[str, Animal]) -> None:
        found = collection_kinship(recorded_pedigree(species()), breeders_here(species()))
        shares = {one.code: one.share for one in found.founders}
        # dam and sire are themselves and half of each of three young; the stranger is himself
        assert shares == pytest.approx({"PR-0001": 2.5 / 6, "PR-0002": 2.5 / 6, "PR-0006": 1 / 6})
        assert found.founder_equivalents == pytest.approx(1 / (2 * (2.5 / 6) ** 2 + (1 / 6) ** 2))
        assert (found.no_parent, found.one_parent, found.unknown_sources) == (3, 0, 0)
        assert found.inbred.tolist() == [0.0] * 6
        # row sums: dam and sire 1/2 + 3/4, each young 1/2 + 1/4 * 4, the stranger 1/2
        assert found.overall == pytest.approx((2 * 1.25 + 3 * 1.5 + 0.5) / 36)

    def test_a_missing_sire_counts_as_a_founder_of_its_own(self, family: dict[str, Animal]) -> None:
        half = make_animal(
            Sex.FEMALE, dam=family["dam"], origin=Origin.BRED_HERE, acquired_on=None, hatched_on=date(2023, 7, 1)
        )
        found = collection_kinship(recorded_pedigree(species()), [half])
        assert {one.code: one.share for one in found.founders} == {"PR-0001": 0.5}
        assert (found.unknown_share, found.unknown_sources, found.one_parent) == (0.5, 1, 1)
        assert found.founder_equivalents == pytest.approx(2.0)


class TestApi:
    """The same for programs."""

    def test_mates(self, family: dict[str, Animal], api_as: ApiAs, keeper: Person, lead: Person) -> None:
        trait_value_set(by=lead, species=species(), notation="normal", amount_minor=4_000)
        address = f"/api/v1/animals/{family['daughter'].ref}/mates/"
        read = api_as(keeper).get(address)
        assert read.status_code == 200
        first = read.json()["suggested"][0]
        assert (first["code"], first["kinship"], first["worth_minor"]) == ("PR-0006", 0.0, None)
        assert first["parents_missing"] == ["dam", "sire"]
        assert [row["blocks"][0]["name"] for row in read.json()["kept_out"]] == ["Spider"]
        assert api_as(lead).get(address).json()["suggested"][0]["worth_minor"] == 4_000
        assert api_as(keeper).get(f"{address}?order=value").status_code == 400
        assert api_as(keeper).get(f"{address}?order=luck").status_code == 400
        Animal.objects.filter(pk=family["dam"].pk).update(dam=family["daughter"])
        refused = api_as(keeper).get(address)
        assert refused.status_code == 409
        assert refused.json()["code"] == "lineage-faulty"

    def test_collection(self, family: dict[str, Animal], api_as: ApiAs, keeper: Person) -> None:
        address = f"/api/v1/species/{species().ref}/genetics/"
        read = api_as(keeper).get(address).json()
        assert len(read["members"]) == 6
        assert sum(row["share"] for row in read["founders"]) == pytest.approx(1.0)
        assert read["gene_diversity"] == pytest.approx(1 - read["mean_kinship"])
        assert api_as(keeper).get(f"{address}?who=all").status_code == 200
        assert api_as(keeper).get(f"{address}?who=some").status_code == 400


class TestPictures:
    """The drawings hold what they say."""

    def test_every_animal_stands_in_one_bin(self) -> None:
        values = [0.0, 0.0, 0.01, 0.125, 0.25, 0.2500001]
        drawn = ElementTree.fromstring(spread_svg(values, title="Inbreeding", of="F", limit=0.125))
        said = [one.text or "" for one in drawn.iter(f"{NS}text") if one.get("class") == "t-second"]
        assert sum(int(words) for words in said if words.isdigit()) == len(values)
        assert "2 at 0" in (drawn.findtext(f"{NS}desc") or "")
        assert any("limit 0.125" in (one.text or "") for one in drawn.iter(f"{NS}text"))

    @pytest.mark.parametrize("values", [[0.0], [1.0], [0.0, 1.0], [0.0001] * 3, [0.3] * 500])
    def test_any_values_can_be_drawn(self, values: list[float]) -> None:
        ElementTree.fromstring(spread_svg(values, title="Inbreeding", of="F"))

    def test_nothing_draws_nothing(self) -> None:
        assert spread_svg([], title="Inbreeding", of="F") == ""
        assert founders_svg([], title="Founders") == ""

    def test_bars_are_as_long_as_the_shares(self) -> None:
        drawn = ElementTree.fromstring(founders_svg([Part("A & B", 0.4), Part("C", 0.2, quiet=True)], title="F"))
        long, short = (float(one.get("width") or 0) for one in drawn.iter(f"{NS}rect"))
        assert long == pytest.approx(2 * short, abs=0.2)
