"""Writes of animals: knowledge, the register, lineage, places, holds."""

from apps.animals.services.beliefs import (
    BeliefMove,
    belief_chances,
    belief_moves,
    beliefs_preview,
    beliefs_refresh,
    beliefs_refresh_species,
)
from apps.animals.services.broods import SireShare, brood_register, brood_sires_set, brood_state_set
from apps.animals.services.catalogues import catalogue_edit, catalogue_edit_withdraw
from apps.animals.services.holds import (
    FactHold,
    hold_close,
    hold_lift,
    hold_place,
    holds_lift_by_source,
    holds_lift_by_sources,
    holds_place_for_facts,
)
from apps.animals.services.intake import animal_intake, purchase_decide, purchases_tell
from apps.animals.services.knowledge import (
    knowledge_load,
    species_add,
    species_number_set,
    species_numbers_learn,
)
from apps.animals.services.lineage import sire_settle
from apps.animals.services.moves import animal_move, animal_status_set
from apps.animals.services.register import (
    AnimalItem,
    animal_change,
    animal_register,
    animals_register,
    notation_checked,
    trait_state,
)
from apps.animals.services.trait_values import trait_value_drop, trait_value_set
from apps.animals.services.welfare import welfare_lift, welfare_lift_withdraw

__all__ = [
    "AnimalItem",
    "BeliefMove",
    "FactHold",
    "SireShare",
    "animal_change",
    "animal_intake",
    "animal_move",
    "animal_register",
    "animal_status_set",
    "animals_register",
    "belief_chances",
    "belief_moves",
    "beliefs_preview",
    "beliefs_refresh",
    "beliefs_refresh_species",
    "brood_register",
    "brood_sires_set",
    "brood_state_set",
    "catalogue_edit",
    "catalogue_edit_withdraw",
    "hold_close",
    "hold_lift",
    "hold_place",
    "holds_lift_by_source",
    "holds_lift_by_sources",
    "holds_place_for_facts",
    "knowledge_load",
    "notation_checked",
    "purchase_decide",
    "purchases_tell",
    "sire_settle",
    "species_add",
    "species_number_set",
    "species_numbers_learn",
    "trait_state",
    "trait_value_drop",
    "trait_value_set",
    "welfare_lift",
    "welfare_lift_withdraw",
]
