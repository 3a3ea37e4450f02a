"""The shipped trait files: complete, kept apart where the trade confuses loci, and refused when they contradict."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings

from apps.animals.selectors.knowledge_traits import trait_catalogue, trait_catalogues
from apps.engines.genetics.catalogue import Allele, Catalogue, LineBred, TwoCopies
from apps.engines.genetics.catalogue_reader import catalogue_from_mapping
from apps.engines.genetics.errors import CatalogueError

# How many names the project's collected trait tables hold (docs/methods/genetics.md); common practice, no source.
COUNTS = {"ball_python": 61, "corn_snake": 30, "boa": 17, "leopard_gecko": 16}


def raw(slug: str) -> dict[str, Any]:
    path = Path(settings.BASE_DIR) / f"fixtures/reference/traits/{slug}.yaml"
    loaded: dict[str, Any] = yaml.safe_load(path.read_text(encoding="utf-8"))
    return loaded


def test_every_name_is_there_once() -> None:
    for catalogue in trait_catalogues():
        assert len(catalogue.names()) == len(set(catalogue.names())) == COUNTS[catalogue.slug]


@pytest.mark.parametrize(
    ("slug", "names"),
    [
        ("ball_python", ["VPI Axanthic", "TSK Axanthic", "Jolliff Axanthic"]),
        ("ball_python", ["Albino", "Lavender Albino", "Caramel Albino", "Ultramel"]),
        ("ball_python", ["Desert", "Desert Ghost", "Ghost"]),
        ("boa", ["Kahl Albino", "Sharp Albino", "VPI Caramel"]),
        ("boa", ["Anery type 1", "Anery type 2"]),
        ("leopard_gecko", ["Tremper Albino", "Bell Albino", "Rainwater Albino"]),
        ("corn_snake", ["Amel", "Anery", "Charcoal", "Lava", "Lavender"]),
    ],
)
def test_loci_that_the_trade_confuses_stand_apart(slug: str, names: list[str]) -> None:
    catalogue = trait_catalogue(slug)
    assert len({catalogue.locus_of[name].code for name in names}) == len(names)


@pytest.mark.parametrize(
    ("slug", "names"),
    [
        ("ball_python", ["Mojave", "Lesser", "Butter", "Phantom", "Mystic", "Russo", "Mocha", "Bamboo", "Special"]),
        ("ball_python", ["Yellowbelly", "Gravel", "Asphalt", "Specter", "Spark"]),
        ("ball_python", ["Albino", "Candy", "Toffee"]),
        ("ball_python", ["Clown", "Cryptic"]),
        ("corn_snake", ["Amel", "Ultra"]),
        ("corn_snake", ["Motley", "Stripe"]),
        ("corn_snake", ["Hypo", "Strawberry", "Christmas"]),
        ("boa", ["Sharp Albino", "Boa Woman Caramel"]),
    ],
)
def test_members_of_one_series_share_a_locus(slug: str, names: list[str]) -> None:
    catalogue = trait_catalogue(slug)
    assert len({catalogue.locus_of[name].code for name in names}) == 1


def test_every_trait_has_evidence_and_source() -> None:
    for catalogue in trait_catalogues():
        traits: list[Allele | LineBred] = [*catalogue.alleles(), *catalogue.line_bred]
        for trait in traits:
            assert trait.evidence
            assert trait.source
        assert all(fact.evidence and fact.fact for fact in catalogue.welfare)
        assert catalogue.version


def test_lethal_alleles_and_their_welfare_lines(ball: Catalogue) -> None:
    lethal = {allele.name for allele in ball.alleles() if allele.two_copies is TwoCopies.LETHAL}
    assert lethal == {"Spider", "Hidden Gene Woma", "Champagne"}
    for name in lethal:
        assert any(fact.copies == {name: 2} for fact in ball.welfare)


def test_allele_frequencies_leave_room_for_wild_type() -> None:
    for catalogue in trait_catalogues():
        for locus in catalogue.loci:
            assert 0 < sum(allele.frequency for allele in locus.alleles) < 1


def _broken(change: str) -> dict[str, Any]:
    mapping = copy.deepcopy(raw("boa"))
    loci = mapping["loci"]
    if change == "name twice":
        loci[1]["traits"][0]["name"] = "Hypo"
    elif change == "code twice":
        loci[1]["code"] = loci[0]["code"]
    elif change == "no source":
        loci[0]["traits"][0]["source"] = "nowhere"
    elif change == "evidence":
        loci[0]["traits"][0]["evidence"] = "sure"
    elif change == "alias":
        loci[0]["traits"][0]["aliases"] = ["Jungle"]
    elif change == "welfare":
        mapping["welfare"][0]["when"] = {"Nothing": 1}
    elif change == "sex-linked":
        loci[0]["sex_linked"] = True
    return mapping


@pytest.mark.parametrize(
    "change", ["name twice", "code twice", "no source", "evidence", "alias", "welfare", "sex-linked"]
)
def test_a_file_that_contradicts_itself_is_refused(change: str) -> None:
    with pytest.raises(CatalogueError):
        catalogue_from_mapping(_broken(change))
    catalogue_from_mapping(_broken("nothing"))
