"""The recorded lineage of a species as the pedigree engine takes it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from apps.animals.errors import LineageFaulty
from apps.animals.models import Animal, Species
from apps.engines.pedigree.errors import PedigreeError
from apps.engines.pedigree.records import AnimalRecord, Pedigree, build_pedigree

_COLUMNS = ("pk", "code", "sex", "dam_id", "sire_id", "is_parthenogen")


@dataclass(frozen=True, slots=True)
class RecordedPedigree:
    """A species' animals and all their ancestors of any species. `place` maps an animal's pk to its place."""

    pedigree: Pedigree
    place: dict[int, int]


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


def _parents_missing(rows: dict[int, Any]) -> set[int]:
    return {parent for row in rows.values() for parent in (row[3], row[4]) if parent is not None} - rows.keys()
