"""A species' recorded lineage as the pedigree engine takes it, and what a collection still holds of its founders."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from apps.animals.choices import Purpose, Status
from apps.animals.errors import LineageFaulty
from apps.animals.models import Animal, Species
from apps.engines.pedigree.errors import PedigreeError
from apps.engines.pedigree.kinship import Diversity, diversity, inbreeding, kinship_between, mendelian_spread
from apps.engines.pedigree.lines import Floats
from apps.engines.pedigree.records import AnimalRecord, Pedigree, build_pedigree

_COLUMNS = ("pk", "code", "sex", "dam_id", "sire_id", "is_parthenogen")


@dataclass(frozen=True)
class RecordedPedigree:
    """A species' animals and all their ancestors of any species. `place` maps an animal's pk to its place."""

    pedigree: Pedigree
    place: dict[int, int]

    @cached_property
    def inbred(self) -> Floats:
        """F by place."""
        return inbreeding(self.pedigree)

    @cached_property
    def spread(self) -> Floats:
        """D by place."""
        return mendelian_spread(self.pedigree, self.inbred)

    def kinship(self, one: Iterable[Animal], other: Iterable[Animal]) -> Floats:
        """f of each of one set (rows) with each of another (columns): the F that their young would have."""
        rows, columns = ([self.place[animal.pk] for animal in animals] for animals in (one, other))
        return kinship_between(self.pedigree, self.spread, rows, columns)


@dataclass(frozen=True, slots=True)
class FounderShare:
    """One founder's share of the collection's genome."""

    code: str
    ref: str
    share: float
    is_here: bool


@dataclass(frozen=True, slots=True)
class CollectionKinship:
    """A species' collection. `animals` are its members, `inbred` and `mean_kinship` stand in their order.

    `no_parent` and `one_parent` count members of whom neither or only one parent is recorded; `unknown_share` is the
    part of the genome that came from parents nobody recorded, in `unknown_sources` of them.
    """

    animals: list[Animal]
    inbred: Floats
    mean_kinship: Floats
    founders: list[FounderShare]
    unknown_share: float
    unknown_sources: int
    founder_equivalents: float | None
    founder_genome_equivalents: float | None
    gene_diversity: float | None
    no_parent: int
    one_parent: int

    @property
    def overall(self) -> float | None:
        """The mean kinship of the whole collection."""
        return None if self.gene_diversity is None else 1.0 - self.gene_diversity


def recorded_pedigree(species: Species) -> RecordedPedigree:
    """The whole recorded lineage of a species. One query, and one more per generation of ancestors of other species.

    Raises LineageFaulty, naming the animal by its code, when the records cannot be a pedigree.
    """
    rows = {row[0]: row for row in Animal.objects.filter(species=species).values_list(*_COLUMNS)}
    wanted = _parents_missing(rows)
    while wanted:
        rows |= {row[0]: row for row in Animal.objects.filter(pk__in=wanted).values_list(*_COLUMNS)}
        wanted = _parents_missing(rows)
    codes = {pk: row[1] for pk, row in rows.items()}
    records = [AnimalRecord(code, sex, codes.get(dam), codes.get(sire)) for _, code, sex, dam, sire, _ in rows.values()]
    alone = {code: 0.0 for _, code, _, dam, _, virgin in rows.values() if virgin and dam is not None}
    try:
        pedigree = build_pedigree(records, alone)
    except PedigreeError as error:
        raise LineageFaulty(
            f"The recorded lineage has a fault, so no kinship can be reckoned: {error.problem} {error.fix}"
        ) from error
    return RecordedPedigree(pedigree, {pk: pedigree.place[code] for pk, code in codes.items()})


def lineage_fault(species: Species) -> str:
    """What is wrong with the recorded lineage of a species, in one sentence; empty when it is sound."""
    try:
        recorded_pedigree(species)
    except LineageFaulty as error:
        return error.message
    return ""


def breeders_here(species: Species) -> list[Animal]:
    """The breeding animals that are here, by code."""
    return list(
        Animal.objects.filter(species=species, status=Status.HERE, purpose=Purpose.BREEDER)
        .select_related("tub__rack__room")
        .order_by("code_key")
    )


def everybody_here(species: Species) -> list[Animal]:
    """Every animal of it that is here, by code."""
    return list(Animal.objects.filter(species=species, status=Status.HERE).order_by("code_key"))


def collection_kinship(recorded: RecordedPedigree, members: list[Animal]) -> CollectionKinship:
    """What these animals are to each other and of whom they come. One query for the founders' names."""
    places = np.array([recorded.place[animal.pk] for animal in members], dtype=np.int64)
    found = diversity(recorded.pedigree, recorded.inbred, places)
    known = [(animal.dam_id is not None) + (animal.sire_id is not None) for animal in members]
    return CollectionKinship(
        animals=members,
        inbred=recorded.inbred[places],
        mean_kinship=found.mean_kinship,
        founders=_founders(recorded, found),
        unknown_share=sum(found.unknown_shares),
        unknown_sources=len(found.unknown_shares),
        founder_equivalents=found.founder_equivalents,
        founder_genome_equivalents=found.founder_genome_equivalents,
        gene_diversity=found.gene_diversity,
        no_parent=sum(count == 0 for count in known),
        one_parent=sum(count == 1 and not animal.is_parthenogen for count, animal in zip(known, members, strict=True)),
    )


def _founders(recorded: RecordedPedigree, found: Diversity) -> list[FounderShare]:
    at = {place: pk for pk, place in recorded.place.items()}
    names = {
        pk: (code, ref, status == Status.HERE)
        for pk, code, ref, status in Animal.objects.filter(dam__isnull=True, sire__isnull=True).values_list(
            "pk", "code", "ref", "status"
        )
        if pk in recorded.place
    }
    shares = sorted(found.founder_shares.items(), key=lambda item: (-item[1], recorded.pedigree.ids[item[0]]))
    return [FounderShare(*names[at[place]][:2], share, names[at[place]][2]) for place, share in shares]


def _parents_missing(rows: dict[int, Any]) -> set[int]:
    return {parent for row in rows.values() for parent in (row[3], row[4]) if parent is not None} - rows.keys()
