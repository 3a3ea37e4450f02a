"""Tables of animals, by what they are for."""

from apps.animals.models.beliefs import CarriedBelief, LineageDoubt, SireBelief
from apps.animals.models.knowledge import CatalogueEdit, Species, SpeciesNumber, Trait, TraitValue, WelfareLift
from apps.animals.models.lineage import Animal, Brood, Purchase, SireCandidate, TraitStatement
from apps.animals.models.places import Fact, Hold, Placement

__all__ = [
    "Animal",
    "Brood",
    "CarriedBelief",
    "CatalogueEdit",
    "Fact",
    "Hold",
    "LineageDoubt",
    "Placement",
    "Purchase",
    "SireBelief",
    "SireCandidate",
    "Species",
    "SpeciesNumber",
    "Trait",
    "TraitStatement",
    "TraitValue",
    "WelfareLift",
]
