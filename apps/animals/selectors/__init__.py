"""Reads of animals, lineage, holds and species."""

from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.holds import hold_history, holds_at, holds_in_force
from apps.animals.selectors.kinship import RecordedPedigree, breeders_here, lineage_fault, recorded_pedigree
from apps.animals.selectors.lineage import (
    ancestors_of,
    animal_by_code,
    animals,
    animals_by_codes,
    animals_here,
    brood_by_code,
    next_brood_code,
    next_code,
    record_of,
)
from apps.animals.selectors.pair_worth import PairWorths
from apps.animals.selectors.purchases import purchases, purchases_to_decide, purchases_undecided
from apps.animals.selectors.species import (
    all_species,
    near_species,
    number_rows,
    profile_numbers,
    species_by_name,
    species_number,
)
from apps.animals.selectors.welfare import welfare_blocks, welfare_lifted

__all__ = [
    "PairWorths",
    "RecordedPedigree",
    "all_species",
    "ancestors_of",
    "animal_by_code",
    "animals",
    "animals_by_codes",
    "animals_here",
    "breeders_here",
    "brood_by_code",
    "catalogue_of",
    "hold_history",
    "holds_at",
    "holds_in_force",
    "lineage_fault",
    "near_species",
    "next_brood_code",
    "next_code",
    "number_rows",
    "profile_numbers",
    "purchases",
    "purchases_to_decide",
    "purchases_undecided",
    "record_of",
    "recorded_pedigree",
    "species_by_name",
    "species_number",
    "welfare_blocks",
    "welfare_lifted",
]
