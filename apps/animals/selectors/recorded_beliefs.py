"""What the records state of one animal's genes, as the cross engine takes it, and the pedigree above a pair."""

from __future__ import annotations

from dataclasses import dataclass

from apps.animals.models import Animal
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.lineage import ancestors_of, animal_by_code
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.errors import NotationError
from apps.engines.genetics.notation import parse_notation
from apps.engines.pedigree.records import AnimalRecord


@dataclass(frozen=True, slots=True)
class RecordedBelief:
    """One recorded animal. `belief` is None when its recorded words cannot be read; `why` then says so."""

    code: str
    species: str
    sex: str
    notation: str
    belief: Belief | None
    why: str = ""


def recorded_belief(code: str) -> RecordedBelief | None:
    """The current trait statement of an animal as a belief, or None when no animal has the code."""
    animal = animal_by_code(code)
    if animal is None:
        return None
    species = animal.species.scientific
    notation = animal.traits.strip() or "normal"
    catalogue = catalogue_of(animal.species)
    if catalogue is None:
        return RecordedBelief(animal.code, species, animal.sex, notation, None, "its species has no trait catalogue")
    try:
        belief = parse_notation(notation, catalogue)
    except NotationError as error:
        return RecordedBelief(animal.code, species, animal.sex, notation, None, str(error))
    return RecordedBelief(animal.code, species, animal.sex, notation, belief)


def pedigree_above(codes: tuple[str, str]) -> tuple[list[AnimalRecord], dict[str, float]]:
    """The recorded animals of two codes with all their ancestors, and the parthenogens among them (v = 0)."""
    animals = [animal for code in codes if (animal := animal_by_code(code)) is not None]
    wanted = {animal.pk for animal in animals}.union(*(ancestors_of(animal) for animal in animals))
    rows = list(
        Animal.objects.filter(pk__in=wanted).values_list("code", "sex", "dam__code", "sire__code", "is_parthenogen")
    )
    listed = {row[0] for row in rows}
    records = [
        AnimalRecord(code, sex, dam if dam in listed else None, sire if sire in listed else None)
        for code, sex, dam, sire, _ in rows
    ]
    fusion = {code: 0.0 for code, _, dam, _, alone in rows if alone and dam in listed}
    return records, fusion
