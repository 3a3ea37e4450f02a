"""Edits laid over a trait file: what they add, what they may not take away."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from apps.animals.selectors.knowledge_traits import trait_catalogue, trait_files
from apps.engines.genetics.catalogue import Catalogue, Inheritance
from apps.engines.genetics.catalogue_edits import Edit, EditKind, edited_catalogue, edits_stamp
from apps.engines.genetics.cross import Parent, cross
from apps.engines.genetics.errors import CatalogueError
from apps.engines.genetics.notation import parse_notation

BALL = "Python regius"
TRAIT = {
    "series": "HOUSE",
    "name": "Ember Glow",
    "inheritance": "recessive",
    "evidence": "common practice",
    "source": "proven here in three broods",
}


def edited(*rows: tuple[EditKind, dict[str, Any]]) -> Catalogue:
    return edited_catalogue(trait_files()[BALL], [Edit(n, kind, body) for n, (kind, body) in enumerate(rows, 1)])


def test_no_edit_is_the_shipped_file() -> None:
    assert edited() == trait_catalogue(BALL)
    assert edits_stamp([]) == ""


def test_a_new_trait_is_read_and_crossed() -> None:
    catalogue = edited((EditKind.TRAIT, TRAIT))
    both = parse_notation("het Ember Glow", catalogue)
    found = cross(catalogue, Parent(both), Parent(both), clutch={1: Fraction(1)})
    seen = sum((row.probability for row in found.outcomes if "Ember Glow" in row.look), Fraction(0))
    assert seen == Fraction(1, 4)  # Mendel: one quarter of het x het
    assert catalogue.version.startswith(trait_catalogue(BALL).version + "+house.")


def test_a_change_keeps_what_it_does_not_name() -> None:
    change = {"series": "PAS", "name": "Pastel", "evidence": "published", "source": "a paper to come"}
    before = trait_catalogue(BALL).locus_of["Pastel"].alleles[0]
    after = edited((EditKind.TRAIT, change)).locus_of["Pastel"].alleles[0]
    assert (after.inheritance, after.frequency) == (Inheritance.INCOMPLETE_DOMINANT, before.frequency)
    assert (after.evidence, after.source) == ("published", "a paper to come")


def test_later_edits_stand_over_earlier_ones() -> None:
    later = {**TRAIT, "inheritance": "dominant"}
    catalogue = edited((EditKind.TRAIT, TRAIT), (EditKind.TRAIT, later))
    assert catalogue.locus_of["Ember Glow"].alleles[0].inheritance is Inheritance.DOMINANT
    assert len(catalogue.by_code["HOUSE"].alleles) == 1


def test_a_pair_gets_its_name() -> None:
    catalogue = edited((EditKind.PAIR, {"pair": ["Mojave", "Lesser"], "called": ["Glass Noodle"]}))
    belief = parse_notation("Glass Noodle", catalogue)
    assert belief == parse_notation("Mojave Lesser", catalogue)


@pytest.mark.parametrize(
    ("kind", "body", "where", "told"),
    [
        (EditKind.TRAIT, {**TRAIT, "series": ""}, "$.series", "missing"),
        (EditKind.TRAIT, {**TRAIT, "source": " "}, "$.source", "known from"),
        (EditKind.TRAIT, {**TRAIT, "name": "Pastel"}, "$.series", "stands in series PAS"),
        (EditKind.TRAIT, {**TRAIT, "inheritance": "maternal"}, "inheritance", "none of"),
        (EditKind.TRAIT, {**TRAIT, "aliases": ["Pastel"]}, "$", "means both"),
        (EditKind.PAIR, {"pair": ["Mojave", "Pastel"], "called": ["X Y"]}, "$.pair", "one series"),
        (EditKind.PAIR, {"pair": ["Mojave", "Mojave"], "called": ["X Y"]}, "$.pair", "two different"),
        (EditKind.PAIR, {"pair": ["Mojave", "Lesser"], "called": ["Pastel"]}, "$", "means both"),
        (
            EditKind.WELFARE,
            {"when": {"Unheard": 1}, "harm": "eyes", "fact": "x", "evidence": "disputed", "source": "x"},
            "when",
            "trait of this file",
        ),
    ],
)
def test_what_contradicts_itself_is_refused(kind: EditKind, body: dict[str, Any], where: str, told: str) -> None:
    with pytest.raises(CatalogueError) as caught:
        edited((kind, body))
    assert where in caught.value.where
    assert told in caught.value.problem


@pytest.mark.parametrize("harm", ["eyes", "carrier", "skeletal"])
def test_no_edit_makes_a_block_milder(harm: str) -> None:
    """A cross that is out is lifted by name, by the owner; the catalogue is no way round."""
    mild = {"when": {"Spider": 1}, "harm": harm, "fact": "no trouble", "evidence": "disputed", "source": "hearsay"}
    with pytest.raises(CatalogueError, match="lifts it by its name"):
        edited((EditKind.WELFARE, mild))
    with pytest.raises(CatalogueError, match="lifts it by its name"):
        edited((EditKind.WELFARE, {**mild, "harm": "neurological", "blocks": False}))


def test_lethal_stays_lethal() -> None:
    for slug in (BALL, "Eublepharis macularius"):
        for allele in trait_catalogue(slug).alleles():
            if allele.two_copies != "lethal":
                continue
            series = trait_catalogue(slug).locus_of[allele.name].code
            body = {"series": series, "name": allele.name, "two_copies": "same_as_one", "source": "hearsay"}
            with pytest.raises(CatalogueError, match="does not take that back"):
                edited_catalogue(trait_files()[slug], [Edit(1, EditKind.TRAIT, body)])
